// Package compare says by what two schedules feed differently: from which instant on, in a week, in a year, to the end.
//
// In: two tables with the names of their meals and a clock each. Out: the servings that only one of them has or that are of another
// amount, how much food that is, and what differs beside the servings (how late a missed one is given, the button, …). What is
// compared is what the tables plan, by weight where both know the wheel's, else in pockets; the presets are compared by their numbers.
package compare

import (
	"fmt"
	"slices"

	"mealtab/compiler/replay"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// Side is one of the two.
type Side struct {
	Name     string // as its owner calls it: a file, a port
	Schedule *serving.Schedule
}

// Result is what was found.
type Result struct {
	Sides    [2]Side
	From, To table.Minute // what was compared: From <= instant < To
	ByWeight bool         // amounts are milligrams, else pockets
	Ends     int          // the side whose table ends before the other's; -1: both reach as far
	Presets  []Preset
	Settings []string // what else differs, a clause each
}

// Preset is one preset's comparison.
type Preset struct {
	Number     int // -1: the tables have none
	First      *Difference
	Last       table.Minute // instant of the last difference
	Count      int          // instants that differ
	Week, Year Span         // from the first difference on
}

// Span is what differs in a stretch of time.
type Span struct {
	To       table.Minute
	Servings [2]int   // of each side
	Amounts  [2]int64 // of each side: milligrams, or pockets
	Only     [2]int   // instants that only this side has
	Other    int      // instants at which both serve, not the same amount
	List     []Difference
}

// Difference is one instant.
type Difference struct {
	At      table.Minute
	Amounts [2]int64 // 0: nothing is served
	Meals   [2][]string
}

// mostListed bounds Span.List.
const mostListed = 12

const (
	week = 7 * table.MinutesPerDay
	year = 365 * table.MinutesPerDay
)

// Equal reports whether nothing differs.
func (r *Result) Equal() bool {
	return len(r.Settings) == 0 && r.Ends < 0 && !slices.ContainsFunc(r.Presets, func(p Preset) bool { return p.First != nil })
}

// Schedules compares two from an instant on, to the end of the one that ends first.
func Schedules(a, b Side, from table.Minute) *Result {
	r := &Result{Sides: [2]Side{a, b}, From: from, Ends: -1}
	ta, tb := a.Schedule.Table, b.Schedule.Table
	r.ByWeight = ta.Wheel.UnitMg != 0 && tb.Wheel.UnitMg != 0
	switch through := [2]table.Day{ta.Through, tb.Through}; {
	case through[0] < through[1]:
		r.Ends = 0
	case through[1] < through[0]:
		r.Ends = 1
	}
	r.To = (table.Minute(min(ta.Through, tb.Through)) + 1) * table.MinutesPerDay
	for n := range max(ta.Presets, tb.Presets, 1) {
		if max(ta.Presets, tb.Presets) == 0 {
			n = -1
		}
		r.Presets = append(r.Presets, r.preset(n))
	}
	r.Settings = settings(ta, tb, r)
	return r
}

// stream gives one side's servings, amounts summed over its meals.
type stream struct {
	cursor *serving.Cursor
	weight bool
	at     table.Minute
	amount int64
	meals  []string
	more   bool
}

func (r *Result) stream(side, preset int) *stream {
	s := r.Sides[side].Schedule
	if s.Table.Presets == 0 {
		preset = replay.AllPresets
	}
	if preset >= s.Table.Presets && s.Table.Presets > 0 {
		preset = 0 // a feeder that is in a preset which its new table has not goes to the first
	}
	out := &stream{weight: r.ByWeight, cursor: s.Walk(serving.Range{From: r.From, To: r.To}, preset)}
	out.next()
	return out
}

func (s *stream) next() {
	var due serving.Serving
	if due, s.more = s.cursor.Next(); !s.more {
		return
	}
	s.at, s.amount, s.meals = due.At, int64(due.Pockets()), s.meals[:0]
	if s.weight {
		s.amount = due.Milligrams()
	}
	for _, m := range due.Meals {
		s.meals = append(s.meals, m.Label())
	}
}

// preset walks through both sides together.
func (r *Result) preset(n int) Preset {
	p := Preset{Number: n}
	for a, b := r.stream(0, n), r.stream(1, n); a.more || b.more; {
		d := Difference{At: a.at}
		if !a.more || b.more && b.at < a.at {
			d.At = b.at
		}
		for side, s := range [2]*stream{a, b} {
			if s.more && s.at == d.At {
				d.Amounts[side], d.Meals[side] = s.amount, slices.Clone(s.meals)
				s.next()
			}
		}
		p.see(d)
		if p.First == nil {
			continue
		}
		for _, span := range [2]*Span{&p.Week, &p.Year} {
			if d.At < span.To {
				span.see(d)
			}
		}
	}
	return p
}

func (p *Preset) see(d Difference) {
	if d.Amounts[0] == d.Amounts[1] {
		return
	}
	p.Count++
	p.Last = d.At
	if p.First == nil {
		p.First = &d
		p.Week.To, p.Year.To = d.At+week, d.At+year
	}
}

func (s *Span) see(d Difference) {
	for side, amount := range d.Amounts {
		s.Amounts[side] += amount
		if len(d.Meals[side]) > 0 {
			s.Servings[side]++
		}
	}
	switch {
	case d.Amounts[0] == d.Amounts[1]:
		return
	case len(d.Meals[1]) == 0:
		s.Only[0]++
	case len(d.Meals[0]) == 0:
		s.Only[1]++
	default:
		s.Other++
	}
	if len(s.List) < mostListed {
		s.List = append(s.List, d)
	}
}

// settings lists what differs beside the servings.
func settings(a, b *table.Table, r *Result) (list []string) {
	say := func(differ bool, format string, args ...any) {
		if differ {
			list = append(list, fmt.Sprintf(format, args...))
		}
	}
	names := [2]string{r.Sides[0].Name, r.Sides[1].Name}
	say(a.Late != b.Late, "a missed serving is still given up to %d min late by %s, %d min by %s", a.Late, names[0], b.Late, names[1])
	say(a.Button != b.Button, "the feed button gives another amount, or may be pressed more or less often")
	say(a.Wheel.PocketMg() != b.Wheel.PocketMg(), "a pocket of the wheel holds %s by %s, %s by %s", mass(a.Wheel.PocketMg()), names[0], mass(b.Wheel.PocketMg()), names[1])
	say(a.Wheel.TurnMillis != b.Wheel.TurnMillis || a.Wheel.TrimMicros != b.Wheel.TrimMicros, "the wheel turns by other times")
	say(a.Presets != b.Presets, "%s has %s, %s has %s", names[0], presets(a), names[1], presets(b))
	say(a.PresetUntil != b.PresetUntil, "the first preset is in force again from another date on: %s by %s, %s by %s", until(a), names[0], until(b), names[1])
	say(a.Board != b.Board, "they are made for other boards: %d and %d", a.Board, b.Board)
	return list
}

func mass(mg int64) string {
	if mg == 0 {
		return "an amount that is not known"
	}
	return units.Milligrams(mg).InGrams()
}

func presets(t *table.Table) string {
	if t.Presets == 0 {
		return "no presets"
	}
	return fmt.Sprintf("%d presets", t.Presets)
}

func until(t *table.Table) string {
	if t.PresetUntil == 0 {
		return "no date"
	}
	return t.PresetUntil.String()
}
