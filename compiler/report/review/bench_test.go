package review

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler"
	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// start is 2026-11-25, a day before the plans of these tests begin.
const start table.Minute = 9825 * table.MinutesPerDay

// compiled reads and compiles a plan as of start.
func compiled(t testing.TB, src string) Input {
	t.Helper()
	p, ds := reader.Options{}.Parse("plan.toml", []byte(src))
	require.NotNil(t, p, "%v", ds)
	z, err := zone.Embedded().Load(p.Zone)
	require.NoError(t, err)
	board, err := profile.Load("")
	require.NoError(t, err)
	out, err := compiler.Compile(p, z, compiler.Options{Board: board, From: table.Day(start / table.MinutesPerDay)})
	require.NoError(t, err)
	return Input{Plan: p, Zone: z, Table: out.Table, MealOf: out.MealOf, Now: start}
}

// BenchmarkWarnings is measured against the compile with its proof, of which it must stay a small part.
func BenchmarkWarnings(b *testing.B) {
	src, err := os.ReadFile("../../../cmd/mealtab/demo.toml")
	require.NoError(b, err)
	in := compiled(b, string(src))
	b.Run("warnings", func(b *testing.B) {
		for b.Loop() {
			Warnings(in)
		}
	})
	board, err := profile.Load("")
	require.NoError(b, err)
	b.Run("reference=compile", func(b *testing.B) {
		for b.Loop() {
			_, err := compiler.Compile(in.Plan, in.Zone, compiler.Options{Board: board, From: table.Day(start / table.MinutesPerDay)})
			require.NoError(b, err)
		}
	})
}
