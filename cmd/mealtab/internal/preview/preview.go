// Package preview says in words what a new table changes on a feeder: in its meals, in food a day, in the servings that come next.
//
// In: the table a feeder holds, the new one with its names, the feeder's preset, adjustment and carry. Out: changes and lines of text, local
// times of the tables' zones. The command and the page show the same.
package preview

import (
	"fmt"
	"strings"

	"mealtab/compiler/decompile"
	"mealtab/compiler/plan"
	"mealtab/compiler/replay"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/compiler/zone"
	"mealtab/flasher"
)

// Feeder is what is asked about.
type Feeder struct {
	Held   []byte         // the table in force; nil: none
	Status flasher.Status // preset, adjustment and carry count
	Now    table.Minute
}

// Next is the table to be put on it.
type Next struct {
	Bytes    []byte
	Schedule *serving.Schedule // with the names of its meals
	Zones    []string          // likely names of its zone
}

// Change is what the table changes.
type Change struct {
	Meals  []decompile.Change
	Others []string // all else that is another, each a clause
	Unsaid string   // why the meals cannot be said in words; "": they can
	// Food a day on average over the next four weeks, in the preset and with the adjustment in force.
	FoodBefore, FoodAfter string // FoodBefore "": no table
	// Before and After are the next servings.
	Before, After []string
}

// shown is how many servings are looked ahead at.
const shown = 5

// Of compares what a feeder holds with what it is to get.
func Of(db *zone.Database, f Feeder, next Next) Change {
	held := scheduleOf(f.Held)
	c := Change{FoodAfter: perDay(next.Schedule, f), After: servings(next.Schedule, f)}
	if held == nil {
		f.Held = nil
	} else {
		c.FoodBefore, c.Before = perDay(held, f), servings(held, f)
	}
	var err error
	c.Meals, c.Others, err = Meals(db, f.Held, next)
	if err != nil {
		c.Unsaid = err.Error()
	}
	return c
}

// scheduleOf is nil for bytes that are no table: that is as good as none.
func scheduleOf(tab []byte) *serving.Schedule {
	if tab == nil {
		return nil
	}
	s, err := serving.OfTable(tab)
	if err != nil {
		return nil
	}
	return s
}

// Meals says what a table changes on a feeder that holds another one, or none if held is nil: in the meals, and in all else.
func Meals(db *zone.Database, held []byte, next Next) (meals []decompile.Change, others []string, err error) {
	after, err := decompile.Table(next.Bytes, db, decompile.Options{Names: next.Schedule.Names, Zones: next.Zones, Always: true})
	if err != nil {
		return nil, nil, fmt.Errorf("the meals cannot be said in words: %w", err)
	}
	if held == nil {
		return decompile.Changes(&plan.Plan{}, after.Plan), nil, nil
	}
	before, err := decompile.Table(held, db, decompile.Options{Zones: []string{after.Plan.Zone}, Always: true})
	if err != nil {
		return nil, nil, fmt.Errorf("the meals on the feeder cannot be said in words: %w", err)
	}
	old, err := table.Decode(held)
	if err != nil {
		return nil, nil, err
	}
	return decompile.Changes(before.Plan, after.Plan), otherChanges(old, next.Schedule.Table), nil
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
	if words := presetWords(old, next); words != "" {
		lines = append(lines, words)
	}
	if old.Button != next.Button {
		lines = append(lines, "what the button gives, or how often, is another")
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

// FoodDays is the time over which food a day is averaged: four weeks have every weekday as often.
const FoodDays = 28

// perDay is the average of the next weeks as a weight, or in pockets where that is all the table knows.
func perDay(sch *serving.Schedule, f Feeder) string {
	t := sch.Table
	c := replay.New(t, replay.Options{From: f.Now, To: f.Now + FoodDays*table.MinutesPerDay, Preset: presetOf(t, f.Status), Until: untilOf(t, f), Adjust: f.Status.Adjust})
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
		return fmt.Sprintf("%.1f pockets", float64(pockets)/FoodDays)
	}
	grams := float64(units) * float64(t.Wheel.UnitMg) / 1000 * float64(f.Status.Adjust) / 10 / FoodDays
	return strings.TrimSuffix(fmt.Sprintf("%.1f", grams), ".0") + " g"
}

// presetOf is the preset in force, as far as a table has it.
func presetOf(t *table.Table, st flasher.Status) int {
	if t.Presets == 0 {
		return replay.AllPresets
	}
	if st.Preset >= t.Presets {
		return 0 // as the feeder does
	}
	return st.Preset
}

// untilOf is the instant at which that preset ends by the table's date; 0: never. A date that has passed when the table comes in force
// ends nothing.
func untilOf(t *table.Table, f Feeder) table.Minute { return replay.PresetEndAfter(t, f.Now) }

// presetWords says what becomes of a preset that ends by itself; "" where nothing changes.
func presetWords(old, next *table.Table) string {
	switch {
	case old.PresetUntil == next.PresetUntil:
		return ""
	case next.PresetUntil == 0:
		return fmt.Sprintf("no preset ends by itself any more; the table in force ends it on %s", old.PresetUntil)
	case old.PresetUntil == 0:
		return fmt.Sprintf("a preset other than the first ends by itself on %s, at 00:00", next.PresetUntil)
	}
	return fmt.Sprintf("a preset other than the first ends by itself on %s, at 00:00; it was to end on %s", next.PresetUntil, old.PresetUntil)
}

func servings(sch *serving.Schedule, f Feeder) (lines []string) {
	st := f.Status
	c := replay.New(sch.Table, replay.Options{From: f.Now + 1, To: f.Now + 366*table.MinutesPerDay, Preset: presetOf(sch.Table, st), Until: untilOf(sch.Table, f), Adjust: st.Adjust, Carry: int64(st.Carry)})
	for len(lines) < shown {
		due, ok := c.Next()
		if !ok {
			break
		}
		local := serving.Local(sch.Clock, due.At.Time())
		lines = append(lines, fmt.Sprintf("%s  %s", local.Format("Mon 2006-01-02 15:04"), units.Count(due.Pockets(), "pocket")))
	}
	return lines
}
