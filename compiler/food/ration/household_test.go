package ration

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
	"mealtab/compiler/reader"
	"mealtab/compiler/units"
)

const householdText = `zone = "Etc/UTC"
[food]
energy = "3800 kcal/kg"
[[pet]]
name      = "Juniper"
species   = "cat"
weight    = "4 kg"
condition = 5
[[pet]]
name      = "Moss"
species   = "cat"
weight    = "5 kg"
condition = 5
neutered  = false
[[meal]]
name = "breakfast"
portion = "1 pocket"
dtstart = 2026-12-01T07:00:00
`

func parsed(t *testing.T, text string) *plan.Plan {
	p, ds := reader.Parse("p.toml", []byte(text))
	require.NotNil(t, p, "%v", ds)
	return p
}

func TestHousehold(t *testing.T) {
	h, ds := FromPlan(parsed(t, householdText))
	require.Empty(t, ds)
	require.True(t, h.Complete())
	assert.Equal(t, "Moss", h.Members[1].Pet.Name)
	assert.True(t, h.Members[1].Pet.Intact)
	least, most := h.Members[0].Grams.Day[0]+h.Members[1].Grams.Day[0], h.Members[0].Grams.Day[1]+h.Members[1].Grams.Day[1]
	_, ds = h.Compare((least + most) / 2)
	assert.Empty(t, ds)
	_, ds = h.Compare(2 * most)
	require.Len(t, ds, 1)
	assert.Equal(t, 4, ds[0].Pos.Line)
	assert.Equal(t, plan.Warning, ds[0].Severity)
	assert.Contains(t, ds[0].Message, "100 % more than the most that the equations say")
	assert.Equal(t, units.Milligrams(0), h.begin()%units.Gram)
	none, ds := FromPlan(parsed(t, "zone = \"Etc/UTC\"\n"+householdText[strings.Index(householdText, "[[meal]]"):]))
	assert.Nil(t, none)
	assert.Empty(t, ds)
}

// Faults stand where they are in the plan; a pet for a veterinarian is a warning, because its plan must compile.
func TestHouseholdFaults(t *testing.T) {
	for _, c := range []struct {
		from, to, message string
		line, col         int
		severity          plan.Severity
	}{
		{`weight    = "5 kg"`, `weight    = "5 kilos"`, `"kilos" is not a unit for this (g, kg, mg, oz or lb)`, 12, 14, plan.Error},
		{`weight    = "5 kg"`, ``, `the weight is missing`, 9, 3, plan.Error},
		{`species   = "cat"`, `species   = "axolotl"`, `"axolotl" is not known`, 6, 14, plan.Error},
		{`condition = 5`, `condition = 12`, `"12" is outside 1 to 9`, 8, 13, plan.Error},
		{`energy = "3800 kcal/kg"`, `energy = "398 kcal/cup"`, `"398 kcal/cup": a cup is not a weight of food`, 3, 11, plan.Error},
		{`energy = "3800 kcal/kg"`, `protein = 34`, `the analysis has no fat`, 3, 11, plan.Error},
		{`neutered  = false`, `state = "diabetic"`, `no ration is computed for Moss: with insulin, food and dose belong together, in amount and in time. Please ask a veterinarian.`, 9, 3, plan.Warning},
	} {
		_, ds := FromPlan(parsed(t, strings.Replace(householdText, c.from, c.to, 1)))
		require.Len(t, ds, 1, c.to)
		assert.Equal(t, c.message, ds[0].Message)
		assert.Equal(t, []int{c.line, c.col}, []int{ds[0].Pos.Line, ds[0].Pos.Col}, c.to)
		assert.Equal(t, c.severity, ds[0].Severity, c.to)
	}
	_, ds := FromPlan(parsed(t, strings.NewReplacer(`"5 kg"`, `"5"`, `neutered  = false`, `age = "old"`).Replace(householdText)))
	assert.Len(t, ds, 2, "all faults, not the first alone")
	h, ds := FromPlan(parsed(t, strings.Replace(householdText, "energy = \"3800 kcal/kg\"\n", "opened = 2026-11-20\n", 1)))
	require.Empty(t, ds)
	assert.False(t, h.Complete())
	h, ds = FromPlan(parsed(t, strings.Replace(householdText, `energy = "3800 kcal/kg"`, "protein = 34\nfat = 14.0\nfibre = \"3 %\"", 1)))
	require.Empty(t, ds)
	assert.True(t, h.Food.Computed)
}
