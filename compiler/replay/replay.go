// Package replay turns an alarm table into servings without a CPU: what a feeder that carries the table will do.
//
// In: a [table.Table] and a range of UTC minutes. Out: servings in ascending order, each with the meals due and
// the whole pockets the wheel turns. It reads the table by FORMAT.md alone and works month by month, with one
// bit per day; the firmware's engine works day by day, so the two can check each other.
package replay

import (
	"math/bits"
	"slices"

	"mealtab/compiler/table"
)

// AllPresets serves every meal, whatever presets it belongs to.
const AllPresets = -1

// Options says what to replay.
type Options struct {
	From, To table.Minute // From <= instant < To; To 0: to the end of the table
	Preset   int          // index of the preset in force, or AllPresets
	Until    table.Minute // the first preset is in force from this instant on; 0: never. See [PresetEnd]
	Adjust   int          // portion in tenths, 8 to 12; 0 means 10
	Carry    int64        // remainder from earlier servings, in tenths of a mass unit
}

// Share is one meal's part of a serving.
type Share struct {
	Meal    int    // index into Table.Meals
	Units   uint32 // mass units planned, before adjustment
	Pockets int    // whole pockets turned
}

// Serving is what is due at one instant. Meals is valid until the next call of Next.
type Serving struct {
	At    table.Minute // UTC
	Meals []Share      // in order of meal
}

// Pockets is the sum over the meals.
func (s Serving) Pockets() int {
	n := 0
	for _, m := range s.Meals {
		n += m.Pockets
	}
	return n
}

// Cursor walks through the servings of a table.
type Cursor struct {
	t        *table.Table
	from, to table.Minute
	preset   int
	until    table.Minute // endOfTime: the preset does not end
	wheel    wheel
	zone     zone
	rules    []rule  // rules[0] is every day
	entries  []entry // lists of all parts, by minute of the day
	cycles   []cycle
	month    month // the next one to expand
	events   []event
	mixed    bool         // events are not in order yet
	head     int          // first event not yet served
	ready    table.Minute // events before this instant are complete
	shares   []Share
	lastDay  int // no events on later dates
}

type entry struct {
	minute     uint16
	meal, rule uint8
}

type cycle struct {
	meal, rule int
	c          *table.Cycle
}

// event is a meal due at an instant: one number, in whose order events are served.
type event int64

func newEvent(at table.Minute, meal uint8) event { return event(at)<<8 | event(meal) }

func (e event) at() table.Minute { return table.Minute(e >> 8) }

func (e event) meal() int { return int(e & 0xFF) }

// New returns a cursor before the first serving of the range.
func New(t *table.Table, o Options) *Cursor {
	c := &Cursor{t: t, from: o.From, to: o.To, wheel: newWheel(t, o), lastDay: int(t.Through), preset: o.Preset, until: o.Until}
	if c.until == 0 || c.preset == AllPresets {
		c.until = endOfTime
	}
	if c.to == 0 {
		c.to = table.Minute(int32(table.MaxDay)+3) * table.MinutesPerDay
	}
	c.zone = newZone(&t.Zone)
	c.rules = newRules(t.Rules)
	for i := range t.Meals {
		m := &t.Meals[i]
		if inPreset(m, o.Preset) || c.until != endOfTime && inPreset(m, 0) {
			c.addMeal(i, m)
		}
	}
	slices.SortFunc(c.entries, func(a, b entry) int {
		if a.minute != b.minute {
			return int(a.minute) - int(b.minute)
		}
		return int(a.meal) - int(b.meal)
	})
	first := max(int(t.Start), int(o.From/table.MinutesPerDay)-2)
	c.month = monthOf(first)
	return c
}

// inPreset reports whether a meal is served in a preset.
func inPreset(m *table.Meal, preset int) bool {
	return preset == AllPresets || m.Presets == 0 || m.Presets>>preset&1 != 0
}

// served reports whether a meal is served in the preset that is in force at an instant.
func (c *Cursor) served(at table.Minute, meal int) bool {
	if c.until == endOfTime {
		return true // others are not among the events
	}
	preset := c.preset
	if at >= c.until {
		preset = 0
	}
	return inPreset(&c.t.Meals[meal], preset)
}

// PresetEnd is the instant from which on the first preset is in force again by the table's date; 0: it has none.
func PresetEnd(t *table.Table) table.Minute {
	if t.PresetUntil == 0 {
		return 0
	}
	z := newZone(&t.Zone)
	at, _ := z.search(table.Minute(t.PresetUntil) * table.MinutesPerDay)
	return at
}

// PresetEndAfter is the same for a feeder on which everything up to an instant is settled: 0 if the end has passed, too.
func PresetEndAfter(t *table.Table, settled table.Minute) table.Minute {
	if end := PresetEnd(t); end > settled {
		return end
	}
	return 0
}

func (c *Cursor) addMeal(i int, m *table.Meal) {
	for _, p := range m.Parts {
		c.rules[p.Rule].used = true
		if p.Times.Cycle != nil {
			c.cycles = append(c.cycles, cycle{i, p.Rule, p.Times.Cycle})
		}
		for _, minute := range p.Times.List {
			c.entries = append(c.entries, entry{minute, uint8(i), uint8(p.Rule)})
		}
	}
}

// Next returns the next serving; ok is false after the last one of the range.
func (c *Cursor) Next() (s Serving, ok bool) {
	for {
		if c.head < len(c.events) && c.events[c.head].at() < c.ready {
			s = c.group()
			if s.At >= c.to {
				return Serving{}, false
			}
			if s.At >= c.from && len(s.Meals) > 0 {
				return s, true
			}
			continue
		}
		if !c.expand() {
			return Serving{}, false
		}
	}
}

// group takes the events of one instant; the same meal counts once.
func (c *Cursor) group() Serving {
	at := c.events[c.head].at()
	c.shares = c.shares[:0]
	last := -1
	for c.head < len(c.events) && c.events[c.head].at() == at {
		if meal := c.events[c.head].meal(); meal != last && c.served(at, meal) {
			units := c.t.Meals[meal].Portion
			share := Share{Meal: meal, Units: units}
			if at >= c.from {
				share.Pockets = c.wheel.turn(units)
			}
			c.shares = append(c.shares, share)
			last = meal
		}
		c.head++
	}
	return Serving{At: at, Meals: c.shares}
}

// expand adds the events of the next month in which a rule holds; false after the last month of the table.
func (c *Cursor) expand() bool {
	c.events = append(c.events[:0], c.events[c.head:]...)
	c.head = 0
	m := &c.month
	if m.first > c.lastDay || table.Minute(m.first-2)*table.MinutesPerDay > c.to {
		if c.ready == endOfTime {
			return false
		}
		c.ready = endOfTime
		return true
	}
	var union uint32
	for i := range c.rules {
		if r := &c.rules[i]; r.used {
			r.mask = c.clip(r.month(m), m)
			union |= r.mask
		}
	}
	if union != 0 {
		c.zone.prepare(m.first, m.length)
	}
	for ; union != 0; union &= union - 1 {
		c.day(m.first+bits.TrailingZeros32(union), union&-union)
	}
	if c.mixed {
		slices.Sort(c.events)
		c.mixed = false
	}
	m.next()
	c.ready = min(c.zone.earliest(table.Minute(m.first)*table.MinutesPerDay), table.Minute(m.first)*table.MinutesPerDay)
	return true
}

const endOfTime table.Minute = 1<<31 - 1

// clip keeps the dates from Start to Through.
func (c *Cursor) clip(mask uint32, m *month) uint32 {
	if start := int(c.t.Start); m.first < start {
		mask &= ^uint32(0) << min(start-m.first, 31)
	}
	if over := m.first + m.length - 1 - c.lastDay; over > 0 {
		mask &= 1<<(m.length-over) - 1
	}
	return mask
}

func (c *Cursor) day(day int, bit uint32) {
	start := table.Minute(day) * table.MinutesPerDay
	c.zone.day(day)
	for _, e := range c.entries {
		if r := &c.rules[e.rule]; r.mask&bit != 0 {
			c.add(start+table.Minute(e.minute), e.meal, r)
		}
	}
	for _, k := range c.cycles {
		if r := &c.rules[k.rule]; r.mask&bit != 0 {
			c.cycle(start, k, r)
		}
	}
}

func (c *Cursor) cycle(start table.Minute, k cycle, r *rule) {
	period := int64(k.c.Period)
	wait := (int64(k.c.Phase) - int64(start)) % period
	if wait < 0 {
		wait += period
	}
	for m := wait; m < table.MinutesPerDay; m += period {
		if k.c.Hours>>(m/60)&1 != 0 {
			c.add(start+table.Minute(m), uint8(k.meal), r)
		}
	}
}

// nearby is how many places an event is moved towards the front at once.
const nearby = 32

// add resolves a nominal time and keeps the events in order of instant, then meal. They come nearly sorted: only daylight
// saving, cycles and rules in UTC displace one. Where many cycles mix, moving each to its place would take quadratic
// time: the month is then sorted as a whole.
func (c *Cursor) add(nominal table.Minute, meal uint8, r *rule) {
	at, ok := nominal, true
	if !r.utc {
		if at, ok = c.zone.resolve(nominal, r.explicit); !ok {
			return
		}
	}
	e := newEvent(at, meal)
	c.events = append(c.events, e)
	if c.mixed {
		return
	}
	i := len(c.events) - 1
	for last := max(0, i-nearby); i > last && c.events[i-1] > e; i-- {
		c.events[i-1], c.events[i] = e, c.events[i-1]
	}
	c.mixed = i > 0 && c.events[i-1] > e
}
