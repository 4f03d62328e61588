// Package rehearsal rehearses a table on the firmware made for its board, while its owner does something else.
//
// In: a table, years. Out: how far it has come, in minutes of the feeder's time; at its end what was found. It uses the processor for a few
// seconds and nothing else.
package rehearsal

import (
	"fmt"
	"sync/atomic"
	"time"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/emulator/avr"
	"mealtab/emulator/scenario"
)

// Running is a rehearsal that goes on.
type Running struct {
	from, to table.Minute
	at       atomic.Int64 // the minute it has come to
	over     chan struct{}
	text     string
	err      error
}

// Start rehearses a table for some years from the day before its first; 0 years: not at all. firmware finds the image made for a board.
func Start(tab []byte, years int, firmware func(board string) (*avr.Image, error)) *Running {
	t := &Running{over: make(chan struct{})}
	if years == 0 {
		return t.end("", nil)
	}
	r, err := prepare(tab, years, firmware)
	if err != nil {
		return t.end("", err)
	}
	if r == nil {
		return t.end("not rehearsed: no emulated board is like the one that the table is for\n", nil)
	}
	t.run(r)
	return t
}

// Pending is one that ends as and when its caller says; for tests.
func Pending() (t *Running, end func(text string, err error)) {
	t = &Running{over: make(chan struct{})}
	return t, func(text string, err error) { t.end(text, err) }
}

func (t *Running) end(text string, err error) *Running {
	t.text, t.err = text, err
	close(t.over)
	return t
}

// rehearsal is what is to be rehearsed; nil: the table is for a board of which there is no emulation.
func prepare(tab []byte, years int, firmware func(string) (*avr.Image, error)) (*scenario.Rehearsal, error) {
	decoded, err := table.Decode(tab)
	if err != nil {
		return nil, err
	}
	b, known := profile.ByCode(decoded.Board)
	if !known {
		return nil, nil
	}
	img, err := firmware(b.Name)
	if err != nil {
		return nil, fmt.Errorf("the firmware for %s to rehearse with: %w", b.Name, err)
	}
	return &scenario.Rehearsal{Table: tab, Board: b, Years: years, Firmware: img, From: DayBefore(decoded)}, nil
}

// DayBefore is midnight of the day before the table's first, at which nothing is served.
func DayBefore(t *table.Table) table.Minute {
	return table.Minute(max(int(t.Start)-1, 0)) * table.MinutesPerDay
}

func (t *Running) run(r *scenario.Rehearsal) {
	t.from, t.to = r.From, r.From
	decoded, _ := table.Decode(r.Table)
	windows, _ := r.Extent(decoded)
	t.to += scenario.Length(windows)
	t.at.Store(int64(r.From))
	r.Progress = func(m table.Minute) {
		if int64(m) > t.at.Load() {
			t.at.Store(int64(m))
		}
	}
	go func() {
		report, err := scenario.Rehearse(*r)
		if err != nil {
			t.end("", fmt.Errorf("the firmware does not serve what the table says; nothing was put in force\n%w", err))
			return
		}
		t.end(summary(r.Years, report), nil)
	}()
}

// summary says how far a rehearsal went.
func summary(years int, r *scenario.Report) string {
	span := "through " + units.Count(years, "year")
	if r.Left != (scenario.Window{}) {
		span = fmt.Sprintf("to %s, the day of serving %s, and no further", (r.Left.From - 1).Time().Format(time.DateOnly), units.Thousands(r.Servings))
	}
	return fmt.Sprintf("rehearsed on the firmware %s: %s as replayed\n", span, units.Count(r.Servings, "serving"))
}

// Span is the feeder's time that is rehearsed: windows laid end to end from the first.
func (t *Running) Span() (from, to table.Minute) { return t.from, t.to }

// At is the minute it has come to.
func (t *Running) At() table.Minute { return table.Minute(t.at.Load()) }

// Over is closed at its end.
func (t *Running) Over() <-chan struct{} { return t.over }

// Result waits for the end and says in a line what was found; "": nobody wanted to know. The error says what the firmware did instead.
func (t *Running) Result() (text string, err error) {
	<-t.over
	return t.text, t.err
}

// Wait is Result that calls show from time to time meanwhile.
func (t *Running) Wait(every time.Duration, show func(at table.Minute)) (text string, err error) {
	redraw := time.NewTicker(every)
	defer redraw.Stop()
	for {
		select {
		case <-t.over:
			return t.text, t.err
		case <-redraw.C:
			show(t.At())
		}
	}
}
