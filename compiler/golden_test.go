package compiler

import (
	"encoding/hex"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

var update = flag.Bool("update", false, "rewrite the golden tables")

// golden is the text of one file in testdata/tables: the bytes in hex, a blank line, the listing they decode to.
func golden(t *testing.T, b []byte) string {
	lines, err := table.Listing(b)
	require.NoError(t, err)
	var s strings.Builder
	for chunk := range slices.Chunk(b, 16) {
		fmt.Fprintf(&s, "% X\n", chunk)
	}
	s.WriteByte('\n')
	require.NoError(t, table.WriteListing(&s, lines))
	return s.String()
}

func compileFile(t *testing.T, path string) *Output {
	src, err := os.ReadFile(path)
	require.NoError(t, err)
	p, ds := reader.Parse(path, src)
	require.False(t, ds.HasErrors(), "%v", ds)
	z, err := zone.Embedded().Load(p.Zone) // so that the machine's own zone data change nothing
	require.NoError(t, err)
	board, err := profile.Load(p.Board)
	require.NoError(t, err)
	out, err := Compile(p, z, Options{Board: board, From: benchFrom})
	require.NoError(t, err)
	return out
}

func TestGoldenTables(t *testing.T) {
	paths, err := filepath.Glob("../testdata/plans/*.toml")
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	for _, path := range paths {
		name := strings.TrimSuffix(filepath.Base(path), ".toml")
		t.Run(name, func(t *testing.T) {
			out := compileFile(t, path)
			got := golden(t, out.Bytes)
			file := filepath.Join("../testdata/tables", name+".txt")
			if *update {
				require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
			}
			want, err := os.ReadFile(file)
			require.NoError(t, err, "go test ./compiler -run Golden -update writes it")
			assert.Equal(t, string(want), got, "go test ./compiler -run Golden -update rewrites it")
			assert.Equal(t, out.Bytes, compileFile(t, path).Bytes, "the same plan gives the same bytes")

			hexText, _, _ := strings.Cut(string(want), "\n\n")
			b, err := hex.DecodeString(strings.Join(strings.Fields(hexText), ""))
			require.NoError(t, err)
			decoded, err := table.Decode(b)
			require.NoError(t, err)
			assert.Equal(t, out.Table, decoded)
		})
	}
}
