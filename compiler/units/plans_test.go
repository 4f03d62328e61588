package units_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/reader"
	"mealtab/compiler/units"
)

// A portion means the same weight here and in a plan.
func TestSameAsPlans(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.StringMatching(`[1-9][0-9]{0,2}(\.[0-9]{1,4})?`).Draw(t, "number")
		unit := rapid.SampledFrom([]string{"g", " g", "  oz", "oz", " kg", " lb", " mg", " grams", " stone", ",5 g", ""}).Draw(t, "unit")
		text := number + unit
		src := fmt.Sprintf("zone = \"Etc/UTC\"\n[wheel]\npocket = \"6 g\"\n[[meal]]\nname = \"m\"\nportion = %q\ndtstart = 2026-12-01T07:00:00\n", text)
		p, ds := reader.Parse("p.toml", []byte(src))
		got, err := units.ParseMass(text)
		if p != nil {
			require.NoError(t, err)
			assert.Equal(t, p.Meals[0].Portion.Milligrams, int64(got))
			return
		}
		require.True(t, ds.HasErrors())
		if err == nil { // a plan bounds portions more narrowly
			assert.Contains(t, ds[0].Message, "is outside", text)
		}
	})
}
