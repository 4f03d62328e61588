package reader_test

import (
	"strings"
	"testing"

	"mealtab/compiler/plan"
	"mealtab/compiler/reader"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestPetsAndFoodAreKeptWithTheirPlaces(t *testing.T) {
	src := `plan = "x"
zone = "Europe/Lisbon"
[food]
energy = "3800 kcal/kg"
opened = 2026-11-20
[[pet]]
name = "Juniper"
species = "cat"
weight = "4.2 kg"
condition = 5
neutered = true
[[pet]]
name = "Moss"
colour = "black"
[[meal]]
name = "breakfast"
portion = "1 pocket"
dtstart = 2026-12-01T07:00:00
`
	p, ds := reader.Parse("p.toml", []byte(src))
	require.Nil(t, p)
	require.Len(t, ds, 1)
	assert.Equal(t, "colour is not a key of a [[pet]]", ds[0].Message)
	assert.Equal(t, plan.Pos{Line: 14, Col: 1, Len: 6}, ds[0].Pos)

	p, ds = reader.Parse("p.toml", []byte(strings.ReplaceAll(src, "colour = \"black\"\n", "")))
	require.Empty(t, ds)
	require.Len(t, p.Pets, 2)
	assert.Equal(t, map[string]string{"name": "Juniper", "species": "cat", "weight": "4.2 kg", "condition": "5", "neutered": "true"}, p.Pets[0].Texts())
	assert.Equal(t, plan.Value{Text: "4.2 kg", Pos: plan.Pos{Line: 9, Col: 11, Len: 6}}, p.Pets[0].Keys["weight"])
	assert.Equal(t, "2026-11-20", p.Food["opened"].Text)
}
