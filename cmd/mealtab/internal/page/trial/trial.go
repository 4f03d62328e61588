// Package trial keeps an emulated feeder running at a chosen speed, so that a plan can be watched and disturbed, and talked to
// over its line as a real board is.
//
// In: a firmware image, a table, an instant to begin at, what someone does to the feeder. Out: its [State], in words and
// numbers, and conversations by package flasher. The feeder's world has its own time; speed is seconds of it to one of ours.
package trial

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"mealtab/compiler/zone"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/emulator/cable"
	"mealtab/flasher"
)

// Clock gives local time.
type Clock interface {
	At(unix int64) zone.Offset
}

// Options are what a feeder is built of.
type Options struct {
	Board    string // name of the board, for example m328-mains
	Firmware *avr.Image
	Table    []byte // nil: none
	Start    time.Time
	Clock    Clock
	PocketMg float64 // 0: as the emulator has it
	HopperMg float64
}

// Feeder is an emulated feeder. Its methods may be called from several goroutines.
type Feeder struct {
	mu     sync.Mutex
	o      Options
	b      *board.Board
	cable  *cable.Cable // to this computer
	speed  float64
	goal   time.Time // zero: none; else it is run to as fast as it goes
	log    []Line
	turnMg int64 // since the wheel began to turn
	bowlMg int64
	jammed bool
	wire   bool // INT is connected
	volts  int64
}

// Line is one line of what happened.
type Line struct {
	At   string `json:"at"`
	Text string `json:"text"`
}

// New builds a feeder whose clock is right. It stands still until Run runs it.
func New(o Options) (*Feeder, error) {
	c, err := board.ForBoard(o.Board)
	if err != nil {
		return nil, err
	}
	c.Firmware, c.Start = o.Firmware, o.Start.Truncate(time.Second) // the chip counts whole seconds
	if o.PocketMg > 0 {
		c.Wheel.PocketMg = o.PocketMg
	}
	if o.HopperMg > 0 {
		c.Wheel.HopperMg = o.HopperMg
	}
	f := &Feeder{o: o, speed: 1, wire: true}
	if f.b, err = board.New(c); err != nil {
		return nil, err
	}
	if o.Table != nil {
		if err := f.b.Program(o.Table); err != nil {
			return nil, err
		}
	}
	f.b.SetClock(c.Start)
	f.cable = cable.New(f.b)
	f.b.Observe(f.event)
	f.volts = int64(f.b.Millivolts())
	f.b.Run(started)
	return f, nil
}

// started is how long a board is left alone before anybody can touch it: a button that is down when the chip starts does
// not count.
const started = 2 * time.Second

const (
	tick   = 50 * time.Millisecond // how often the world catches up
	busy   = 35 * time.Millisecond // of a tick, at most: others want the machine too
	stride = 30 * time.Minute      // of the world at once
	leap   = 24 * time.Hour        // the same on the way to a goal: on a busy machine a tick may have time for one only
)

// Run lets the world go on until the context ends.
func (f *Feeder) Run(ctx context.Context) {
	t := time.NewTicker(tick)
	defer t.Stop()
	last := time.Now()
	for {
		select {
		case <-ctx.Done():
			return
		case now := <-t.C:
			f.mu.Lock()
			f.step(now.Sub(last))
			f.mu.Unlock()
			last = now
		}
	}
}

// step goes on by so much of our time.
func (f *Feeder) step(elapsed time.Duration) {
	target, most := f.b.Now().Add(time.Duration(float64(min(elapsed, time.Second))*f.speed)), stride
	if !f.goal.IsZero() {
		target, most = f.goal, leap
	}
	for began := time.Now(); f.b.Now().Before(target) && time.Since(began) < busy; {
		next := f.b.Now().Add(most)
		if next.After(target) {
			next = target
		}
		f.b.RunUntil(next)
	}
	if !f.goal.IsZero() && !f.b.Now().Before(f.goal) {
		f.goal = time.Time{}
	}
}

// Speeds are what can be chosen: seconds of the feeder's world to one of ours.
var Speeds = []float64{0, 1, 10, 60, 600, 3600, 21600, 86400}

// SetSpeed chooses one of [Speeds].
func (f *Feeder) SetSpeed(speed float64) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, s := range Speeds {
		if s == speed {
			f.speed = speed
			return nil
		}
	}
	return fmt.Errorf("a speed of %g cannot be chosen", speed)
}

// lastYear is the end of the clock chip's calendar.
var lastYear = time.Date(2099, 12, 31, 0, 0, 0, 0, time.UTC)

// RunTo runs to an instant ahead as fast as it goes; then the speed is as before.
func (f *Feeder) RunTo(t time.Time) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	switch {
	case !t.After(f.b.Now()):
		return errors.New("the feeder's clock is past that: start it anew from an earlier date")
	case t.After(lastYear):
		return errors.New("the clock chip's calendar ends with 2099")
	case t.Sub(f.b.Now()) > 12*366*24*time.Hour:
		return errors.New("that is more than twelve years ahead: start the feeder anew nearer to it")
	}
	f.goal = t
	return nil
}

// Halt ends a run to an instant.
func (f *Feeder) Halt() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.goal = time.Time{}
}

// Now is the time of the feeder's world.
func (f *Feeder) Now() time.Time {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.b.Now()
}

// Buttons of the feeder.
var buttons = map[string]int{"feed": board.ButtonFeed, "portion": board.ButtonPortion, "preset": board.ButtonPreset}

// hold is how long a finger stays on a button.
const hold = 250 * time.Millisecond

// jamAhead is how far the wheel gets before a kibble stops it, in pockets.
const jamAhead = 0.4

// Do does something to the feeder: "feed", "portion", "preset" press a button; the others are named as they are.
func (f *Feeder) Do(what string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if n, ok := buttons[what]; ok {
		f.b.Press(n, hold)
		return nil
	}
	switch what {
	case "cut power":
		f.b.PowerOff()
	case "give power":
		f.b.PowerOn()
	case "jam", "jam hard":
		f.b.Jam(jamAhead, what == "jam")
		f.jammed = true
		f.say("someone jams the wheel")
	case "unjam":
		f.b.Unjam()
		f.jammed = false
		f.say("someone frees the wheel")
	case "cut INT", "mend INT":
		f.wire = what == "mend INT"
		f.b.CutInt(!f.wire)
		f.say(map[bool]string{true: "the INT wire is mended", false: "the INT wire is cut"}[f.wire])
	case "refill":
		c, _ := board.ForBoard(f.o.Board)
		mg := c.Wheel.HopperMg
		if f.o.HopperMg > 0 {
			mg = f.o.HopperMg
		}
		f.b.Refill(mg)
		f.say("someone fills the hopper")
	default:
		return fmt.Errorf("nothing is called %q", what)
	}
	return nil
}

// Reset pulls the reset line, as opening a port does.
func (f *Feeder) Reset() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.b.Reset()
}

// Talk connects to the feeder over its line and lets do speak with it; nothing else happens to it meanwhile. A conversation takes the feeder's
// time: of ours only a moment.
func (f *Feeder) Talk(do func(*flasher.Feeder) error) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.cable.Forget()
	c, err := flasher.Connect(f.cable.Link("the emulated feeder"))
	if err != nil {
		return err
	}
	return do(c)
}
