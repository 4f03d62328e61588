package prove

import (
	"fmt"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
)

// presetEnd is the instant from which on the first preset is in force again, as the plan says it; 0: never within the table. The
// table must mean the same one.
func presetEnd(in *Input, t *table.Table) (table.Minute, error) {
	want := table.Minute(0)
	if day := in.Plan.PresetUntil; !day.IsZero() {
		if day.Unix() > t.Start.Date().Unix() { // else it has passed before anything is served
			unix, _ := in.Zone.Resolve(day.Unix())
			want = table.MinuteOf(unix)
		}
	}
	if got := replay.PresetEnd(t); got != want {
		return 0, fmt.Errorf("by the plan a preset ends at %s, by the table at %s (%s: never)", want, got, table.Minute(0))
	}
	return want, nil
}

// ending compares what is served in a preset until it ends, and after that in the first, with the plan.
type ending struct {
	preset int
	until  table.Minute
	cursor *replay.Cursor
	got    replay.Serving
	served bool
	masks  []uint8 // of the table's meals, by the plan
}

func newEnding(in *Input, t *table.Table, until table.Minute) (list []ending) {
	if until == 0 {
		return nil
	}
	masks := make([]uint8, len(in.MealOf))
	for i, m := range in.MealOf {
		if masks[i] = in.Plan.Meals[m].Presets; masks[i] == 0 {
			masks[i] = uint8(1<<len(in.Plan.Presets) - 1)
		}
	}
	for preset := 1; preset < len(in.Plan.Presets); preset++ {
		e := ending{preset: preset, until: until, masks: masks}
		e.cursor = replay.New(t, replay.Options{Preset: preset, Until: until, From: beforeAll})
		e.got, e.served = e.cursor.Next()
		list = append(list, e)
	}
	return list
}

// compare wants the plan's next serving of all presets to be, as far as it is this one's, the table's next in it.
func (e *ending) compare(c *comparison, want due, more bool) error {
	preset := e.preset
	if want.at >= e.until {
		preset = 0
	}
	var left meals
	for i, mask := range e.masks {
		if mask>>preset&1 != 0 {
			left |= want.meals & (1 << i)
		}
	}
	if more && left == 0 {
		return nil
	}
	want.meals = left
	if more != e.served || more && (want.at != e.got.At || left != mealSetOf(e.got.Meals)) {
		err := c.difference(want, more, e.got, e.served)
		return fmt.Errorf("with preset %q: %w", c.in.Plan.Presets[e.preset], err)
	}
	if more {
		e.got, e.served = e.cursor.Next()
	}
	return nil
}
