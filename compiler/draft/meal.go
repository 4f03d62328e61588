package draft

import (
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/plan"
	"mealtab/compiler/source"
	"mealtab/compiler/units"
)

// Field is a value with the place at which its faults are shown.
type Field struct {
	source.Text
	At source.Span
}

// Meal is a meal as a reader leaves it, with the places of its parts.
type Meal struct {
	Heading    source.Span
	Name       string // "": absent or faulty, which has been reported
	NameAt     source.Span
	Portion    plan.Portion // zero: absent or faulty, which has been reported
	PortionAt  source.Span
	Presets    []Field
	HasPresets bool
	Set        Set
}

// Shown names the meal in a message.
func (m Meal) Shown() string {
	if m.Name == "" {
		return "the meal"
	}
	return fmt.Sprintf("%q", m.Name)
}

// ReadPortion reads a meal's portion.
func (b *Builder) ReadPortion(m *Meal, t source.Text, at source.Span) {
	m.Portion, m.PortionAt = b.portion(t, false), at
}

// Meals counts the meals that were added.
func (b *Builder) Meals() int { return b.mealCount }

// AddMeal checks a meal and appends it to the plan.
func (b *Builder) AddMeal(m Meal) {
	p := b.Plan
	if b.mealCount++; b.mealCount > b.Limits.Meals {
		if b.mealCount == b.Limits.Meals+1 {
			b.OverMeals(m.Heading)
		}
		return
	}
	for _, other := range p.Meals {
		if m.Name != "" && strings.EqualFold(other.Name, m.Name) {
			b.Fail(plan.CodeDuplicate, m.NameAt, "give every meal a name of its own", "%q is already the name of the meal on line %d", m.Name, other.Pos.Line)
		}
	}
	meal := plan.Meal{Name: m.Name, Portion: m.Portion, Pos: b.Pos(m.Heading)}
	meal.Where = plan.MealPlaces{Name: b.at(m.NameAt), Portion: b.at(m.PortionAt)}
	if m.HasPresets {
		meal.Presets = b.presets(m)
	}
	meal.Set = b.recurrence(&m.Set, &meal.Where)
	b.checkBusy(&m.Set, &meal.Set)
	b.checkPortion(m)
	p.Meals = append(p.Meals, meal)
}

// OverMeals reports the first meal that a table has no room for.
func (b *Builder) OverMeals(heading source.Span) {
	b.Fail(plan.CodeLimit, heading, "meals that share a portion can be one meal with several times in at", "this is meal %d; a table holds %d", b.Limits.Meals+1, b.Limits.Meals)
}

// presets gives the mask of a meal's presets and adds new names to the plan.
func (b *Builder) presets(m Meal) uint8 {
	var mask uint8
	for _, f := range m.Presets {
		name := b.ProperName("the name of a preset", f.Text, f.At)
		if name == "" {
			continue
		}
		n := slices.Index(b.Plan.Presets, name)
		if n < 0 {
			n = len(b.Plan.Presets)
			if n >= b.Limits.Presets {
				b.Fail(plan.CodeLimit, f.At, fmt.Sprintf("the plan button steps through at most %d", b.Limits.Presets), "%q is preset %d; a table holds %d", name, n+1, b.Limits.Presets)
				continue
			}
			b.Plan.Presets = append(b.Plan.Presets, name)
		}
		if mask&(1<<n) != 0 {
			b.Fail(plan.CodeDuplicate, f.At, "remove one of them", "%q is given twice", name)
		}
		mask |= 1 << n
	}
	return mask
}

// Finish makes the checks that need the whole plan.
func (b *Builder) Finish() {
	p := b.Plan
	if len(p.Presets) < 2 && !p.PresetUntil.IsZero() && b.errorCount == 0 {
		b.Fail(plan.CodeConflict, b.untilAt, `give meals presets, such as presets = ["home", "away"]: the first one that is named is in force from then on`,
			"no preset can end: the plan has fewer than two")
	}
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
		b.FailWhole(plan.CodeMissing, b.PocketHint, "the button's portion is a weight, but the plan does not say what one pocket holds")
	} else if p.Button != nil && !b.pocketBroken {
		b.overPockets(p.Button.Portion, b.buttonAt, b.Limits.Asked)
	}
}

func (b *Builder) firstWithPreset() int {
	return slices.IndexFunc(b.Plan.Meals, func(m plan.Meal) bool { return m.Presets != 0 })
}

// hasPocket reports whether weights can be turned into pockets.
func (b *Builder) hasPocket() bool {
	return b.pocketBroken || b.Plan.Wheel != nil && b.Plan.Wheel.PocketMilligrams > 0
}

// checkPortion wants the pocket's weight for a portion given as weight.
func (b *Builder) checkPortion(m Meal) {
	if m.Portion.Milligrams == 0 {
		return
	}
	if !b.hasPocket() {
		b.Fail(plan.CodeMissing, m.PortionAt, b.PocketHint, "%s is a weight, but the plan does not say what one pocket holds", m.Portion)
		return
	}
	if b.pocketBroken || b.overPockets(m.Portion, m.PortionAt, b.Limits.MealPockets) {
		return
	}
	b.warnRounding(m)
}

// overPockets refuses a portion of more pockets than a feeder turns at once.
func (b *Builder) overPockets(p plan.Portion, at source.Span, most int) bool {
	switch {
	case p.Pockets > most:
		b.Fail(plan.CodeRange, at, "", "%s are more than the %d that are served at once", p, most)
	case p.Milligrams > 0 && p.Milligrams > int64(most)*b.Plan.Wheel.PocketMilligrams:
		b.Fail(plan.CodeRange, at, "are both weights right?", "%s is more than %d pockets of %s, the most that is served at once", p, most, units.Milligrams(b.Plan.Wheel.PocketMilligrams).InGrams())
	default:
		return false
	}
	return true
}
