// Package tablegen makes random valid tables for tests: every opcode, every form, every section, with values
// weighted towards those that household plans use. In: a source of randomness. Out: a table that [table.Check] accepts.
package tablegen

import (
	"math/rand/v2"
	"slices"

	"mealtab/compiler/table"
)

// Table returns a random valid table.
func Table(r *rand.Rand) *table.Table {
	t := &table.Table{
		Board:   uint8(r.IntN(4)),
		Start:   table.Day(r.IntN(int(table.MaxDay) - 400)),
		Through: table.MaxDay,
		Late:    pick(r, table.DefaultLate, 0, 30, 360, table.MaxLate),
		Wheel:   wheel(r),
		Zone:    Zone(r),
	}
	if chance(r, 5) {
		t.Through = t.Start + table.Day(r.IntN(int(table.MaxDay-t.Start)+1))
	}
	t.Button = table.DefaultButton(t.Wheel)
	if chance(r, 3) {
		t.Button = table.Button{Portion: uint32(r.IntN(100)), PerHour: r.IntN(6), PerDay: r.IntN(16)}
	}
	if chance(r, 3) {
		t.Presets = 2 + r.IntN(table.MaxPresets-1)
	}
	for range r.IntN(5) {
		t.Rules = append(t.Rules, Rule(r))
	}
	if chance(r, 10) {
		for range 8 {
			t.Rules = append(t.Rules, Rule(r))
		}
	}
	thinOut(t.Rules)
	for range 1 + r.IntN(4) {
		t.Meals = append(t.Meals, meal(r, len(t.Rules), t.Presets))
	}
	if t.Presets > 0 && t.Through > t.Start && chance(r, 2) {
		t.PresetUntil = presetUntil(r, t)
	}
	return t
}

// presetUntil is a date after the table's first: any, or one on which the clocks change.
func presetUntil(r *rand.Rand, t *table.Table) table.Day {
	day := t.Start + 1 + table.Day(r.IntN(int(t.Through-t.Start)))
	if groups := t.Zone.Overrides; len(groups) > 0 && chance(r, 2) {
		span := groups[0].Spans[r.IntN(len(groups[0].Spans))]
		day = table.Day(min(max(int(pick(r, span.Start, span.End)/table.MinutesPerDay)+r.IntN(2), int(t.Start)+1), int(t.Through)))
	}
	return day
}

func chance(r *rand.Rand, oneIn int) bool { return r.IntN(oneIn) == 0 }

func pick[T any](r *rand.Rand, values ...T) T { return values[r.IntN(len(values))] }

func wheel(r *rand.Rand) table.Wheel {
	if chance(r, 2) {
		return table.Wheel{PocketUnits: 1}
	}
	return table.Wheel{
		PocketUnits: uint32(1 + r.IntN(100)),
		UnitMg:      pick[uint32](r, 0, 100, 200, 50),
		TurnMillis:  uint32(pick(r, 0, table.MinTurn+r.IntN(600), table.MaxTurn)),
		TrimMicros:  int32(pick(r, r.IntN(101)-50, -table.MaxTrim, table.MaxTrim)),
	}
}

// Zone returns a random zone: mostly hourly offsets with daylight saving of the kinds in use.
func Zone(r *rand.Rand) table.Zone {
	z := table.Zone{Standard: int8(4 * (r.IntN(27) - 12)), GapOmit: chance(r, 5)}
	if chance(r, 5) {
		z.Standard += int8(r.IntN(4))
	}
	if !chance(r, 3) {
		z.DST = &table.DST{Shift: pick[int8](r, 4, 4, 4, 2, 8, -4), Start: transition(r, 2, 4), End: transition(r, 9, 11)}
		if chance(r, 2) {
			z.DST.Start, z.DST.End = z.DST.End, z.DST.Start
		}
	}
	if chance(r, 6) {
		z.Overrides = overrides(r, z.Standard)
	}
	return z
}

func transition(r *rand.Rand, first, last int) table.Transition {
	return table.Transition{
		Month:   first + r.IntN(last-first+1),
		Week:    pick(r, 1, 2, 4, 5),
		Weekday: r.IntN(7),
		Minutes: pick(r, 120, 120, 60, 0, 180, 1440, -60, 1560, 3000, 165),
	}
}

func overrides(r *rand.Rand, standard int8) []table.OverrideGroup {
	g := table.OverrideGroup{Offset: standard + pick[int8](r, 0, 4, -4)}
	at := table.Minute(r.IntN(30_000_000)) / 60 * 60 // in whole hours, so that they are the unit
	for range 1 + r.IntN(3) {
		end := at + table.Minute(1+r.IntN(2000))*60
		g.Spans = append(g.Spans, table.Span{Start: at, End: end})
		at = end + table.Minute(table.MinSpanDistance+r.IntN(9000))*60
	}
	return []table.OverrideGroup{g}
}

func meal(r *rand.Rand, rules, presets int) table.Meal {
	m := table.Meal{Portion: uint32(1 + r.IntN(300))}
	if presets > 0 && chance(r, 2) {
		m.Presets = uint8(1 + r.IntN(1<<presets-1))
	}
	for range 1 + r.IntN(3)*r.IntN(2) {
		m.Parts = append(m.Parts, table.Part{Rule: r.IntN(rules + 1), Times: Times(r)})
	}
	return m
}

// Times returns random times of day in each of the forms.
func Times(r *rand.Rand) table.Times {
	switch r.IntN(8) {
	case 0:
		period := uint32(pick(r, 300, 90, 420, 1500, 7, 10_000))
		c := &table.Cycle{Period: period, Phase: r.Uint32N(period), Hours: table.AllHours}
		if chance(r, 2) {
			c.Hours = 1 + r.Uint32N(table.AllHours)
		}
		return table.Times{Cycle: c}
	case 1:
		return table.Times{List: steps(r.IntN(60), pick(r, 60, 90, 240, 20))}
	case 2:
		return table.Times{List: grid(r)}
	}
	var list []uint16
	for range 1 + r.IntN(4)*r.IntN(3) {
		list = append(list, uint16(pick(r, r.IntN(1440), r.IntN(96)*15, 120+r.IntN(60), r.IntN(60))))
	}
	slices.Sort(list)
	return table.Times{List: slices.Compact(list)}
}

func steps(first, step int) (list []uint16) {
	for m := first; m < table.MinutesPerDay; m += step {
		list = append(list, uint16(m))
	}
	return list
}

func grid(r *rand.Rand) (list []uint16) {
	minute := r.IntN(30)
	for h := 6; h < 20; h += 1 + r.IntN(3) {
		list = append(list, uint16(h*60+minute), uint16(h*60+minute+30))
	}
	return list
}

// thinOut takes positions away until a feeder's search is short enough.
func thinOut(rules []table.Rule) {
	for i := range rules {
		if table.SearchWork(rules) <= table.MaxSearchWork {
			return
		}
		rules[i].SetPos = nil
	}
}
