//go:build !race

package main

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"
)

// TestShippedScenarios plays every scenario that comes with the program; there are at least 25. They are minutes of
// emulated chip, ten times as slow under the race detector: the deep step of the check plays them without it.
func TestShippedScenarios(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "scenarios", "*.toml"))
	if err != nil || len(files) < 25 {
		t.Fatalf("%d scenarios (%v), want at least 25", len(files), err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".toml"), func(t *testing.T) {
			var out, errs bytes.Buffer
			if code := newApp(strings.NewReader(""), &out, &errs).execute([]string{"emulate", "--scenario", file}); code != 0 {
				t.Errorf("exit code %d\n%s%s", code, out.String(), errs.String())
			}
		})
	}
}
