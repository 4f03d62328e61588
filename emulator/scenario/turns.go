package scenario

import (
	"time"

	"mealtab/compiler/table"
	"mealtab/emulator/board"
)

// Turn is one time that the wheel turned.
type Turn struct {
	Start, End time.Time     // of the servo's movement
	Pockets    int           // that fell
	Milligrams int64         // of kibble in them
	Journal    table.Journal // the firmware's newest journal record as the wheel started
	Recorded   bool          // there was one
}

// Serving reports whether the firmware meant the turn as a serving of the plan.
func (t *Turn) Serving() bool { return t.Recorded && t.Journal.Kind == table.JournalServing }

// turns collects turns from a board's events.
type turns struct {
	b     *board.Board
	m     table.Map
	open  bool
	now   Turn
	ended func(Turn)
}

func newTurns(b *board.Board, ended func(Turn)) *turns {
	m, _ := table.MapFor(len(b.MCU().EEPROM()))
	return &turns{b: b, m: m, ended: ended}
}

func (t *turns) see(e board.Event) {
	switch e.Kind {
	case board.TurnStarted:
		t.open = true
		t.now = Turn{Start: t.b.Time(e.At)}
		t.now.Journal, t.now.Recorded = table.NewestJournal(t.b.MCU().EEPROM(), t.m)
	case board.PocketFell:
		t.now.Pockets++
		t.now.Milligrams += e.Value
	case board.TurnEnded:
		if t.open {
			t.open = false
			t.now.End = t.b.Time(e.At)
			t.ended(t.now)
		}
	}
}
