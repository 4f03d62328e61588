package table

import (
	"fmt"
	"slices"
)

// Error is a fault in a table: which field, at which byte (-1: not from bytes), what was found and what is right.
type Error struct {
	Field   string
	Offset  int
	Message string
}

func (e *Error) Error() string {
	if e.Offset < 0 {
		return fmt.Sprintf("table: %s: %s", e.Field, e.Message)
	}
	return fmt.Sprintf("table: byte %d: %s: %s", e.Offset, e.Field, e.Message)
}

// Check reports the first field of t that is outside the ranges of the format, or nil.
func Check(t *Table) error {
	c := &checker{}
	c.zone(&t.Zone)
	c.policies(t)
	c.count("rules", len(t.Rules), 0, MaxRules)
	for i := range t.Rules {
		c.prefix = fmt.Sprintf("rule %d: ", i+1)
		c.rule(&t.Rules[i])
	}
	c.prefix = ""
	c.searchWork(t.Rules)
	c.count("meals", len(t.Meals), 0, MaxMeals)
	for i := range t.Meals {
		c.prefix = fmt.Sprintf("meal %d: ", i+1)
		c.meal(&t.Meals[i], len(t.Rules), t.Presets)
	}
	return c.err
}

// checker keeps the first fault.
type checker struct {
	prefix string
	err    error
}

func (c *checker) fail(field, format string, args ...any) {
	if c.err == nil {
		c.err = &Error{Field: c.prefix + field, Offset: -1, Message: fmt.Sprintf(format, args...)}
	}
}

func (c *checker) count(field string, v, lo, hi int) {
	if v < lo || v > hi {
		c.fail(field, "%d is outside %d to %d", v, lo, hi)
	}
}

func (c *checker) zone(z *Zone) {
	c.count("ZONE", int(z.Standard), -64, 63)
	if d := z.DST; d != nil {
		c.count("DST shift", int(d.Shift), -96, 96)
		if d.Shift == 0 {
			c.fail("DST shift", "0 changes nothing")
		}
		c.transition("DST start", d.Start)
		c.transition("DST end", d.End)
		if c.err == nil && !d.Apart() {
			c.fail("DST", "start and end lie less than three weeks apart")
		}
	}
	c.count("OVERRIDES groups", len(z.Overrides), 0, 255)
	for _, g := range z.Overrides {
		c.spans(g)
	}
	c.crowd(z.Overrides)
}

// Apart reports whether the two changes lie at least three weeks apart in every year, so that a reader which looks for
// the change nearest to a date finds one.
func (d *DST) Apart() bool {
	const apart = 21
	days := d.Start.dayOfYear() - d.End.dayOfYear()
	if days < 0 {
		days = -days
	}
	return days >= apart+7 && days <= 365-apart-7 // each lies up to three days from the middle of its week
}

// dayOfYear is the middle of the week in which the change falls, in a common year, counted from 0.
func (t Transition) dayOfYear() int {
	var before = [...]int{0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334}
	week := min(7*(t.Week-1), 24)
	return before[t.Month-1] + week + 3 + t.Minutes/MinutesPerDay
}

// crowd bounds what a feeder looks through to resolve the times of one date.
func (c *checker) crowd(groups []OverrideGroup) {
	var starts []Minute
	for _, g := range groups {
		for _, s := range g.Spans {
			starts = append(starts, s.Start)
		}
	}
	slices.Sort(starts)
	for i := maxCrowd; i < len(starts); i++ {
		if starts[i]-starts[i-maxCrowd] < crowdDays*MinutesPerDay {
			c.fail("OVERRIDES span", "more than %d begin within %d days", maxCrowd, crowdDays)
			return
		}
	}
}

func (c *checker) transition(field string, t Transition) {
	c.count(field+" month", t.Month, 1, 12)
	c.count(field+" week", t.Week, 1, 5)
	c.count(field+" weekday", t.Weekday, 0, 6)
	c.count(field+" minutes", t.Minutes, -4096, 4095)
}

func (c *checker) spans(g OverrideGroup) {
	c.count("OVERRIDES offset", int(g.Offset), -96, 96)
	c.count("OVERRIDES spans", len(g.Spans), 1, maxVarint)
	end := Minute(-epochDays*MinutesPerDay) - 1 // east of Greenwich the first local date begins before 2000 in UTC
	for _, s := range g.Spans {
		if s.Start <= end || s.End <= s.Start || s.Start%quarterMinutes != 0 || s.End%quarterMinutes != 0 {
			c.fail("OVERRIDES span", "%d to %d: spans ascend, are not empty, do not touch and start and end on quarter hours", s.Start, s.End)
			return
		}
		end = s.End
	}
}

func (c *checker) policies(t *Table) {
	c.count("START", int(t.Start), 0, int(MaxDay))
	c.count("THROUGH", int(t.Through), int(t.Start), int(MaxDay))
	c.count("LATE", t.Late, 0, MaxLate)
	c.count("BUTTON presses in an hour", t.Button.PerHour, 0, 255)
	c.count("BUTTON portion", int(t.Button.Portion), 0, maxVarint)
	c.count("WHEEL turn", int(t.Wheel.TurnMillis), 0, 60000)
	c.count("WHEEL pocket", int(t.Wheel.PocketUnits), 1, maxPocketUnits)
	c.count("WHEEL unit", int(t.Wheel.UnitMg), 0, maxVarint)
	c.count("WHEEL trim", int(t.Wheel.TrimMicros), -500, 500)
	if t.Presets == 1 || t.Presets < 0 || t.Presets > MaxPresets {
		c.fail("PRESETS", "%d is neither 0 nor 2 to %d", t.Presets, MaxPresets)
	}
}

func (c *checker) meal(m *Meal, rules, presets int) {
	c.count("portion", int(m.Portion), 1, maxPortionUnits)
	if int(m.Presets)>>presets != 0 {
		c.fail("presets", "mask %02X names a preset beyond the %d there are", m.Presets, presets)
	}
	c.count("parts", len(m.Parts), 1, 255)
	for _, p := range m.Parts {
		c.count("rule number", p.Rule, 0, rules)
		c.times(p.Times)
	}
}

func (c *checker) times(t Times) {
	if cy := t.Cycle; cy != nil {
		c.count("cycle period", int(cy.Period), 1, maxVarint)
		c.count("cycle phase", int(cy.Phase), 0, int(cy.Period)-1)
		c.count("cycle hours", int(cy.Hours), 1, int(AllHours))
		if len(t.List) > 0 {
			c.fail("times", "both a list and a cycle")
		}
		return
	}
	c.count("times", len(t.List), 1, MinutesPerDay)
	for i, m := range t.List {
		if m >= MinutesPerDay || i > 0 && m <= t.List[i-1] {
			c.fail("times", "minute %d: times ascend and lie within 0 to 1439", m)
			return
		}
	}
	if len(t.List) > MaxListTimes && !Regular(t.List) {
		c.fail("times", "%d times that are neither steps nor a grid; a list holds %d", len(t.List), MaxListTimes)
	}
}

// Bounds that keep the feeder's arithmetic within 32 bits: portion and carry are handled in tenths of a unit.
const (
	maxPocketUnits  = 1_000_000
	maxPortionUnits = 100_000_000
)

// Bounds that keep a feeder's search for the next serving under a second at 8 MHz.
const (
	MaxSearchWork = 53_000 // steps of about 150 cycles for the rules with positions
	maxCrowd      = 16
	crowdDays     = 5
)
