package scenario

import (
	"fmt"
	"time"

	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
)

// A firmware that its owner has just changed may never come to its first serving: it is reset again and again, stops, or runs in a
// circle. All of that is told at once and not after a year of it.
const (
	// mostResets is how often a firmware may be reset in a rehearsal, in which nothing happens to it: any reset is the firmware's own doing.
	mostResets = 20
	// firstLook is after which time of a window it is looked at whether the firmware has ever slept. One that has not runs at some tens of
	// times real time at best, so that this takes about a second.
	firstLook = 20 * time.Second
)

// reset counts resets, and ends a rehearsal of nothing else. It is called in the reset, when the PC still is where the program was.
func (g *rehearsing) reset(e board.Event) {
	const powerOn = 1
	if e.Value&powerOn != 0 || g.failed != nil {
		return
	}
	if g.resets++; g.resets < mostResets {
		return
	}
	now := g.b.Time(e.At)
	g.fail("the firmware runs on", fmt.Sprintf("it was reset %d times in %v, now by %s, at %s",
		g.resets, now.Sub(g.w.From.Time()).Round(time.Millisecond), resetCause(uint8(e.Value)), g.place()), now)
}

// overdue ends a rehearsal whose serving is late already; one that is being turned takes its time.
func (g *rehearsing) overdue() {
	if now := g.b.Now(); g.failed == nil && g.more && g.got == 0 && now.Sub(g.due.At.Time()) >= mostLate {
		g.fail(g.describe(), "nothing until now; the program is at "+g.place(), now)
	}
}

// look runs the first seconds, says what a firmware that never sleeps means, and how long may be run before it is looked at again.
func (g *rehearsing) look() (every table.Minute) {
	g.run(g.w.From.Time().Add(firstLook))
	s := g.b.MCU().Stats()
	if g.failed != nil || s.Asleep+s.Idle > 0 {
		return checkEvery
	}
	if g.r.Note != nil && g.w.From == g.r.From { // the other windows run the same
		g.r.Note(fmt.Sprintf("the firmware has not slept in its first %v, so that no time can be passed over: each emulated day takes half an hour or more; the program is at %s", firstLook, g.place()))
	}
	return 1
}

// run goes on to an instant, or to the firmware's end.
func (g *rehearsing) run(to time.Time) {
	if reason := g.b.RunUntil(to); reason != avr.StopLimit && g.failed == nil {
		g.fail("the firmware runs on", fmt.Sprintf("it stopped at %s: %v", g.place(), reason), g.b.Now())
	}
}

// place is where the program is.
func (g *rehearsing) place() string {
	return fmt.Sprintf("byte %#x of the flash", 2*int(g.b.MCU().PC()))
}
