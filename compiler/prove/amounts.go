package prove

import (
	"fmt"

	"mealtab/compiler/plan"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
)

// amounts compares what does not depend on time: the portions, the wheel, the presets and the policies.
func amounts(in *Input, t *table.Table) error {
	p := in.Plan
	if len(in.MealOf) != len(t.Meals) {
		return fmt.Errorf("the table has %d meals, %d were expected", len(t.Meals), len(in.MealOf))
	}
	if t.Late != p.Late {
		return fmt.Errorf("the plan allows servings %d min late, the table %d", p.Late, t.Late)
	}
	if (p.Gap == plan.GapOmit) != t.Zone.GapOmit {
		return fmt.Errorf("plan and table treat instances in a gap differently")
	}
	if n := len(p.Presets); n > 1 && n != t.Presets || n <= 1 && t.Presets != 0 {
		return fmt.Errorf("the plan has %d presets, the table %d", n, t.Presets)
	}
	if err := wheel(p, t); err != nil {
		return err
	}
	for i, m := range in.MealOf {
		meal := &p.Meals[m]
		if err := portion(p, t, fmt.Sprintf("meal %q", meal.Name), meal.Portion, t.Meals[i].Portion); err != nil {
			return err
		}
		if err := presets(p, meal, t.Meals[i].Presets); err != nil {
			return err
		}
	}
	return nil
}

func wheel(p *plan.Plan, t *table.Table) error {
	var want plan.Wheel
	if p.Wheel != nil {
		want = *p.Wheel
	}
	got := plan.Wheel{
		PocketMilligrams: t.Wheel.PocketMg(),
		TurnMillis:       int(t.Wheel.TurnMillis),
		TrimMicros:       int(t.Wheel.TrimMicros),
	}
	if got != want {
		return fmt.Errorf("the plan's wheel is %+v, the table's %+v", want, got)
	}
	if p.Button == nil {
		if t.Button != table.DefaultButton(t.Wheel) {
			return fmt.Errorf("the plan leaves the feed-now button at its default, the table does not")
		}
		return nil
	}
	if t.Button.PerHour != p.Button.PerHour {
		return fmt.Errorf("the plan allows %d presses an hour, the table %d", p.Button.PerHour, t.Button.PerHour)
	}
	if t.Button.PerDay != p.Button.PerDay {
		return fmt.Errorf("the plan allows %d presses a day, the table %d (0: the feeder's own limit)", p.Button.PerDay, t.Button.PerDay)
	}
	return portion(p, t, "feed-now button", p.Button.Portion, t.Button.Portion)
}

// portion compares masses exactly: pockets where no mass is known.
func portion(p *plan.Plan, t *table.Table, what string, want plan.Portion, units uint32) error {
	if t.Wheel.UnitMg == 0 {
		if want.Milligrams != 0 || int64(want.Pockets) != int64(units) {
			return fmt.Errorf("%s: the plan says %v, the table %d pockets", what, want, units)
		}
		return nil
	}
	mg := want.Milligrams
	if want.Pockets > 0 {
		mg = int64(want.Pockets) * p.Wheel.PocketMilligrams
	}
	if got := int64(units) * int64(t.Wheel.UnitMg); got != mg {
		return fmt.Errorf("%s: the plan says %d mg, the table %d mg", what, mg, got)
	}
	return nil
}

func presets(p *plan.Plan, meal *plan.Meal, mask uint8) error {
	all := uint8(1<<len(p.Presets) - 1)
	want, got := meal.Presets, mask
	if want == 0 {
		want = all
	}
	if got == 0 {
		got = all
	}
	if want != got {
		return fmt.Errorf("meal %q: the plan has presets %08b, the table %08b", meal.Name, want, got)
	}
	return nil
}

// balance is how far the wheel's running total lies from the plan's: with whole pockets never more than half a pocket,
// through the whole of the table's time. Masses are the plan's own, in milligrams; where none is known, pockets count 1.
type balance struct {
	portion []int64 // of each table meal
	pocket  int64
	ahead   int64 // planned less given, so far
}

func newBalance(in *Input) balance {
	b := balance{pocket: 1}
	if w := in.Plan.Wheel; w != nil && w.PocketMilligrams > 0 {
		b.pocket = w.PocketMilligrams
	}
	for _, m := range in.MealOf {
		p := in.Plan.Meals[m].Portion
		b.portion = append(b.portion, p.Milligrams+int64(p.Pockets)*b.pocket)
	}
	return b
}

// within adds a serving and reports whether the total is still close enough.
func (b *balance) within(meals []replay.Share) bool {
	for _, m := range meals {
		b.ahead += b.portion[m.Meal] - int64(m.Pockets)*b.pocket
	}
	return 2*max(b.ahead, -b.ahead) <= b.pocket
}

func (b *balance) difference(c *comparison, got replay.Serving) error {
	d := c.at(got.At)
	d.Plan = "no more than half a pocket from what was planned so far"
	d.Table = fmt.Sprintf("is %d mg away", b.ahead)
	return d
}
