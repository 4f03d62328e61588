package toml

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

// pets reads [[pet]], which may be a single [pet], and [food].
func (r reader) pets(root *table) {
	if e := r.take(root, "pet"); e != nil {
		if e.value.kind != unstable.Table && e.value.kind != unstable.ArrayTable {
			r.wrongType(e, "a table", "[[pet]]")
		}
		for _, t := range e.value.tables {
			r.Plan.Pets = append(r.Plan.Pets, plan.Pet{Keys: r.keyTexts(t, "pet", petKeys), Pos: r.Pos(t.span)})
		}
	}
	if _, t := r.table(root, "food"); t != nil {
		r.Plan.Food = r.keyTexts(t, "food", foodKeys)
	}
}

// keyTexts takes the plain values of a table.
func (r reader) keyTexts(t *table, table string, known []string) map[string]plan.Value {
	keys := map[string]plan.Value{}
	for _, e := range t.entries {
		if !slices.Contains(known, e.key) {
			continue
		}
		e.used = true
		switch e.value.kind {
		case unstable.String, unstable.Bool, unstable.Integer, unstable.Float, unstable.LocalDate:
			keys[e.key] = plan.Value{Text: e.value.text.S, Pos: r.Pos(inside(e.value))}
		default:
			r.wrongType(e, "a single value", e.key+` = "…"`)
		}
	}
	r.unknownKeys(t, table, known)
	return keys
}
