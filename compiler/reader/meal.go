package reader

import (
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/plan"
	"mealtab/compiler/units"
)

// rawMeal is a meal as either reader leaves it, with the places of its parts.
type rawMeal struct {
	heading     span
	name        string // "": absent or faulty, which has been reported
	nameAt      span
	portion     plan.Portion // zero: absent or faulty, which has been reported
	portionAt   span
	presets     []text
	presetSpans []span
	hasPresets  bool
	set         rawSet
}

// shown names the meal in a message.
func (m rawMeal) shown() string {
	if m.name == "" {
		return "the meal"
	}
	return fmt.Sprintf("%q", m.name)
}

// addMeal checks a meal and appends it to the plan.
func (b *builder) addMeal(m rawMeal) {
	p := b.plan
	if b.mealCount++; b.mealCount > b.limits.Meals {
		if b.mealCount == b.limits.Meals+1 {
			b.overMeals(m.heading)
		}
		return
	}
	for _, other := range p.Meals {
		if m.name != "" && strings.EqualFold(other.Name, m.name) {
			b.fail(plan.CodeDuplicate, m.nameAt, "give every meal a name of its own", "%q is already the name of the meal on line %d", m.name, other.Pos.Line)
		}
	}
	meal := plan.Meal{Name: m.name, Portion: m.portion, Pos: b.ix.pos(m.heading)}
	meal.Where = plan.MealPlaces{Name: b.at(m.nameAt), Portion: b.at(m.portionAt)}
	if m.hasPresets {
		meal.Presets = b.presets(m)
	}
	meal.Set = b.recurrence(&m.set, &meal.Where)
	b.checkBusy(&m.set, &meal.Set)
	b.checkPortion(m)
	p.Meals = append(p.Meals, meal)
}

// overMeals reports the first meal that a table has no room for.
func (b *builder) overMeals(heading span) bool {
	b.fail(plan.CodeLimit, heading, "meals that share a portion can be one meal with several times in at", "this is meal %d; a table holds %d", b.limits.Meals+1, b.limits.Meals)
	return true
}

// at is the position of a span that may be absent.
func (b *builder) at(s span) plan.Pos {
	if s == (span{}) {
		return plan.Pos{}
	}
	return b.ix.pos(s)
}

// presets gives the mask of a meal's presets and adds new names to the plan.
func (b *builder) presets(m rawMeal) uint8 {
	var mask uint8
	for i, t := range m.presets {
		name := b.properName("the name of a preset", t, m.presetSpans[i])
		if name == "" {
			continue
		}
		n := slices.Index(b.plan.Presets, name)
		if n < 0 {
			n = len(b.plan.Presets)
			if n >= b.limits.Presets {
				b.fail(plan.CodeLimit, m.presetSpans[i], fmt.Sprintf("the plan button steps through at most %d", b.limits.Presets), "%q is preset %d; a table holds %d", name, n+1, b.limits.Presets)
				continue
			}
			b.plan.Presets = append(b.plan.Presets, name)
		}
		if mask&(1<<n) != 0 {
			b.fail(plan.CodeDuplicate, m.presetSpans[i], "remove one of them", "%q is given twice", name)
		}
		mask |= 1 << n
	}
	return mask
}

// finishPlan makes the checks that need the whole plan.
func (b *builder) finishPlan() {
	p := b.plan
	if len(p.Presets) == 1 && b.errorCount == 0 {
		b.ds = append(b.ds, plan.Diagnostic{Code: plan.CodeIgnored, Severity: plan.Warning, Source: p.Source, Pos: p.Meals[b.firstWithPreset()].Pos,
			Message: fmt.Sprintf("preset %q is the only one: there is nothing to switch to", p.Presets[0]),
			Hint:    "leave presets out, or give other meals another preset"})
		p.Presets = nil
		for i := range p.Meals {
			p.Meals[i].Presets = 0
		}
	}
	if p.Button != nil && p.Button.Portion.Milligrams > 0 && !b.hasPocket() {
		b.failWhole(plan.CodeMissing, b.pocketHint(), "the button's portion is a weight, but the plan does not say what one pocket holds")
	} else if p.Button != nil && !b.pocketBroken {
		b.overPockets(p.Button.Portion, b.buttonAt, b.limits.Asked)
	}
}

func (b *builder) firstWithPreset() int {
	return slices.IndexFunc(b.plan.Meals, func(m plan.Meal) bool { return m.Presets != 0 })
}

// hasPocket reports whether weights can be turned into pockets.
func (b *builder) hasPocket() bool {
	return b.pocketBroken || b.plan.Wheel != nil && b.plan.Wheel.PocketMilligrams > 0
}

// checkPortion wants the pocket's weight for a portion given as weight.
func (b *builder) checkPortion(m rawMeal) {
	if m.portion.Milligrams == 0 {
		return
	}
	if !b.hasPocket() {
		b.fail(plan.CodeMissing, m.portionAt, b.pocketHint(), "%s is a weight, but the plan does not say what one pocket holds", m.portion)
		return
	}
	if b.pocketBroken || b.overPockets(m.portion, m.portionAt, b.limits.MealPockets) {
		return
	}
	b.warnRounding(m)
}

// overPockets refuses a portion of more pockets than a feeder turns at once.
func (b *builder) overPockets(p plan.Portion, at span, most int) bool {
	switch {
	case p.Pockets > most:
		b.fail(plan.CodeRange, at, "", "%s are more than the %d that are served at once", p, most)
	case p.Milligrams > 0 && p.Milligrams > int64(most)*b.plan.Wheel.PocketMilligrams:
		b.fail(plan.CodeRange, at, "are both weights right?", "%s is more than %d pockets of %s, the most that is served at once", p, most, units.Milligrams(b.plan.Wheel.PocketMilligrams).InGrams())
	default:
		return false
	}
	return true
}

func sortedInts(list []int) []int {
	slices.Sort(list)
	return slices.Compact(list)
}
