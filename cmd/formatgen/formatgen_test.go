package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The check is a plain test so that a stale file fails within a second, with its cure.
func TestFilesAreCurrent(t *testing.T) {
	root, err := moduleRoot()
	if err != nil {
		t.Fatal(err)
	}
	files, err := outputs(root)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		old, err := os.ReadFile(filepath.Join(root, f.path))
		if err != nil || string(old) != f.text {
			t.Errorf("%s is stale; run: go generate ./compiler/table", f.path)
		}
	}
}

func TestFillBlocks(t *testing.T) {
	got, err := fillBlocks("a\n<!-- generated: periods -->\nold\n<!-- end -->\nb\n")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(got, "WEEK_YEAR") || strings.Contains(got, "old") || !strings.HasSuffix(got, "<!-- end -->\nb\n") {
		t.Errorf("block not replaced:\n%s", got)
	}
	again, err := fillBlocks(got)
	if err != nil || again != got {
		t.Errorf("filling twice changes the text")
	}
	for text, want := range map[string]string{
		"<!-- generated: periods -->":              "no <!-- end -->",
		"<!-- generated: nonsense --><!-- end -->": `no block "nonsense"`,
	} {
		if _, err := fillBlocks(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("fillBlocks(%q): %v, want %q", text, err, want)
		}
	}
}

// Names end up as macros: one meaning each.
func TestNamesAreUnique(t *testing.T) {
	for _, text := range []string{tableHeader(), lineHeader()} {
		_, unconditional, _ := strings.Cut(text, "#else")
		seen := map[string]bool{}
		for _, line := range strings.Split(unconditional, "\n") {
			if f := strings.Fields(line); len(f) > 1 && f[0] == "#define" {
				if seen[f[1]] {
					t.Errorf("%s is defined twice", f[1])
				}
				seen[f[1]] = true
			}
		}
	}
}
