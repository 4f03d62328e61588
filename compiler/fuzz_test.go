package compiler

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/zone"
)

// FuzzCompile feeds arbitrary text to the whole path. Whatever plan it makes, the table must pass its proof.
// Rules that step by less than a day are left to other tests: their proofs take seconds.
func FuzzCompile(f *testing.F) {
	for _, pattern := range []string{"plans/*.toml", "ics/*.ics", "plans-bad/*.ics", "plans-bad/*.toml"} {
		paths, err := filepath.Glob("../testdata/" + pattern)
		require.NoError(f, err)
		for _, path := range paths {
			src, err := os.ReadFile(path)
			require.NoError(f, err)
			f.Add(src)
		}
	}
	for _, edge := range edges {
		f.Add([]byte(edge.plan))
	}
	options := reader.With(zone.Embedded())
	board, err := profile.Load("m328-mains")
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, src []byte) {
		p, ds := options.Parse("plan", src)
		if ds.HasErrors() || len(p.Meals) > 4 {
			return
		}
		for _, m := range p.Meals {
			if r := m.Set.Rule; r != nil && r.Freq < plan.Daily {
				return
			}
		}
		z, err := zone.Embedded().Load(p.Zone)
		if err != nil {
			return
		}
		_, err = Compile(p, z, Options{Board: board, From: benchFrom})
		var internal *InternalError
		if errors.As(err, &internal) {
			t.Fatal(err)
		}
	})
}
