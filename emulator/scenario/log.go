package scenario

import (
	"fmt"
	"io"
	"slices"
	"sort"
	"time"

	"mealtab/compiler/replay"
	"mealtab/compiler/units"
	"mealtab/emulator/board"
)

// Log is what happened, in plain words: the last lines, for failure messages, and all of them to a writer if there is one.
type Log struct {
	Out    io.Writer // may be nil
	local  replay.Clock
	recent [recentLines]entry
	n      int
	keep   bool // all lines, for Around
	all    []entry
	fell   int
	mg     int64
	supply int64 // mV as last reported

	lamp           Lamp
	winked         time.Time // when a wink was reported last
	shown, before  int       // code of the group last reported; of the last one
	shownAt, group time.Time
}

const recentLines = 24

// entry is a line not yet put into words: most never are.
type entry struct {
	at   time.Time
	e    board.Event
	text string
}

// NewLog returns a log in a local time; out may be nil.
func NewLog(l replay.Clock, out io.Writer) *Log {
	log := &Log{local: l, Out: out, supply: 5000}
	log.lamp.Group, log.lamp.Wink = log.flash, log.wink
	return log
}

// unlogged are the kinds of event that matter to no reader: pulses, bytes, sleep.
var unlogged = [...]board.Kind{
	board.ServoPulse, board.BusByte, board.Asleep, board.ButtonContact, board.LineSent, board.LineReceived, board.IndexSwitch, board.LightBarrier,
}

// Add takes an event; those that matter to no reader are left out, flashes are counted.
func (l *Log) Add(at time.Time, e board.Event) {
	if slices.Contains(unlogged[:], e.Kind) {
		return
	}
	switch e.Kind {
	case board.Light:
		l.lamp.Event(e.Value != 0, at)
		return
	case board.SupplyChanged:
		if off := e.Value - l.supply; e.Value > 0 && -smallChange < off && off < smallChange {
			return
		}
		l.supply = e.Value
	case board.TurnStarted:
		l.fell, l.mg = 0, 0
	case board.PocketFell:
		l.fell++
		l.mg += e.Value
	}
	l.put(entry{at: at, e: e})
}

const smallChange = 200 // mV

// flash reports a group of flashes, if it is not like the one reported before. A single flash is a wink until it is repeated
// soon.
func (l *Log) flash(code int, from time.Time) {
	again := code == l.before && from.Sub(l.group) < winkGap
	l.before, l.group = code, from
	if code == 1 && !again || code == l.shown && from.Sub(l.shownAt) <= time.Hour {
		return
	}
	l.shown, l.shownAt = code, from
	l.put(entry{at: from, text: "the light flashes: " + flashesOf(code)})
}

// wink reports a quick double flash, once in an hour.
func (l *Log) wink(from time.Time) {
	if !l.winked.IsZero() && from.Sub(l.winked) <= time.Hour {
		return
	}
	l.winked = from
	l.put(entry{at: from, text: "the light winks: a preset other than the first is in force"})
}

// Say adds a line of the script's own.
func (l *Log) Say(at time.Time, text string) { l.put(entry{at: at, text: text}) }

// Print writes text that is no event, as it is.
func (l *Log) Print(text string) {
	if l.Out != nil {
		fmt.Fprint(l.Out, text)
	}
}

func (l *Log) put(e entry) {
	if e.text == "" && e.e.Kind == board.TurnEnded {
		e.text = fmt.Sprintf("the wheel stands: %s, %s", units.Count(l.fell, "pocket"), units.Milligrams(l.mg).Tenths())
	}
	l.recent[l.n%recentLines] = e
	l.n++
	if l.keep {
		l.all = append(l.all, e)
	}
	if l.Out != nil {
		fmt.Fprintln(l.Out, l.line(e))
	}
}

// Recent returns the last lines.
func (l *Log) Recent() []string {
	var lines []string
	for i := max(0, l.n-recentLines); i < l.n; i++ {
		lines = append(lines, "  | "+l.line(l.recent[i%recentLines]))
	}
	return lines
}

// Around returns the lines before and after an instant.
func (l *Log) Around(t time.Time) []string {
	i := sort.Search(len(l.all), func(i int) bool { return l.all[i].at.After(t) })
	var lines []string
	for _, e := range l.all[max(0, i-recentLines/2):min(len(l.all), i+recentLines/2)] {
		lines = append(lines, "  | "+l.line(e))
	}
	return lines
}

func (l *Log) line(e entry) string {
	text := e.text
	if text == "" {
		text = words(e.e)
	}
	return l.local.At(e.at).Format("Mon 2006-01-02 15:04:05.000 MST") + "  " + text
}

var buttonNames = [...]string{"feed", "portion", "plan"}

// words says an event as an owner would.
func words(e board.Event) string {
	on := e.Value != 0
	switch e.Kind {
	case board.SupplyChanged:
		return fmt.Sprintf("the supply is %.2f V", float64(e.Value)/1000)
	case board.WasReset:
		return "the chip starts after " + resetCause(uint8(e.Value))
	case board.ClockInt:
		return choose(on, "the clock rings (INT low)", "the clock is silent again (INT high)")
	case board.ServoSupply:
		return choose(on, "the servo has power", "the servo has no power")
	case board.TurnStarted:
		return "the wheel turns"
	case board.PocketFell:
		return "a pocket falls: " + units.Milligrams(e.Value).Tenths()
	case board.ServoStalled:
		return choose(on, "the servo pushes, and the wheel stands", "the servo pushes no more")
	case board.Light:
		return choose(on, "the light is on", "the light is off")
	case board.Button:
		return fmt.Sprintf("the %s button is %s", buttonNames[e.Arg%3], choose(on, "pressed", "released"))
	case board.RuleBroken:
		return "noted: " + e.Text
	}
	return e.String()
}

func choose(v bool, yes, no string) string {
	if v {
		return yes
	}
	return no
}

// resetCause reads MCUSR.
func resetCause(flags uint8) string {
	for i, name := range []string{"power-on", "a reset from outside", "a brown-out", "a watchdog reset"} {
		if flags>>i&1 != 0 {
			return name
		}
	}
	return "a reset of unknown cause"
}
