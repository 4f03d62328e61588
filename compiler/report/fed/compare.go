package fed

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"mealtab/compiler/replay"
	"mealtab/compiler/report/history"
	"mealtab/compiler/report/history/saved"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// comparison collects what is planned and what is recorded, by the instants of the feeder's clock.
type comparison struct {
	in      Input
	covered []Span // times of which there are records; Why says that no plan is known for them, or "" where one is
	planned map[table.Minute]due
	done    map[table.Minute]*Serving // by Due
	hand    []Serving
	notes   []note
	newest  table.Minute          // the latest time that the feeder is known to have reached
	current *Serving              // the newest begun, to which what follows belongs
	floor   table.Minute          // the feeder's time was at least that when the record in hand was written
	cause   cause                 // why the feeder may be late
	told    map[table.Minute]bool // servings that the run has a record of their own for
	open    bool                  // whether the current one was finished is not on record
}

// cause is why a serving may be late or left out.
type cause struct {
	at   table.Minute
	text string
	goes bool // it was over when it was recorded: it explains only what was due before
}

// of is the cause for a serving; "": none is on record.
func (c cause) of(due table.Minute) string {
	if c.goes && c.at < due {
		return ""
	}
	return c.text
}

// due is a planned serving.
type due struct {
	meals   []string
	pockets int
	mg      int64
	late    table.Minute // that it may be
	pocket  int64        // mg; 0: not known
}

type note struct {
	at   table.Minute
	text string
}

// Steps of the clock: a small one is the drift of months; one beyond what the history can say has no size.
const (
	smallStep   = 120 // seconds
	unknownStep = 0x8000
	longJump    = 9 * 60 // minutes: a jump forwards of which nobody knows how much of it was real
)

// run goes through a stretch of records: first what was planned in its time, then what became of it.
func (c *comparison) run(r *saved.Run) {
	if c.planned == nil {
		c.planned, c.done = map[table.Minute]due{}, map[table.Minute]*Serving{}
	}
	f := inForce(c.in.Log, r)
	c.plan(r, f)
	c.current, c.floor, c.cause = nil, 0, cause{}
	c.told = c.recorded(r, f)
	for i, h := range r.Records {
		c.record(h, f[i])
	}
	c.end(r)
}

// recorded are the servings that a run says to have given or left out.
func (c *comparison) recorded(r *saved.Run, f []force) map[table.Minute]bool {
	told := map[table.Minute]bool{}
	for i, h := range r.Records {
		switch h.Event {
		case table.EventServed:
			told[h.At] = true
		case table.EventMissed:
			for _, d := range c.leftOut(h.At, int(h.Value), f[i]) {
				told[d.at] = true
			}
		}
	}
	return told
}

// leftOut are the servings of a MISSED record; nil where the plan of the time is not known.
func (c *comparison) leftOut(first table.Minute, count int, f force) []dueAt {
	const longest = 400 * table.MinutesPerDay // the firmware looks back for less
	if f.table == nil || decoded(f.table.Bytes).Presets > 1 && !f.preset.ok {
		return nil
	}
	return c.dues(f, replay.Options{From: first, To: first + longest, Preset: f.preset.value}, count)
}

// end says of the newest serving what the feeder's state says of it.
func (c *comparison) end(r *saved.Run) {
	left := -1
	for _, s := range r.States {
		if s.After == len(r.Records) {
			left = s.What.Left
		}
	}
	if s := c.current; s != nil && s.Turned >= 0 {
		switch {
		case left > 0:
			s.State, s.Turned = Waiting, max(0, s.Turned-left)
			s.Why = units.Count(left, "pocket") + " of it are still to come"
		case left < 0 && c.open:
			s.State, s.Turned, s.Why = Unknown, -1, "there is no record of how it ended"
		}
	}
	c.settle()
}

// plan finds the times that a run covers, and what was planned in them.
func (c *comparison) plan(r *saved.Run, f []force) {
	if len(r.Records) == 0 {
		return
	}
	from, last := r.Records[0].At, r.Records[0].At
	lost := false
	for i, h := range r.Records {
		if !dated(h.At) {
			continue
		}
		step := int(int16(h.Value))
		switch {
		case h.Event == table.EventClockLost:
			c.cover(from, h.At, f[i], lost)
			from, lost = h.At, true
		case h.Event == table.EventClockSet && (lost || h.Value == unknownStep || step < -smallStep):
			was := last
			if h.Value != unknownStep {
				was = h.At - table.Minute(step/60)
			}
			c.cover(from, was, f[i], lost)
			from, lost = h.At, false
		case h.Event == table.EventTable || h.Event == table.EventPreset || h.Event == table.EventFault && h.Value&table.FaultBitTableDamaged != 0:
			c.cover(from, h.At, f[i], lost)
			from = h.At
		}
		last = h.At
	}
	end := last
	for _, s := range r.States {
		if s.After == len(r.Records) && dated(s.What.Feeder) {
			end = max(end, s.What.Feeder)
		}
	}
	c.newest = max(c.newest, end)
	c.cover(from, end, f[len(r.Records)], lost)
}

// dated reports whether a feeder's time is one: it has none before its clock was ever set.
func dated(at table.Minute) bool { return at > 0 && at != table.CursorNone }

// cover notes what was planned after from and up to to.
func (c *comparison) cover(from, to table.Minute, f force, lost bool) {
	if !dated(from) || to <= from {
		return
	}
	s := Span{From: from, To: to}
	switch {
	case lost:
		s.Why = "the feeder's clock could not be trusted"
	case f.table == nil:
		s.Why = "the plan of that time was not saved"
	default:
		t := decoded(f.table.Bytes)
		if t.Presets > 1 && !f.preset.ok {
			s.Why = "which preset was in force is not known"
			break
		}
		for _, d := range c.dues(f, replay.Options{From: from + 1, To: to + 1, Preset: f.preset.value}, 0) {
			c.planned[d.at] = d.due
		}
	}
	c.covered = append(c.covered, s)
}

type dueAt struct {
	at table.Minute
	due
}

// dues are the servings of the table in force, at most limit of them (0: all).
func (c *comparison) dues(f force, o replay.Options, limit int) (list []dueAt) {
	t := decoded(f.table.Bytes)
	// A replay begins with the table: the remainder of portions is carried from serving to serving.
	from := o.From
	o.Until = replay.PresetEndAfter(t, from-1)
	o.From = -2 * table.MinutesPerDay
	for w := replay.New(t, o); limit == 0 || len(list) < limit; {
		s, ok := w.Next()
		if !ok {
			break
		}
		if s.At < from {
			continue
		}
		d := due{pockets: s.Pockets(), late: table.Minute(t.Late), pocket: t.Wheel.PocketMg()}
		for _, m := range s.Meals {
			d.mg += int64(m.Units) * int64(t.Wheel.UnitMg)
			if m.Meal < len(f.table.Meals) {
				d.meals = append(d.meals, f.table.Meals[m.Meal])
			}
		}
		list = append(list, dueAt{s.At, d})
	}
	return list
}

func decoded(b []byte) *table.Table {
	t, err := table.Decode(b)
	if err != nil {
		panic(err) // a log holds none that cannot be read
	}
	return t
}

// begin is the serving of an instant, with what the plan says of it.
func (c *comparison) begin(at table.Minute, f force) *Serving {
	s := &Serving{Due: at, Planned: -1, Turned: -1, Count: 1, Adjust: f.adjust.value}
	if d, ok := c.planned[at]; ok {
		d.into(s)
	} else if f.table != nil && f.preset.ok {
		if list := c.dues(f, replay.Options{From: at, To: at + 1, Preset: f.preset.value}, 1); len(list) == 1 {
			list[0].into(s)
		}
	}
	return s
}

func (d due) into(s *Serving) {
	s.Meals, s.Planned, s.PlannedMg = d.meals, d.pockets, d.mg
}

// record takes up one record.
func (c *comparison) record(h table.History, f force) {
	value := int(h.Value)
	switch h.Event {
	case table.EventServed:
		c.serving(h, f)
		return
	case table.EventMissed:
		c.settle()
		c.missed(h.At, value, f)
		c.floor = max(c.floor, h.At)
		return
	case table.EventManual:
		c.settle()
		c.hand = append(c.hand, Serving{Due: h.At, State: ByHand, Planned: -1, Turned: value, Count: 1, Adjust: f.adjust.value})
		c.current = &c.hand[len(c.hand)-1]
	case table.EventResumed:
		c.resumed(h, f)
	case table.EventLeftOut:
		if c.current != nil && c.current.Turned >= 0 {
			c.current.Turned = max(0, c.current.Turned-value)
			if c.current.State != ByHand {
				c.current.State = Part
			}
			c.current.Why = cmp.Or(c.current.Why, c.cause.of(c.current.Due))
			c.open = false
			c.current.Notes = append(c.current.Notes, units.Count(value, "pocket")+" left out: they could not be given in time")
		}
	case table.EventJam:
		c.cause = cause{h.At, stuck, false}
		c.remark(stuck)
		c.open = true
	case table.EventSupply:
		c.cause = cause{h.At, "the supply was too low to turn the wheel", false}
		c.note(h.At, fmt.Sprintf("the supply was too low to turn the wheel: %.2f V", float64(value)/1000))
	case table.EventStarted:
		why, what := started(value)
		c.cause = cause{h.At, why, true}
		c.note(h.At, what)
		c.open = true
	case table.EventClockLost:
		c.note(h.At, "the clock could not be trusted")
	case table.EventClockSet:
		c.clockSet(h)
		return
	case table.EventTable:
		c.note(h.At, "a new plan came in force")
	case table.EventPreset:
		c.note(h.At, fmt.Sprintf("preset %d from here on", value+1))
	case table.EventAdjust:
		c.note(h.At, fmt.Sprintf("portions at %d %% from here on", 10*value))
	case table.EventFault:
		c.note(h.At, "fault: "+history.Faults(value))
		c.open = c.open || value&(table.FaultBitJam|table.FaultBitSupply|table.FaultBitEmpty) != 0
		if doubt := doubts(value); doubt != "" {
			c.remark(doubt)
		}
	case table.EventRefilled:
		c.note(h.At, "the hopper was filled")
	}
	if dated(h.At) {
		c.floor = max(c.floor, h.At)
	}
}

const stuck = "the wheel was stuck"

// started says what a start says of why a serving is late, and what it is in a list of what happened, by the flags of MCUSR (ATmega328P data sheet,
// section 11.9.1).
func started(flags int) (why, what string) {
	const powerOn, dip, watchdog = 1, 4, 8
	switch {
	case flags&powerOn != 0:
		return "after a loss of power", "the feeder started: power came on"
	case flags&dip != 0:
		return "after a dip of the supply", "the feeder started: the supply had dipped"
	case flags&watchdog != 0:
		return "after its program hung", "the feeder started: its program had hung"
	}
	return "after a reset", "the feeder was reset"
}

// doubts are faults by which what fell may differ from what is recorded.
func doubts(faults int) string {
	var list []string
	if faults&table.FaultBitPower != 0 {
		list = append(list, "it was cut short: what fell may differ by a pocket")
	}
	if faults&(table.FaultBitSwitch|table.FaultBitBarrier) != 0 {
		list = append(list, "a sensor failed: what turned is not certain")
	}
	if faults&table.FaultBitEmpty != 0 {
		list = append(list, "less fell than was turned")
	}
	if faults&table.FaultBitRestarted != 0 {
		list = append(list, "the program hung: what fell may differ")
	}
	return strings.Join(list, "; ")
}

func (c *comparison) remark(text string) {
	if c.current != nil && !slices.Contains(c.current.Notes, text) {
		c.current.Notes = append(c.current.Notes, text)
	}
}

func (c *comparison) note(at table.Minute, text string) {
	if dated(at) {
		c.notes = append(c.notes, note{at, text})
	}
}

// serving takes up a serving of the plan. Its record has the minute at which it was due; that it was late shows in what was recorded before it.
func (c *comparison) serving(h table.History, f force) {
	c.settle()
	if old := c.done[h.At]; old != nil && old.State != Missed {
		old.Turned, old.Twice = max(0, old.Turned)+int(h.Value), true
		old.Notes = append(old.Notes, "given more than once: the clock was set back")
		c.current = old
		return
	}
	s := c.begin(h.At, f)
	s.State, s.Turned = Given, int(h.Value)
	if c.floor > h.At {
		s.State, s.LateBy, s.Why = Late, int(c.floor-h.At), c.cause.of(h.At)
	}
	if f.faults.value != 0 {
		if doubt := doubts(f.faults.value); doubt != "" {
			s.Notes = append(s.Notes, "with a fault shown since before: "+doubt)
		}
	}
	c.done[h.At] = s
	c.current = s
	c.floor = max(c.floor, h.At)
	c.cause = cause{}
}

// resumed gives the rest of a serving that was cut short: the newest, or one that was cut before its own record was written.
func (c *comparison) resumed(h table.History, f force) {
	rest := units.Count(int(h.Value), "pocket")
	lost, ok := c.unrecorded(h.At)
	if ok && (c.current == nil || !slices.Contains(c.current.Notes, stuck)) {
		s := c.begin(lost, f)
		s.Notes = []string{"of its beginning there is no record; its last " + rest + " came when it went on"}
		s.State, s.Turned = Unknown, -1
		s.Why = "it was cut short before it was recorded"
		if s.Planned == int(h.Value) {
			s.State, s.Turned, s.Why = Given, s.Planned, ""
		}
		if by := int(h.At - lost); by > 0 && s.State == Given {
			s.State, s.LateBy, s.Why = Late, by, c.cause.of(lost)
		}
		c.done[lost], c.current = s, s
		return
	}
	if c.current == nil {
		return
	}
	c.open = true
	s := c.current
	s.Notes = append(s.Notes, "it was cut short, and its last "+rest+" came when it went on")
	if by := int(h.At - s.Due); by > 0 && (s.State == Given || s.State == Late) {
		s.Notes[len(s.Notes)-1] += fmt.Sprintf(", %s after its time", span(by))
	}
}

// unrecorded is the newest planned serving up to an instant, if it is later than the newest recorded one.
func (c *comparison) unrecorded(to table.Minute) (at table.Minute, ok bool) {
	from := table.Minute(0)
	if c.current != nil {
		from = c.current.Due
	}
	for d := range c.planned {
		if d > from && d <= to && d > at && !c.told[d] && c.done[d] == nil {
			at, ok = d, true
		}
	}
	return at, ok
}

// missed marks the servings that the feeder left out, the first of them at an instant.
func (c *comparison) missed(first table.Minute, count int, f force) {
	list := c.leftOut(first, count, f)
	if list == nil {
		s := c.begin(first, force{})
		s.State, s.Count, s.Turned, s.Why = Missed, count, 0, c.cause.of(first)
		c.done[first] = s
		return
	}
	for _, d := range list {
		if c.done[d.at] != nil {
			continue // it was given before the clock was set back
		}
		s := &Serving{Due: d.at, State: Missed, Count: 1, Adjust: f.adjust.value, Why: c.cause.of(d.at)}
		d.into(s)
		c.done[d.at] = s
	}
}

// clockSet takes up a step: from here on the feeder's time is another.
func (c *comparison) clockSet(h table.History) {
	step := int(int16(h.Value))
	switch {
	case h.Value == unknownStep:
		c.note(h.At, "the clock was set, by more than nine hours: what was recorded before it came at other times than it says")
	case step > smallStep || step < -smallStep:
		direction := "slow"
		if step < 0 {
			direction = "fast"
		}
		c.note(h.At, fmt.Sprintf("the clock was set, it was %s %s: what was recorded before came at other times than it says", span(max(step, -step)/60), direction))
	}
	c.floor = h.At
}

// settle ends the serving in hand: nothing that follows belongs to it.
func (c *comparison) settle() {
	s := c.current
	c.current, c.open = nil, false
	if s == nil || s.State == ByHand || s.Turned < 0 {
		return
	}
	if s.State == Part && s.Turned == 0 && s.Planned != 0 {
		s.State = Missed
	}
}

// span is "40 min" or "1 h 5 min".
func span(minutes int) string {
	if minutes < 60 {
		return fmt.Sprintf("%d min", minutes)
	}
	if minutes%60 == 0 {
		return fmt.Sprintf("%d h", minutes/60)
	}
	return fmt.Sprintf("%d h %d min", minutes/60, minutes%60)
}

// sorted are all servings, planned and recorded, by time.
func (c *comparison) sorted() (list []Serving) {
	for at, d := range c.planned {
		if c.done[at] != nil {
			continue
		}
		s := Serving{Due: at, State: Unknown, Turned: -1, Count: 1, Why: "the feeder has no record of it"}
		d.into(&s)
		if c.newest-at <= d.late+1 {
			s.State, s.Why = Waiting, "it is due, and there is no record of it yet"
		}
		list = append(list, s)
	}
	for s := range maps.Values(c.done) {
		list = append(list, *s)
	}
	list = append(list, c.hand...)
	slices.SortStableFunc(list, func(a, b Serving) int { return cmp.Compare(a.Due, b.Due) }) // by hand last
	return list
}
