package decompile

import (
	"cmp"
	"fmt"
	"reflect"
	"slices"

	"mealtab/compiler/plan"
	"mealtab/compiler/plan/describe"
)

// Kind of a change.
type Kind int

// What may happen to a meal between two plans.
const (
	Same Kind = iota
	Amount
	Moved // other days or times
	Presets
	Added
	Gone
)

func (k Kind) String() string {
	return [...]string{"as before", "amount", "moved", "presets", "new", "gone"}[k]
}

// Change is what happens to one meal: Old is nil for a new one, New for one that is gone.
type Change struct {
	Kind     Kind
	Old, New *plan.Meal
}

// Meal is the meal in the new plan, or in the old one if it is gone.
func (c Change) Meal() *plan.Meal { return cmp.Or(c.New, c.Old) }

// Changes pairs the meals of two plans, both made from tables: a table has no names, so that a meal is known by what it feeds. First come
// the new plan's meals in its order, then those that are gone.
func Changes(old, next *plan.Plan) []Change {
	p := pairing{old: old.Meals, next: next.Meals, partner: make([]int, len(next.Meals)), taken: make([]bool, len(old.Meals))}
	for i := range p.partner {
		p.partner[i] = -1
	}
	equal := func(a, b any) bool { return reflect.DeepEqual(a, b) }
	for _, likeness := range []func(a, b *plan.Meal) bool{
		func(a, b *plan.Meal) bool {
			return equal(a.Set, b.Set) && a.Portion == b.Portion && a.Presets == b.Presets
		},
		func(a, b *plan.Meal) bool { return equal(a.Set, b.Set) && a.Portion == b.Portion },
		func(a, b *plan.Meal) bool { return equal(a.Set, b.Set) },
		func(a, b *plan.Meal) bool { return a.Portion == b.Portion && sharesTimes(a.Set, b.Set) },
		func(a, b *plan.Meal) bool { return a.Portion == b.Portion && equal(days(a.Set), days(b.Set)) },
		func(a, b *plan.Meal) bool { return sharesTimes(a.Set, b.Set) },
		func(a, b *plan.Meal) bool { return a.Portion == b.Portion },
	} {
		p.pair(likeness)
	}
	return p.changes()
}

type pairing struct {
	old, next []plan.Meal
	partner   []int  // of the new meals
	taken     []bool // old meals
}

func (p *pairing) pair(alike func(a, b *plan.Meal) bool) {
	for i := range p.next {
		for j := range p.old {
			if p.partner[i] < 0 && !p.taken[j] && alike(&p.old[j], &p.next[i]) {
				p.partner[i], p.taken[j] = j, true
			}
		}
	}
}

func (p *pairing) changes() (list []Change) {
	for i := range p.next {
		c := Change{Kind: Added, New: &p.next[i]}
		if j := p.partner[i]; j >= 0 {
			c.Old = &p.old[j]
			c.Kind = kind(c.Old, c.New)
		}
		list = append(list, c)
	}
	for j := range p.old {
		if !p.taken[j] {
			list = append(list, Change{Kind: Gone, Old: &p.old[j]})
		}
	}
	return list
}

func kind(old, next *plan.Meal) Kind {
	switch {
	case !reflect.DeepEqual(old.Set, next.Set):
		return Moved
	case old.Portion != next.Portion:
		return Amount
	case old.Presets != next.Presets:
		return Presets
	}
	return Same
}

// sharesTimes reports whether two sets have a time of day in common.
func sharesTimes(a, b plan.Recurrence) bool {
	other := times(b)
	return slices.ContainsFunc(times(a), func(m int) bool { return slices.Contains(other, m) })
}

func times(r plan.Recurrence) []int {
	if len(r.At) > 0 {
		return r.At
	}
	return []int{r.Start.Hour*60 + r.Start.Minute}
}

// days is a set without its times of day.
func days(r plan.Recurrence) plan.Recurrence {
	r.At, r.Start.Hour, r.Start.Minute = nil, 0, 0
	return r
}

// Words says the change in an owner's words, what was and what will be.
func (c Change) Words() string {
	switch {
	case c.Old == nil:
		return fmt.Sprintf("%s, %s", c.New.Portion, describe.Set(c.New.Set))
	case c.New == nil:
		return fmt.Sprintf("%s, %s", c.Old.Portion, describe.Set(c.Old.Set))
	}
	was, will := describe.Set(c.Old.Set), describe.Set(c.New.Set)
	switch {
	case c.Old.Portion != c.New.Portion && was != will:
		return fmt.Sprintf("%s, %s; was %s, %s", c.New.Portion, will, c.Old.Portion, was)
	case c.Old.Portion != c.New.Portion:
		return fmt.Sprintf("%s, was %s; %s", c.New.Portion, c.Old.Portion, will)
	case was != will:
		return fmt.Sprintf("%s, %s; was %s", c.New.Portion, will, was)
	}
	return fmt.Sprintf("%s, %s", c.New.Portion, will)
}
