package scenario

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"mealtab/compiler/profile"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/emulator/cable"
)

// Inputs is what a script needs from outside.
type Inputs struct {
	// Table returns the bytes of a table: of the plan in a text of several lines, else of a file named in the script.
	Table func(ref string) ([]byte, error)
	// Firmware returns the image of a board.
	Firmware func(name string) (*avr.Image, error)
	// Log, CSV and VCD receive the run in three forms; nil: not wanted.
	Log, CSV, VCD io.Writer
	// Rows is how many events of a kind CSV and VCD hold; 0: MostRows.
	Rows int
}

// Result is a finished run.
type Result struct {
	Checks   int // expectations that were looked at
	Failures []Failure
	Turns    []Turn
	LeftOut  []string     // of CSV and VCD, a sentence for each kind of event
	Board    *board.Board // at the end
}

// Failure is an expectation that does not hold.
type Failure struct {
	Number   int // of the expectation, from 1
	Expected string
	Happened string
	When     time.Time
	Log      []string
}

func (f *Failure) Error() string {
	return fmt.Sprintf("expectation %d\n  expected %s\n  happened %s\n  when     %s\n%s",
		f.Number, f.Expected, f.Happened, f.When.Format(stampLayout), strings.Join(f.Log, "\n"))
}

// mostBriefs is how many failures of one expectation are printed after the first.
const mostBriefs = 20

// Failed prints what failed: of each expectation the first failure with the log around it, the next ones a line each, and how
// many more there are. At most 60 lines for an expectation.
func (r *Result) Failed() string {
	var b strings.Builder
	number, printed, more := 0, 0, 0
	rest := func() {
		if more > 0 {
			fmt.Fprintf(&b, "  and %s more\n", units.Thousands(more))
		}
	}
	for i := range r.Failures {
		f := &r.Failures[i]
		switch {
		case f.Number != number:
			rest()
			number, printed, more = f.Number, 0, 0
			fmt.Fprintln(&b, f.Error())
		case printed < mostBriefs:
			printed++
			fmt.Fprintf(&b, "  expected %s; happened %s (%s)\n", f.Expected, f.Happened, f.When.Format(stampLayout))
		default:
			more++
		}
	}
	rest()
	return b.String()
}

// run is a script under way.
type run struct {
	s          *Script
	in         Inputs
	t          *table.Table
	b          *board.Board
	start, end time.Time
	log        *Log
	cable      *cable.Cable // to the owner's computer
	turns      []Turn
	lamp       Lamp
	groups     []flashes   // of the light
	resets     []time.Time // other than by power-on
	outputs    []output
	result     Result
}

// flashes is a group of the light, by its code; see Lamp.
type flashes struct {
	code int
	at   time.Time
}

// output is a form in which a run is written.
type output interface {
	event(e board.Event)
	close() error
	leftOut() []string
}

// step is an event or an expectation at its time.
type step struct {
	at time.Time
	do func() error
}

// Run runs a script. The error is a fault of the script or of an output; expectations that fail are in the result.
func Run(s *Script, in Inputs) (*Result, error) {
	r := &run{s: s, in: in}
	if err := r.prepare(); err != nil {
		return nil, fmt.Errorf("%s: %w", s.File, err)
	}
	steps, err := r.steps()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", s.File, err)
	}
	for _, st := range steps {
		if err := r.to(st.at); err != nil {
			return nil, fmt.Errorf("%s: %w", s.File, err)
		}
		if err := st.do(); err != nil {
			return nil, fmt.Errorf("%s: %w", s.File, err)
		}
	}
	for _, o := range r.outputs {
		if err := o.close(); err != nil {
			return nil, err
		}
		r.result.LeftOut = append(r.result.LeftOut, o.leftOut()...)
	}
	r.result.Turns, r.result.Board = r.turns, r.b
	return &r.result, nil
}

// to runs the board to an instant.
func (r *run) to(at time.Time) error {
	for r.b.Now().Before(at) {
		if reason := r.b.RunUntil(at); reason == avr.StopBreak || reason == avr.StopIllegal {
			return fmt.Errorf("the firmware stopped at %s: %v", r.b.Now().Format(stampLayout), reason)
		}
	}
	return nil
}

func (r *run) prepare() error {
	encoded, err := r.in.Table(r.s.Plan)
	if err != nil {
		return err
	}
	if r.t, err = table.Decode(encoded); err != nil {
		return err
	}
	local := replay.NewClock(&r.t.Zone)
	if r.start, err = moment(r.s.Start, time.Time{}, local); err != nil {
		return fmt.Errorf("start: %w", err)
	}
	d, err := duration(r.s.Run)
	if err != nil {
		return fmt.Errorf("run: %w", err)
	}
	r.end = r.start.Add(d)
	r.log = NewLog(local, r.in.Log)
	r.log.keep = true
	if err := r.build(encoded); err != nil {
		return err
	}
	r.cable = cable.New(r.b)
	if r.in.CSV != nil {
		r.outputs = append(r.outputs, newCSV(r.in.CSV, r.b, local, r.in.Rows))
	}
	if r.in.VCD != nil {
		r.outputs = append(r.outputs, newVCD(r.in.VCD, r.b, r.in.Rows))
	}
	r.lamp.Group = func(code int, from time.Time) { r.groups = append(r.groups, flashes{code, from}) }
	watch := newTurns(r.b, func(t Turn) { r.turns = append(r.turns, t) })
	r.b.Observe(func(e board.Event) { r.see(e, watch) })
	return nil
}

func (r *run) see(e board.Event, watch *turns) {
	at := r.b.Time(e.At)
	watch.see(e)
	r.log.Add(at, e)
	switch {
	case e.Kind == board.Light:
		r.lamp.Event(e.Value != 0, at)
	case e.Kind == board.WasReset && e.Value&1 == 0:
		r.resets = append(r.resets, at)
	}
	for _, o := range r.outputs {
		o.event(e)
	}
}

// build makes the board as the script starts it.
func (r *run) build(encoded []byte) error {
	name := r.s.Board
	if name == "" {
		if p, ok := profile.ByCode(r.t.Board); ok {
			name = p.Name
		}
	}
	name = r.s.Feeder.board(name)
	c, err := board.ForBoard(name)
	if err != nil {
		return err
	}
	if c.Firmware, err = r.in.Firmware(name); err != nil {
		return err
	}
	c.Start, c.Seed, c.Trace = r.start, r.s.Seed, r.in.VCD != nil
	c.Options.Strict.EEPROM = true
	Calibrate(&c.Wheel, r.t)
	if err := r.s.Feeder.apply(&c); err != nil {
		return fmt.Errorf("feeder: %w", err)
	}
	if r.b, err = board.New(c); err != nil {
		return err
	}
	if r.s.Feeder.Clock != "never set" {
		r.b.SetClock(r.start)
	}
	if r.s.Feeder.NoTable {
		return nil
	}
	return r.b.Program(encoded)
}

// board is the name of a board with the feeder's sensors.
func (f *Feeder) board(name string) string {
	switch {
	case f.Index && f.Barrier:
		return "m328-both"
	case f.Index:
		return "m328-index"
	case f.Barrier:
		return "m328-barrier"
	}
	return name
}

func (f *Feeder) apply(c *board.Config) error {
	c.Wheel.Load = f.Load / 100
	c.Wheel.HopperMg = 1_400_000
	if f.Detent != nil {
		c.Wheel.Detent = *f.Detent
	}
	for _, q := range []struct {
		key, text   string
		unit        string
		least, most float64
		set         func(v float64)
	}{
		{"drift", f.Drift, "ppm", -1e5, 1e5, func(v float64) { c.ClockDriftPPB = int64(v * 1000) }},
		{"hopper", f.Hopper, "g", 0, 1e5, func(v float64) { c.Wheel.HopperMg = v * 1000 }},
		{"supply", f.Supply, "V", 0, 6, func(v float64) { c.SetVolts(v) }},
		{"watchdog", f.Watch, "%", -50, 50, func(v float64) { c.WatchdogHz = uint64(128_000 * (1 + v/100)) }},
		{"oscillator", f.Oscillator, "%", -20, 20, func(v float64) { c.Oscillator.PC = v }},
		{"reference", f.Reference, "%", -10, 10, func(v float64) { c.ReferencePC = v }},
		{"servo_supply", f.Servo, "V", 0, 7.4, func(v float64) { c.Supply.ServoMillivolts, c.Supply.ServoMilliOhms = uint16(v*1000), 100 }},
		{"current_limit", f.Limit, "A", 0, 10, func(v float64) { c.Supply.Limit.MA = v * 1000 }},
	} {
		if q.text == "" {
			continue
		}
		v, err := quantity(q.text, q.unit)
		if err == nil && (v < q.least || v > q.most) {
			err = fmt.Errorf("%q is out of range; give %v to %v %s", q.text, q.least, q.most, q.unit)
		}
		if err != nil {
			return fmt.Errorf("%s: %w", q.key, err)
		}
		q.set(v)
	}
	if f.Clock != "" && f.Clock != "set" && f.Clock != "never set" {
		return fmt.Errorf("clock is %q; it can be \"set\" or \"never set\"", f.Clock)
	}
	return nil
}

// steps puts events and expectations in order; at the same instant events come first.
func (r *run) steps() ([]step, error) {
	var list []step
	for i := range r.s.Events {
		more, err := r.eventSteps(&r.s.Events[i])
		if err != nil {
			return nil, fmt.Errorf("event %d (%s): %w", i+1, r.s.Events[i].Do, err)
		}
		list = append(list, more...)
	}
	for i := range r.s.Expect {
		c, err := r.check(i)
		if err != nil {
			return nil, fmt.Errorf("expectation %d: %w", i+1, err)
		}
		list = append(list, step{c.when(), func() error { return c.run() }})
	}
	slices.SortStableFunc(list, func(a, b step) int { return a.at.Compare(b.at) })
	if n := len(list); n > 0 && list[n-1].at.After(r.end) {
		return nil, fmt.Errorf("something is to happen at %s, after the end of the run", list[n-1].at.Format(stampLayout))
	}
	return append(list, step{r.end, func() error { return nil }}), nil
}

func (r *run) eventSteps(e *Event) (list []step, err error) {
	at, err := moment(e.At, r.start, r.log.local)
	if err != nil {
		return nil, err
	}
	every := time.Duration(0)
	if e.Every != "" {
		if every, err = duration(e.Every); err != nil {
			return nil, err
		}
	}
	for n := range max(1, e.Times) {
		list = append(list, step{at.Add(time.Duration(n) * every), func() error {
			r.log.Say(r.b.Now(), "> "+e.Do)
			if err := actions[e.Do].do(r, e); err != nil {
				return fmt.Errorf("%s at %s: %w", e.Do, r.b.Now().Format(stampLayout), err)
			}
			return nil
		}})
	}
	return list, nil
}
