package ration

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/reader"
	"mealtab/compiler/units"
)

// What is shown "for the plan" is a meal that a plan accepts, with as many times as meals, whatever their number.
func TestRationSnippetIsAMeal(t *testing.T) {
	for meals := 1; meals <= 48; meals++ {
		food, err := Labelled(3800)
		require.NoError(t, err)
		r := &Report{Pet: pet(t, "species", "dog", "weight", "20 kg", "name", `Bis"cuit`), Food: food}
		r.Estimate, err = For(r.Pet)
		require.NoError(t, err)
		r.Grams, err = r.Estimate.Of(r.Pet, r.Food, meals)
		require.NoError(t, err)
		var b strings.Builder
		r.snippet(&b)
		_, snippet, _ := strings.Cut(b.String(), "For the plan\n")
		p, ds := reader.Parse("p.toml", fmt.Appendf(nil, "zone = \"Etc/UTC\"\n[wheel]\npocket = \"0.5 g\"\n%s", snippet))
		require.NotNil(t, p, "%v\n%s", ds, snippet)
		assert.Len(t, p.Meals[0].Set.At, meals)
		assert.EqualValues(t, r.Grams.First, p.Meals[0].Portion.Milligrams)
	}
}

func TestSpanWithEqualEnds(t *testing.T) {
	r := &Report{}
	for want, m := range map[string][2]units.Milligrams{
		"52 g": {51_800, 52_300}, "50 to 54 g": {50_000, 54_000}, "9.5 g": {9_460, 9_540}, "9.5 to 9.6 g": {9_460, 9_560},
	} {
		assert.Equal(t, want, r.span(m))
	}
	r.Pet.Pounds = true
	assert.Equal(t, "52 g (1.84 oz)", r.span([2]units.Milligrams{51_800, 52_300}))
}
