package page

import (
	"slices"
	"strings"

	"mealtab/compiler/edit"
)

// identities are the meals of a text by numbers that stay theirs, whatever comes before them or goes: a change names the meal that
// someone saw, not the place where it stood. Numbers are never given twice while the page runs.
type identities struct {
	doc  *edit.Doc // the newest text that could be read
	ids  []int     // of its meals, in order
	next *int      // the next number; shared by all texts of a session
}

// follow gives the meals of a new text their numbers: those given, or those of the meals of the old text that they are.
func (m identities) follow(doc *edit.Doc, ids []int) identities {
	if m.next == nil {
		m.next = new(int)
	}
	if len(ids) != doc.Meals() {
		ids = m.matched(doc)
	}
	return identities{doc, ids, m.next}
}

func (m identities) fresh() int {
	n := *m.next
	*m.next++
	return n
}

// with is the numbers with one more at the end.
func (m identities) with() []int { return append(slices.Clone(m.ids), m.fresh()) }

// without is the numbers without that of a place.
func (m identities) without(place int) []int {
	return slices.Delete(slices.Clone(m.ids), place, place+1)
}

// all is new numbers for so many meals.
func (m identities) all(meals int) []int {
	ids := make([]int, meals)
	for i := range ids {
		ids[i] = m.fresh()
	}
	return ids
}

// matched finds the meals of the old text in a new one: the same text first, then the same name, then, if as many are left of both, their
// order. What is not found is a new meal.
func (m identities) matched(doc *edit.Doc) []int {
	const none = -1
	ids := slices.Repeat([]int{none}, doc.Meals())
	old := slices.Clone(m.ids)
	for _, same := range []func(a, b int) bool{
		func(a, b int) bool { return m.doc.MealText(a) == doc.MealText(b) },
		func(a, b int) bool {
			name := doc.Text(mealKey(b, "name"))
			return name != "" && strings.EqualFold(m.doc.Text(mealKey(a, "name")), name)
		},
	} {
		for a := range old {
			for b := range ids {
				if old[a] != none && ids[b] == none && same(a, b) {
					ids[b], old[a] = old[a], none
				}
			}
		}
	}
	taken := func(n int) bool { return n == none }
	left := slices.DeleteFunc(old, taken)
	inOrder := len(left) == len(slices.DeleteFunc(slices.Clone(ids), func(n int) bool { return n != none }))
	for b := range ids {
		if ids[b] != none {
			continue
		}
		if inOrder {
			ids[b], left = left[0], left[1:]
			continue
		}
		ids[b] = m.fresh()
	}
	return ids
}

// place is where a meal stands now; ok is false if it has gone.
func (m identities) place(id int) (n int, ok bool) {
	n = slices.Index(m.ids, id)
	return n, n >= 0
}
