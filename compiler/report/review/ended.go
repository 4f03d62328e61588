package review

import (
	"slices"

	"mealtab/compiler/plan"
	"mealtab/compiler/recur"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
)

// ended warns of meals that will not be served any more, or never were; true when none will be.
func (r *review) ended() bool {
	alive := 0
	var last table.Minute
	for i := range r.Plan.Meals {
		m := &r.Plan.Meals[i]
		if r.future(i) {
			alive++
			continue
		}
		at, ever := r.lastServing(m)
		if !ever {
			r.warn(plan.CodeNever, timesOf(m), "", "%q is never served: its rule gives no date up to 2099", m.Name)
			continue
		}
		last = max(last, at)
		r.warn(CodeEnded, timesOf(m), "", "%q has ended: it was last served on %s", m.Name, r.local(at))
	}
	if alive == 0 && last != 0 {
		r.warn(CodeEnded, plan.Pos{}, "", "the plan has ended: its last serving was on %s", r.local(last))
	}
	return alive == 0
}

// future reports whether a plan's meal has a serving from now on.
func (r *review) future(meal int) bool {
	i := slices.Index(r.MealOf, meal)
	if i < 0 {
		return false // nothing from the beginning of the table on
	}
	_, ok := replay.New(onlyMeal(r.Table, i), replay.Options{From: r.from, Preset: replay.AllPresets}).Next()
	return ok
}

// onlyMeal is a table with one of its meals.
func onlyMeal(t *table.Table, i int) *table.Table {
	one := *t
	one.Meals = t.Meals[i : i+1]
	return &one
}

// lastServing asks the referee, which knows the time before the table as well.
func (r *review) lastServing(m *plan.Meal) (last table.Minute, ever bool) {
	set, err := recur.New(m.Set, r.Zone, r.Plan.Gap)
	if err != nil {
		return 0, false // the proof has refused it before
	}
	for c := set.Instants(); ; {
		in, ok := c.Next()
		if !ok || table.MinuteOf(in.Unix) >= r.from {
			return last, ever
		}
		last, ever = table.MinuteOf(in.Unix), true
	}
}
