// Package lower turns the meals of a plan into the day rules, times and portions of an alarm table.
//
// In: a checked [plan.Plan] and its zone. Out: a [table.Table] whose rules are closed forms, one conjunction of
// terms over a date for each part of a recurrence set, shared between meals. RFC 5545 §3.3.10 and RFC 7529 §4 rule.
//
// The package works from plan's parsed rules and its own arithmetic; it never sees the referee (package recur), with
// which it meets only in the proof.
package lower

import (
	"fmt"

	"mealtab/compiler/plan"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// Options says which part of the calendar the table must cover.
type Options struct {
	From    table.Day // nothing before is served; the table starts later if every meal does
	Through table.Day // the last date that must be right
	Board   uint8     // code of the board profile
	// Explicit gives the instances of a meal that has no closed form, from From to Through, as nominal local
	// minutes in the meal's own zone, ascending.
	Explicit func(meal int) []table.Minute
}

// Result is a table and what its numbers stand for.
type Result struct {
	Table    *table.Table
	MealOf   []int // plan meal of each table meal
	Explicit []int // plan meals carried as explicit dates because their rule has no closed form
	// ZoneExplicit says that the zone needs override spans, which a shorter range would save.
	ZoneExplicit bool
}

// Lower compiles a plan. Meals that have no instance in the range get no place in the table.
func Lower(p *plan.Plan, z *zone.Zone, o Options) (*Result, error) {
	l := &lowering{p: p, z: z, o: o, res: &Result{}}
	l.start()
	l.units()
	zt, err := ZoneTable(z, unixDay(l.t.Start)-86400, unixDay(o.Through)+2*86400)
	if err != nil {
		return nil, err
	}
	zt.GapOmit = p.Gap == plan.GapOmit
	l.t.Zone = zt
	l.res.ZoneExplicit = len(zt.Overrides) > 0
	l.meals()
	if err := l.share(); err != nil {
		return nil, err
	}
	l.res.Table = &l.t
	return l.res, nil
}

type lowering struct {
	p      *plan.Plan
	z      *zone.Zone
	o      Options
	t      table.Table
	res    *Result
	pieces [][]piece // of each table meal
}

// piece is a day rule with its times: a part before rules are shared.
type piece struct {
	rule  table.Rule
	times table.Times
}

// start begins the table with the first meal, but not before the range does.
func (l *lowering) start() {
	first := table.MaxDay
	for i := range l.p.Meals {
		set := &l.p.Meals[i].Set
		first = min(first, clampDay(dayNumber(set.Start)))
		for _, d := range set.RDate {
			first = min(first, clampDay(dayNumber(d)))
		}
	}
	l.t.Start = min(max(first, l.o.From), l.o.Through)
	l.t.Through = l.o.Through
	l.t.Board = l.o.Board
	l.t.Late = l.p.Late
	if n := len(l.p.Presets); n > 1 {
		l.t.Presets = n
	}
	// A date before the first that is served has passed.
	if day := l.p.PresetUntil; !day.IsZero() && clampDay(dayNumber(day)) > l.t.Start {
		l.t.PresetUntil = clampDay(dayNumber(day))
	}
}

func clampDay(d int) table.Day { return table.Day(min(max(d, 0), int(table.MaxDay))) }

func unixDay(d table.Day) int64 { return table.Epoch + int64(d)*86400 }

func (l *lowering) meals() {
	for i := range l.p.Meals {
		m := &l.p.Meals[i]
		pieces, closed := l.recurrence(&m.Set)
		if !closed {
			l.res.Explicit = append(l.res.Explicit, i)
			pieces = explicitPieces(l.o.Explicit(i), m.Set.Form == plan.UTC)
		}
		if len(pieces) == 0 {
			continue
		}
		l.res.MealOf = append(l.res.MealOf, i)
		l.pieces = append(l.pieces, splitLong(pieces))
		meal := table.Meal{Portion: l.portion(m.Portion)}
		if l.t.Presets > 0 && m.Presets != uint8(1<<l.t.Presets-1) {
			meal.Presets = m.Presets
		}
		l.t.Meals = append(l.t.Meals, meal)
	}
}

// share gives each distinct rule one number, the most used ones the short numbers.
func (l *lowering) share() error {
	pool := newPool()
	for _, pieces := range l.pieces {
		for i := range pieces {
			pool.count(&pieces[i].rule)
		}
	}
	l.t.Rules = pool.ranked()
	if len(l.t.Rules) > table.MaxRules {
		return fmt.Errorf("the plan needs %d different day rules, a table holds %d", len(l.t.Rules), table.MaxRules)
	}
	for i, pieces := range l.pieces {
		for _, pc := range pieces {
			l.t.Meals[i].Parts = append(l.t.Meals[i].Parts, table.Part{Rule: pool.number(&pc.rule), Times: pc.times})
		}
	}
	return nil
}

// splitLong divides lists that no form can hold whole; what is left of steps or a grid stays one.
func splitLong(pieces []piece) []piece {
	var out []piece
	for _, p := range pieces {
		list := p.times.List
		for len(list) > table.MaxListTimes && !table.Regular(list) {
			out = append(out, piece{p.rule, table.Times{List: list[:table.MaxListTimes]}})
			list = list[table.MaxListTimes:]
		}
		out = append(out, piece{p.rule, table.Times{List: list, Cycle: p.times.Cycle}})
	}
	return out
}
