package plan

import (
	"slices"

	"github.com/pelletier/go-toml/v2/unstable"
)

// Pet is one [[pet]] table: who eats what the plan feeds. The values are kept as written, a number or true and false as
// its token; package ration reads them, and reports at their places.
type Pet struct {
	Keys map[string]Value
	Pos  Pos // of the heading
}

// Value is a value as written, with its place.
type Value struct {
	Text string
	Pos  Pos
}

// Texts are the keys with their texts alone.
func (p Pet) Texts() map[string]string { return texts(p.Keys) }

func texts(keys map[string]Value) map[string]string {
	m := make(map[string]string, len(keys))
	for k, v := range keys {
		m[k] = v.Text
	}
	return m
}

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
			b.plan.Pets = append(b.plan.Pets, Pet{b.keyTexts(t, "pet", petKeys), b.ix.pos(t.span)})
		}
	}
	if _, t := b.table(root, "food"); t != nil {
		b.plan.Food = b.keyTexts(t, "food", foodKeys)
	}
}

// keyTexts takes the plain values of a table.
func (b *builder) keyTexts(t *tomlTable, table string, known []string) map[string]Value {
	keys := map[string]Value{}
	for _, e := range t.entries {
		if !slices.Contains(known, e.key) {
			continue
		}
		e.used = true
		switch e.value.kind {
		case unstable.String, unstable.Bool, unstable.Integer, unstable.Float, unstable.LocalDate:
			keys[e.key] = Value{e.value.text.s, b.ix.pos(inside(e.value))}
		default:
			b.wrongType(e, "a single value", e.key+` = "…"`)
		}
	}
	b.unknownKeys(t, table, known)
	return keys
}
