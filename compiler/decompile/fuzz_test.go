package decompile_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/decompile"
	"mealtab/compiler/reader"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// Any valid table is raised or refused; what is said to be exact is exact, also when the text is read.
func FuzzDecompile(f *testing.F) {
	db := zone.Embedded()
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "plans", "*.toml"))
	require.NoError(f, err)
	for _, file := range files[:6] {
		src, err := os.ReadFile(file)
		require.NoError(f, err)
		p, _ := reader.Parse(file, src)
		z, err := db.Load(p.Zone)
		require.NoError(f, err)
		encoded, err := encode(p, z, 9497)
		require.NoError(f, err)
		f.Add(encoded)
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		if len(raw) < 10 || len(raw) > 400 {
			return
		}
		raw = bytes.Clone(raw)
		raw[0] = raw[0]&0xF0 | byte(len(raw)>>8)
		raw[1] = byte(len(raw))
		raw = table.WithSequence(raw, 0) // the fuzzer knows no checks
		tab, err := table.Decode(raw)
		if err != nil {
			return
		}
		tab.Zone = table.Zone{GapOmit: tab.Zone.GapOmit} // looking for a zone takes long; UTC is found first
		encoded, err := table.Encode(tab)
		if err != nil || len(tab.Meals) == 0 || len(tab.Meals) > 8 {
			return
		}
		r, err := decompile.Table(encoded, db, decompile.Options{Zones: []string{"Etc/UTC"}, Always: len(raw)%2 == 0})
		if err != nil {
			return
		}
		if !r.Exact {
			require.NotEmpty(t, r.Notes)
			return
		}
		read, ds := reader.Parse("raised.toml", []byte(r.TOML()))
		require.NotNil(t, read, "%v\n%s", ds, r.TOML())
		z, err := db.Load(read.Zone)
		require.NoError(t, err)
		p := *read
		again, err := encode(&p, z, r.From)
		require.NoError(t, err)
		again = table.WithSequence(again, 0)
		again[2], encoded[2] = 0, 0 // boards without a profile are named by hand
		require.Equal(t, encoded[:len(encoded)-2], again[:len(again)-2], r.TOML())
	})
}
