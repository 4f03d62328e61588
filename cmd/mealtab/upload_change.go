package main

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/serving"
	"mealtab/compiler/plan"
	"mealtab/compiler/raise"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
	"mealtab/emulator/replay"
	"mealtab/flasher"
)

// showChange says what the new table will do that the old one does not.
func (s *session) showChange(c *cargo, old []byte, st flasher.Status) {
	var held *serving.Schedule
	if old != nil {
		held, _ = serving.OfTable(old) // one that is none is as good as none
	}
	s.showMeals(c, old, held)
	s.showFood(held, c.schedule, st)
	s.showServings(held, c.schedule, st)
}

func (s *session) showMeals(c *cargo, old []byte, held *serving.Schedule) {
	if held == nil {
		old = nil
		fmt.Fprint(&s.out, "  the feeder has no table yet\n")
	}
	meals, others, err := changes(c.db, old, c.bytes, raise.Options{Names: c.schedule.Names, Zones: c.zones(), Always: true})
	if err != nil {
		fmt.Fprintf(&s.out, "  %v\n", err)
		return
	}
	for _, change := range meals {
		s.showMeal(change)
	}
	for _, line := range others {
		fmt.Fprintf(&s.out, "  %s\n", line)
	}
}

// zones are the likely names of the table's zone.
func (c *cargo) zones() []string {
	if c.compiled != nil {
		return []string{c.compiled.plan.Zone}
	}
	return likelyZones("")
}

// changes says what a table changes on a feeder that holds another one, or none if held is nil: in the meals, and in all else. The
// options are for the new table.
func changes(db *zone.Database, held, next []byte, o raise.Options) (meals []raise.Change, others []string, err error) {
	after, err := raise.Raise(next, db, o)
	if err != nil {
		return nil, nil, fmt.Errorf("the meals cannot be said in words: %w", err)
	}
	if held == nil {
		return raise.Changes(&plan.Plan{}, after.Plan), nil, nil
	}
	before, err := raise.Raise(held, db, raise.Options{Zones: []string{after.Plan.Zone}, Always: true})
	if err != nil {
		return nil, nil, fmt.Errorf("the meals on the feeder cannot be said in words: %w", err)
	}
	old, err := table.Decode(held)
	if err != nil {
		return nil, nil, err
	}
	later, err := table.Decode(next)
	if err != nil {
		return nil, nil, err
	}
	return raise.Changes(before.Plan, after.Plan), otherChanges(old, later), nil
}

func (s *session) showMeal(c raise.Change) {
	m := c.Meal()
	name := serving.Pad(m.Name, min(max(12, utf8.RuneCountInString(m.Name)), 24))
	s.out.WriteString(wrap(fmt.Sprintf("  %-9s  %s  ", c.Kind, name), c.Words()))
}

// otherChanges are those that are not about meals.
func otherChanges(old, next *table.Table) (lines []string) {
	if zoneKey(old) != zoneKey(next) {
		lines = append(lines, "the clock changes of the zone are others")
	}
	if old.Late != next.Late {
		lines = append(lines, fmt.Sprintf("a missed serving is given up to %d min late, was %d min", next.Late, old.Late))
	}
	if old.Wheel != next.Wheel && (old.Wheel.PocketMg() != next.Wheel.PocketMg() || old.Wheel.TurnMillis != next.Wheel.TurnMillis || old.Wheel.TrimMicros != next.Wheel.TrimMicros) {
		lines = append(lines, "the wheel's calibration is another")
	}
	if old.Presets != next.Presets {
		lines = append(lines, fmt.Sprintf("presets: %d, were %d", max(next.Presets, 1), max(old.Presets, 1)))
	}
	return lines
}

func zoneKey(t *table.Table) string {
	dst := ""
	if t.Zone.DST != nil {
		dst = fmt.Sprint(*t.Zone.DST)
	}
	return fmt.Sprint(t.Zone.Standard, t.Zone.GapOmit, dst, t.Zone.Overrides)
}

// foodDays is the time over which food a day is averaged: four weeks have every weekday as often.
const foodDays = 28

// showFood compares food a day, in the preset and with the adjustment in force.
func (s *session) showFood(held, next *serving.Schedule, st flasher.Status) {
	after := perDay(next, moment.Minute(s.a.now), st)
	if held == nil {
		fmt.Fprintf(&s.out, "  food       %s a day\n", after)
		return
	}
	before := perDay(held, moment.Minute(s.a.now), st)
	if before == after {
		fmt.Fprintf(&s.out, "  food       %s a day, as before\n", after)
		return
	}
	fmt.Fprintf(&s.out, "  food       %s a day, was %s (the next %d days)\n", after, before, foodDays)
}

// perDay is the average of the next weeks as a weight, or in pockets where that is all the table knows.
func perDay(sch *serving.Schedule, now table.Minute, st flasher.Status) string {
	t := sch.Table
	c := replay.New(t, replay.Options{From: now, To: now + foodDays*table.MinutesPerDay, Preset: presetOf(t, st), Adjust: st.Adjust})
	units, pockets := int64(0), 0
	for {
		due, ok := c.Next()
		if !ok {
			break
		}
		for _, m := range due.Meals {
			units += int64(m.Units)
		}
		pockets += due.Pockets()
	}
	if t.Wheel.UnitMg == 0 {
		return fmt.Sprintf("%.1f pockets", float64(pockets)/foodDays)
	}
	grams := float64(units) * float64(t.Wheel.UnitMg) / 1000 * float64(st.Adjust) / 10 / foodDays
	return strings.TrimSuffix(fmt.Sprintf("%.1f", grams), ".0") + " g"
}

// presetOf is the preset in force, as far as a table has it.
func presetOf(t *table.Table, st flasher.Status) int {
	if t.Presets == 0 {
		return replay.AllPresets
	}
	return st.Preset % t.Presets
}

// showServings puts the next servings of both tables side by side.
func (s *session) showServings(held, next *serving.Schedule, st flasher.Status) {
	now := moment.Minute(s.a.now)
	after := servingLines(next, now, st)
	if held == nil {
		fmt.Fprint(&s.out, "  next servings\n")
		for _, line := range after {
			fmt.Fprintf(&s.out, "    %s\n", line)
		}
		return
	}
	before := servingLines(held, now, st)
	fmt.Fprintf(&s.out, "    %-38s %s\n", "next servings now", "and with the new table")
	for i := range shownOwn {
		var left, right string
		if i < len(before) {
			left = before[i]
		}
		if i < len(after) {
			right = after[i]
		}
		if left+right != "" {
			fmt.Fprintln(&s.out, strings.TrimRight(fmt.Sprintf("    %s %s", serving.Pad(left, 38), right), " "))
		}
	}
}

func servingLines(sch *serving.Schedule, now table.Minute, st flasher.Status) (lines []string) {
	c := replay.New(sch.Table, replay.Options{From: now + 1, To: now + 366*table.MinutesPerDay, Preset: presetOf(sch.Table, st), Adjust: st.Adjust, Carry: int64(st.Carry)})
	for len(lines) < shownOwn {
		due, ok := c.Next()
		if !ok {
			break
		}
		local := serving.Local(sch.Clock, due.At.Time())
		lines = append(lines, fmt.Sprintf("%s  %s", local.Format("Mon 2006-01-02 15:04"), serving.PocketWord(due.Pockets())))
	}
	return lines
}
