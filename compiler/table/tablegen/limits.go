package tablegen

import (
	"fmt"

	"mealtab/compiler/table"
)

// Limit is a table at one limit of the format.
type Limit struct {
	Name  string
	Table *table.Table
}

// today is on which the limits' tables start: 2026-12-01.
const today table.Day = 9831

// plain is a table with one meal, of one pocket at a time of day, every day.
func plain() *table.Table {
	w := table.Wheel{PocketUnits: 1}
	return &table.Table{
		Board: 1, Start: today, Through: table.MaxDay, Late: table.DefaultLate, Wheel: w, Button: table.DefaultButton(w),
		Meals: []table.Meal{{Portion: 1, Parts: []table.Part{{Times: table.Times{List: []uint16{12 * 60}}}}}},
	}
}

// Limits returns a table for each end of each range that the format has: the numbers of times, rules, meals, presets, parts and groups, periods,
// masks, lists and positions of each opcode, the wheel, the policies, the calendar. All fit a bank of 415 bytes and have servings in December 2026 as far as the
// limit allows.
func Limits() []Limit {
	l := &limits{}
	l.heads()
	l.times()
	l.counts()
	l.rules()
	l.lists()
	l.spans()
	return l.list
}

type limits struct{ list []Limit }

func (l *limits) add(name string, change func(t *table.Table)) {
	t := plain()
	change(t)
	l.list = append(l.list, Limit{name, t})
}

func (l *limits) heads() {
	l.add("no meals", func(t *table.Table) { t.Meals = nil })
	l.add("a day", func(t *table.Table) { t.Through = t.Start })
	l.add("the last day", func(t *table.Table) { t.Start = table.MaxDay })
	l.add("all days", func(t *table.Table) { t.Start = 0 })
	for _, ms := range []uint32{table.MinTurn, table.MaxTurn} {
		l.add(fmt.Sprintf("turn of %d ms", ms), func(t *table.Table) { t.Wheel.TurnMillis = ms })
	}
	for _, us := range []int32{-table.MaxTrim, table.MaxTrim} {
		l.add(fmt.Sprintf("trim of %d us", us), func(t *table.Table) { t.Wheel.TrimMicros = us })
	}
	l.add("the largest pocket", func(t *table.Table) {
		t.Wheel = table.Wheel{PocketUnits: table.MaxPocketUnits, UnitMg: table.MaxNumber}
		t.Button, t.Meals[0].Portion = table.DefaultButton(t.Wheel), table.MaxPocketUnits
	})
	l.add("the largest portion", func(t *table.Table) { t.Meals[0].Portion = table.MaxMealPockets })
	l.add("the largest portion of the largest pocket", func(t *table.Table) {
		t.Wheel.PocketUnits = table.MaxPocketUnits
		t.Meals[0].Portion = table.MaxPortionUnits
		t.Button.Portion = t.Meals[0].Portion
	})
	for _, late := range []int{0, 127, 128, table.MaxLate} {
		l.add(fmt.Sprintf("late by %d min", late), func(t *table.Table) { t.Late = late })
	}
	for _, q := range []int8{-64, 63} {
		l.add(fmt.Sprintf("offset of %d quarters", q), func(t *table.Table) { t.Zone.Standard = q })
		l.add(fmt.Sprintf("daylight saving of %d quarters more", q), func(t *table.Table) {
			t.Zone.Standard = q
			t.Zone.DST = &table.DST{Shift: q,
				Start: table.Transition{Month: 10, Week: 5, Weekday: 6, Minutes: 4095}, End: table.Transition{Month: 12, Week: 1, Weekday: 0, Minutes: -4096}}
		})
	}
}

// Irregular is n times of day, of which no five are steps or a grid.
func Irregular(n int) (list []uint16) {
	for i := range n {
		list = append(list, uint16(5*i+i%2))
	}
	return list
}

func (l *limits) times() {
	set := func(times table.Times) func(*table.Table) {
		return func(t *table.Table) { t.Meals[0].Parts[0].Times = times }
	}
	for _, n := range []int{1, 2, 3, 4, 5, 126, 127, 128, 129, 140, table.MaxListTimes} {
		l.add(fmt.Sprintf("%d times", n), set(table.Times{List: Irregular(n)}))
	}
	l.add("the first and the last minute", set(table.Times{List: []uint16{0, 1439}}))
	for _, step := range []int{1, 2, 14, 15, 16, 31, 32, 45, 719, 720} {
		l.add(fmt.Sprintf("steps of %d min", step), set(table.Times{List: steps(0, step)}))
	}
	l.add("steps to the last minute", set(table.Times{List: steps(1439-8*179, 179)}))
	l.add("a grid of all hours but one", set(table.Times{List: inHours(1<<24-2, 1, 2, 59)}))
	l.add("a grid of the last hour", set(table.Times{List: inHours(1<<23, 0, 1, 3, 7, 8, 9, 20, 59)}))
	for _, period := range []uint32{1, 127, 128, 129, 1439, 1441, 16384, 16385, table.MaxCycle} {
		for _, phase := range []uint32{0, period - 1} {
			l.add(fmt.Sprintf("a cycle of %d min at %d", period, phase), set(table.Times{Cycle: &table.Cycle{Period: period, Phase: phase, Hours: table.AllHours}}))
		}
	}
	l.add("a cycle in the first hour", set(table.Times{Cycle: &table.Cycle{Period: 7, Phase: 6, Hours: 1}}))
	l.add("a cycle in the last hour", set(table.Times{Cycle: &table.Cycle{Period: 61, Phase: 0, Hours: 1 << 23}}))
}

func inHours(hours uint32, minutes ...uint16) (list []uint16) {
	for h := range uint16(24) {
		for _, m := range minutes {
			if hours>>h&1 != 0 {
				list = append(list, 60*h+m)
			}
		}
	}
	return list
}

func (l *limits) counts() {
	for _, n := range []int{63, table.MaxMeals} {
		l.add(fmt.Sprintf("%d meals", n), func(t *table.Table) {
			for i := 1; i < n; i++ {
				m := t.Meals[0]
				m.Parts = []table.Part{{Times: table.Times{List: []uint16{uint16(13 * i)}}}}
				t.Meals = append(t.Meals, m)
			}
		})
	}
	l.add("meals at one instant", func(t *table.Table) {
		for range table.MaxMeals - 1 {
			t.Meals = append(t.Meals, t.Meals[0])
		}
	})
	for _, n := range []int{2, table.MaxPresets} {
		l.add(fmt.Sprintf("%d presets", n), func(t *table.Table) {
			t.Presets, t.Meals[0].Presets = n, 1<<n-1
			t.Meals = append(t.Meals, table.Meal{Portion: 1, Presets: 1 << (n - 1), Parts: t.Meals[0].Parts})
		})
	}
	for _, at := range []struct {
		name            string
		start, on, last table.Day
	}{
		{"a preset until the day after the first", 0, 1, table.MaxDay},
		{"a preset until the last day", table.MaxDay - 1, table.MaxDay, table.MaxDay},
		{"a preset until the last day of a table that ends", 20_000, 20_010, 20_010},
		{"a preset until a change of the clocks", 9500, 9619, table.MaxDay},
	} {
		l.add(at.name, func(t *table.Table) {
			t.Start, t.PresetUntil, t.Through = at.start, at.on, at.last
			t.Presets, t.Meals[0].Presets = table.MaxPresets, 1<<(table.MaxPresets-1)
			t.Meals = append(t.Meals, table.Meal{Portion: 1, Presets: 1, Parts: t.Meals[0].Parts})
		})
	}
	for _, n := range []int{6, 7, 8, table.MaxRules} {
		l.add(fmt.Sprintf("%d rules", n), func(t *table.Table) {
			for range n {
				t.Rules = append(t.Rules, table.Everyday())
			}
			t.Meals[0].Parts[0].Rule = n
		})
	}
	l.add("many parts", func(t *table.Table) {
		for i := range 120 {
			t.Meals[0].Parts = append(t.Meals[0].Parts, table.Part{Times: table.Times{List: []uint16{uint16(11 * i)}}})
		}
	})
}
