package table

import "fmt"

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
	c.table(t)
	c.searchWork(SearchWork(t.Rules))
	return c.err
}

// table checks all but the work of a search, which a table read from bytes may have more of than the one that [Encode] writes.
func (c *checker) table(t *Table) {
	c.zone(&t.Zone)
	c.policies(t)
	c.count("rules", len(t.Rules), 0, MaxRules)
	for i := range t.Rules {
		c.prefix = fmt.Sprintf("rule %d: ", i+1)
		c.rule(&t.Rules[i])
	}
	c.prefix = ""
	c.count("meals", len(t.Meals), 0, MaxMeals)
	for i := range t.Meals {
		c.prefix = fmt.Sprintf("meal %d: ", i+1)
		c.meal(&t.Meals[i], t)
	}
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
	c.offset("ZONE", z.Standard)
	if d := z.DST; d != nil {
		c.offset("DST shift", d.Shift)
		c.transition("DST start", d.Start)
		c.transition("DST end", d.End)
		if !d.Apart() {
			c.fail("DST", "between start and end there is less than a whole month")
		}
	}
	c.count("OVERRIDES groups", len(z.Overrides), 0, MaxGroups)
	unit := overrideUnit(z.Overrides)
	for _, g := range z.Overrides {
		c.spans(g, unit)
	}
}

// offset is one byte of quarter hours: far enough for any zone, near enough for a feeder to look at the dates beside one.
func (c *checker) offset(field string, quarters int8) { c.count(field, int(quarters), -64, 63) }

// Apart reports whether a whole month at least lies between the two changes, either way round the year, so that a reader which looks for
// the change nearest to a date finds one.
func (d *DST) Apart() bool {
	months := d.Start.Month - d.End.Month
	return 2 <= max(months, -months) && max(months, -months) <= 10
}

func (c *checker) transition(field string, t Transition) {
	c.count(field+" month", t.Month, 1, 12)
	c.count(field+" week", t.Week, 1, 5)
	c.count(field+" weekday", t.Weekday, 0, 6)
	c.count(field+" minutes", t.Minutes, -4096, 4095)
}

// spanEpoch is what override spans count from.
const spanEpoch = Minute(-epochDays * MinutesPerDay)

func (c *checker) spans(g OverrideGroup, unit Minute) {
	c.offset("OVERRIDES offset", g.Offset)
	if len(g.Spans) == 0 {
		c.fail("OVERRIDES spans", "a group without any")
	}
	end := spanEpoch
	for _, s := range g.Spans {
		if s.Start < end+MinSpanDistance*unit || s.End <= s.Start || s.Start%quarterMinutes != 0 || s.End%quarterMinutes != 0 {
			c.fail("OVERRIDES span", "%s to %s: the spans of a group ascend, %d min or more apart, are not empty, and start and end on quarter hours", s.Start, s.End, MinSpanDistance*unit)
			return
		}
		end = s.End
	}
	if (end-spanEpoch)/unit >= MaxSpanUnits {
		c.fail("OVERRIDES span", "to %s: that is %d units of %d min or more after %s", end, MaxSpanUnits, unit, spanEpoch)
	}
}

func (c *checker) policies(t *Table) {
	c.count("START", int(t.Start), 0, int(MaxDay))
	c.count("THROUGH", int(t.Through), int(t.Start), int(MaxDay))
	c.count("LATE", t.Late, 0, MaxLate)
	c.count("BUTTON presses in an hour", t.Button.PerHour, 0, 15)
	c.count("BUTTON presses in a day", t.Button.PerDay, 0, MaxPerDay)
	if t.Wheel.TurnMillis != 0 { // else the board's
		c.count("WHEEL turn", int(t.Wheel.TurnMillis), MinTurn, MaxTurn)
	}
	c.count("WHEEL pocket", int(t.Wheel.PocketUnits), 1, MaxPocketUnits)
	c.count("WHEEL unit", int(t.Wheel.UnitMg), 0, MaxNumber)
	c.count("WHEEL trim", int(t.Wheel.TrimMicros), -MaxTrim, MaxTrim)
	if t.Button.Portion != 0 { // else it is disabled
		c.portion("BUTTON portion", t.Button.Portion, t.Wheel)
	}
	if t.Presets == 1 || t.Presets < 0 || t.Presets > MaxPresets {
		c.fail("PRESETS", "%d is neither 0 nor 2 to %d", t.Presets, MaxPresets)
	}
	if u := t.PresetUntil; u != 0 && (t.Presets == 0 || u <= t.Start || u > t.Through) {
		c.fail("PRESETS UNTIL", "%s: a table with presets may end them after %s and at most on %s", u, t.Start, t.Through)
	}
}

// portion is at most what a hopper holds, many times over: a feeder that is told to turn its wheel that often has misread something.
func (c *checker) portion(field string, units uint32, w Wheel) {
	most := min(MaxMealPockets*uint64(w.PocketUnits), MaxPortionUnits)
	if units < 1 || uint64(units) > most {
		c.fail(field, "%d mass units are outside 1 to %d: at most %d pockets and %d units", units, most, MaxMealPockets, MaxPortionUnits)
	}
}

func (c *checker) meal(m *Meal, t *Table) {
	c.portion("portion", m.Portion, t.Wheel)
	if int(m.Presets)>>t.Presets != 0 {
		c.fail("presets", "mask %02X names a preset beyond the %d there are", m.Presets, t.Presets)
	}
	if len(m.Parts) == 0 {
		c.fail("parts", "none")
	}
	for _, p := range m.Parts {
		c.count("rule number", p.Rule, 0, len(t.Rules))
		c.times(p.Times)
	}
}

func (c *checker) times(t Times) {
	if cy := t.Cycle; cy != nil {
		c.count("cycle period", int(cy.Period), 1, MaxCycle)
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
