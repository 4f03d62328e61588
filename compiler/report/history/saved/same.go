package saved

import (
	"fmt"

	"mealtab/compiler/table"
)

// Stranger is a reading that is not, or cannot be shown to be, of the feeder whose history a log is.
type Stranger struct {
	Log, Other Feeder
	Why        string
	Certain    bool // it is another feeder; false: nothing shows that it is the same
}

func (e *Stranger) Error() string {
	if e.Certain {
		return fmt.Sprintf("the file is the history of %s, and this is another feeder, %s: %s", e.Log.words(), e.Other.words(), e.Why)
	}
	return fmt.Sprintf("the file is the history of %s; nothing shows that this feeder, %s, is the same: %s", e.Log.words(), e.Other.words(), e.Why)
}

func (f Feeder) words() string {
	name := "one without a name"
	if f.Name != "" {
		name = fmt.Sprintf("%q", f.Name)
	}
	return fmt.Sprintf("%s (board code %d)", name, f.Board)
}

// Same reports, as a [*Stranger], why a reading is not to be merged into a log; nil: both are of one feeder. Records that both have prove it, whatever
// the name is now. Without one the rest must speak for it: another name, another board, or servings in a time that the log has records of speak
// against it, the same name or the same table for it.
func Same(l, reading *Log) *Stranger {
	if l.Records() == 0 || reading.Records() == 0 {
		return named(l, reading, l.Records() == 0 && len(l.Runs) == 0)
	}
	for _, a := range l.Runs {
		for _, b := range reading.Runs {
			if _, ok := overlap(a.Records, b.Records); ok && len(a.Records)+len(b.Records) > 0 {
				return nil
			}
		}
	}
	for _, a := range l.Runs {
		for _, b := range reading.Runs {
			if at, clash := clashes(a.Records, b.Records); clash {
				return &Stranger{l.Feeder, reading.Feeder, "it remembers servings of " + at.Time().Format("2006-01-02 15:04 UTC") +
					", of which the file has others", true}
			}
		}
	}
	return named(l, reading, false)
}

// named goes by names, boards and tables alone.
func named(l, reading *Log, empty bool) *Stranger {
	f, g := l.Feeder, reading.Feeder
	switch {
	case empty:
		return nil
	case f.Board != g.Board:
		return &Stranger{f, g, "they have other boards, and no record in common", false}
	case f.Name != "" && g.Name != "" && f.Name != g.Name:
		return &Stranger{f, g, "they have other names, and no record in common", false}
	case f.Name != "" && f.Name == g.Name:
		return nil
	}
	for _, t := range reading.Tables {
		if l.Table(t.Key()) != nil {
			return nil
		}
	}
	return &Stranger{f, g, "there is no record in common, no name, and another table is in force", false}
}

// clashes finds a serving of b in a time in which a has no gap. Where a clock was set, times say nothing.
func clashes(a, b []table.History) (at table.Minute, clash bool) {
	first, last, ok := served(a)
	if !ok || !keepsTime(a) || !keepsTime(b) {
		return 0, false
	}
	for _, h := range b {
		if h.Event == table.EventServed && h.At > first && h.At < last {
			return h.At, true
		}
	}
	return 0, false
}

// keepsTime reports whether the clock was never set by more than some minutes.
func keepsTime(list []table.History) bool {
	const most = 600 // seconds
	for _, h := range list {
		if h.Event == table.EventClockSet && (int16(h.Value) > most || int16(h.Value) < -most) || h.Event == table.EventClockLost {
			return false
		}
	}
	return true
}

func served(list []table.History) (first, last table.Minute, ok bool) {
	for _, h := range list {
		if h.Event == table.EventServed {
			if !ok {
				first = h.At
			}
			last, ok = h.At, true
		}
	}
	return first, last, ok
}
