package reader

import (
	"slices"

	"mealtab/compiler/plan"

	"github.com/pelletier/go-toml/v2/unstable"
)

// The keys of a pet and of the food, those of package ration.
var (
	petKeys = []string{"name", "species", "weight", "ideal", "condition", "age", "neutered", "activity", "adult", "breed",
		"state", "lose", "extras"}
	foodKeys = []string{"energy", "protein", "fat", "fibre", "ash", "moisture", "opened"}
)

// tomlPets reads [[pet]], which may be a single [pet], and [food].
func (b *builder) tomlPets(root *tomlTable) {
	if e := b.take(root, "pet"); e != nil {
		if e.value.kind != unstable.Table && e.value.kind != unstable.ArrayTable {
			b.wrongType(e, "a table", "[[pet]]")
		}
		for _, t := range e.value.tables {
			b.plan.Pets = append(b.plan.Pets, plan.Pet{Keys: b.keyTexts(t, "pet", petKeys), Pos: b.ix.pos(t.span)})
		}
	}
	if _, t := b.table(root, "food"); t != nil {
		b.plan.Food = b.keyTexts(t, "food", foodKeys)
	}
}

// keyTexts takes the plain values of a table.
func (b *builder) keyTexts(t *tomlTable, table string, known []string) map[string]plan.Value {
	keys := map[string]plan.Value{}
	for _, e := range t.entries {
		if !slices.Contains(known, e.key) {
			continue
		}
		e.used = true
		switch e.value.kind {
		case unstable.String, unstable.Bool, unstable.Integer, unstable.Float, unstable.LocalDate:
			keys[e.key] = plan.Value{Text: e.value.text.s, Pos: b.ix.pos(inside(e.value))}
		default:
			b.wrongType(e, "a single value", e.key+` = "…"`)
		}
	}
	b.unknownKeys(t, table, known)
	return keys
}
