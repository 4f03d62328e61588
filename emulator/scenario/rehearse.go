package scenario

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"mealtab/compiler/profile"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
)

// Rehearsal says what to rehearse.
type Rehearsal struct {
	Table     []byte
	Installed []byte // what the feeder carries, if not Table
	Firmware  *avr.Image
	Board     *profile.Profile
	From      table.Minute // a minute at which nothing is served by either
	Years     int
	Until     table.Minute // end earlier than after Years; 0: not
	Full      bool
	Servings  int // end with the day in which so many are due; 0: MostServings
	Options   avr.Options
	Progress  func(at table.Minute) // may be nil
	Note      func(text string)     // what its owner should know while it goes on; may be nil
}

// Report is what a rehearsal measured. Durations and counts are those of all windows together.
type Report struct {
	Windows     []Window
	Left        Window // left out by the limit of servings; empty: nothing was
	Emulated    time.Duration
	Servings    int // with at least one pocket
	Pockets     int
	Wakes       uint64
	Awake       time.Duration // executing
	Idle        time.Duration // asleep with the timers running, while the wheel turns
	Wheel       time.Duration // servo moving
	CellWrites  uint32        // of the EEPROM cell written most
	Cell        int
	Writes      uint64 // of all EEPROM cells
	PageWrites  uint64 // of the clock module's memory
	StackBytes  int
	WorstLate   time.Duration // from the minute of a serving to the first movement
	WorstLateAt time.Time
	Violations  []string // of rules stricter than the chip, the first of each window
}

// Difference is a serving of the firmware that is not the replay's, or one that is missing.
type Difference struct {
	Expected string
	Happened string
	When     time.Time
	Log      []string // what happened around it
}

func (d *Difference) Error() string {
	return fmt.Sprintf("expected %s\nhappened %s\nwhen     %s\n%s", d.Expected, d.Happened, d.When.Format(stampLayout), strings.Join(d.Log, "\n"))
}

const (
	stampLayout    = "2006-01-02 15:04:05.000Z"
	mostLate       = time.Minute
	mostViolations = 100                     // listed of a window
	checkEvery     = 2 * table.MinutesPerDay // less than a second of a processor's time, however often is served
)

// Rehearse runs firmware and table. The error is a [*Difference] where they do not serve what the replay does.
func Rehearse(r Rehearsal) (*Report, error) {
	t, err := table.Decode(r.Table)
	if err != nil {
		return nil, err
	}
	if t.Board != r.Board.Code {
		return nil, fmt.Errorf("the table is for board %d, not for %s", t.Board, r.Board.Name)
	}
	template, err := newFeeder(r, t)
	if err != nil {
		return nil, err
	}
	rep := &Report{}
	rep.Windows, rep.Left = r.Extent(t)
	if len(rep.Windows) == 0 || rep.Windows[0].From >= rep.Windows[0].To {
		return nil, errors.New("the table ends before the rehearsal begins")
	}
	if err := r.windows(t, template, rep); err != nil {
		return rep, err
	}
	return rep, nil
}

// newFeeder is a board with firmware and table, its wheel calibrated as the table says.
func newFeeder(r Rehearsal, t *table.Table) (*board.Board, error) {
	c := board.ForProfile(r.Board)
	c.Firmware, c.Options, c.Start = r.Firmware, r.Options, r.From.Time()
	c.Options.Strict.EEPROM = true
	Calibrate(&c.Wheel, t)
	b, err := board.New(c)
	if err != nil {
		return nil, err
	}
	if r.Installed != nil {
		return b, b.Program(r.Installed)
	}
	return b, b.Program(r.Table)
}

// Calibrate makes the wheel that an owner weighed and timed before writing the plan.
func Calibrate(w *board.Wheel, t *table.Table) {
	if t.Wheel.TurnMillis != 0 {
		w.Turn = time.Duration(t.Wheel.TurnMillis) * time.Millisecond
	}
	w.Stop += float64(t.Wheel.TrimMicros)
	if t.Wheel.UnitMg != 0 {
		w.PocketMg = float64(t.Wheel.UnitMg) * float64(t.Wheel.PocketUnits)
	}
	w.HopperMg = 1e15 // never empty
}

// rehearsing is one window under way.
type rehearsing struct {
	r      *Rehearsal
	t      *table.Table
	w      Window
	rep    *Report
	log    *Log
	b      *board.Board
	plan   *replay.Cursor
	due    replay.Serving // the next one with pockets
	more   bool           // there is one
	got    int            // pockets of it so far
	resets int            // that nothing from outside has caused
	failed *Difference

	progress func(minutes table.Minute) // that have passed
}

func (g *rehearsing) window(b *board.Board) {
	g.b = b
	b.SetClock(b.Now())
	g.plan = servedIn(g.t, g.w)
	g.advance()
	watch := newTurns(b, g.turned)
	b.Observe(func(e board.Event) {
		watch.see(e)
		g.log.Add(b.Time(e.At), e)
		switch {
		case e.Kind == board.RuleBroken && len(g.rep.Violations) < mostViolations:
			g.rep.Violations = append(g.rep.Violations, b.Time(e.At).Format(stampLayout)+" "+e.Text)
		case e.Kind == board.WasReset:
			g.reset(e)
		}
	}, unlogged[:]...)
	every := g.look()
	end := g.w.To.Time().Add(-time.Millisecond)
	for at := g.w.From; g.failed == nil && b.Now().Before(end); {
		from := at
		at = min(at+every, g.w.To)
		g.progress(at - from)
		stop := at.Time()
		if stop.After(end) {
			stop = end
		}
		g.run(stop)
		g.overdue()
	}
	// A serving of the last minute may still be turning.
	if g.failed == nil {
		b.RunUntil(g.w.To.Time().Add(mostLate / 2))
	}
	if g.failed == nil && g.more {
		g.fail(g.describe(), "nothing", b.Now())
	}
	g.account()
}

// advance finds the next serving that turns the wheel.
func (g *rehearsing) advance() {
	g.got = 0
	for {
		g.due, g.more = g.plan.Next()
		if !g.more || g.due.Pockets() > 0 {
			return
		}
	}
}

func (g *rehearsing) describe() string {
	return fmt.Sprintf("%s at %s (%s)", units.Count(g.due.Pockets(), "pocket"), g.due.At.Time().Format(stampLayout),
		g.log.local.At(g.due.At.Time()).Format("15:04 MST"))
}

// turned compares a turn with the serving that is due.
func (g *rehearsing) turned(turn Turn) {
	if g.failed != nil || table.MinuteOf(turn.Start.Unix()) >= g.w.To && !g.more {
		return
	}
	happened := fmt.Sprintf("%s, for minute %s", units.Count(turn.Pockets, "pocket"), turn.Journal.Cursor.Time().Format(stampLayout))
	switch late := turn.Start.Sub(g.due.At.Time()); {
	case !g.more:
		g.fail("no further serving", happened, turn.Start)
	case !turn.Serving(), turn.Journal.Cursor != g.due.At, late < 0, g.got == 0 && late > mostLate:
		g.fail(g.describe(), happened, turn.Start)
	default:
		g.got += turn.Pockets
		g.count(turn, late)
	}
}

func (g *rehearsing) count(turn Turn, late time.Duration) {
	planned := g.due.Pockets()
	if g.got == turn.Pockets && late > g.rep.WorstLate {
		g.rep.WorstLate, g.rep.WorstLateAt = late, turn.Start
	}
	g.rep.Pockets += turn.Pockets
	g.rep.Wheel += turn.End.Sub(turn.Start)
	if g.got < planned && planned > table.PocketsPerSlot {
		return // a large serving is turned in parts
	}
	if g.got != planned {
		g.fail(g.describe(), units.Count(g.got, "pocket"), turn.Start)
		return
	}
	g.rep.Servings++
	g.advance()
}

func (g *rehearsing) fail(expected, happened string, when time.Time) {
	g.failed = &Difference{expected, happened, when, g.log.Recent()}
	g.b.MCU().Stop()
}

func (g *rehearsing) account() {
	s, hz := g.b.MCU().Stats(), float64(g.b.MCU().ClockHz())
	seconds := func(cycles uint64) time.Duration { return time.Duration(float64(cycles) / hz * 1e9) }
	rep := g.rep
	rep.Emulated += time.Duration(g.w.To-g.w.From) * time.Minute
	rep.Wakes += s.Wakes
	rep.Awake += seconds(s.Awake)
	rep.Idle += seconds(s.Idle)
	rep.Writes += s.EEPROMWrites
	rep.PageWrites += g.b.MemoryWrites()
	top := 0x100 + int(g.b.MCU().Part().RAMSize) - 1
	rep.StackBytes = max(rep.StackBytes, top-int(s.MinSP))
	if n := g.b.Clock().IllegalMasks(); n > 0 {
		rep.Violations = append(rep.Violations, fmt.Sprintf("%d illegal alarm masks written", n))
	}
}
