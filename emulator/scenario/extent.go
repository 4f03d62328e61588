package scenario

import (
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
)

// How much a rehearsal runs unless it is told otherwise: with the day in which either is reached it ends. Ten years of a
// household's meals are far below; a table that serves every minute would take minutes of a processor's time.
const (
	MostServings = 100_000
	// PocketsPerServing is how many pockets are emulated in the time of a serving, about.
	PocketsPerServing = 3
)

// Extent says what a rehearsal runs of the table, and from when to when it leaves out what it was asked for; left is empty
// where it runs all.
func (r *Rehearsal) Extent(t *table.Table) (windows []Window, left Window) {
	windows = Windows(t, r.From, r.Years, r.Full)
	if r.Until != 0 {
		windows = clip(windows, r.Until)
	}
	if until, reached := r.limit(t, windows); reached {
		if end := windows[len(windows)-1].To; until < end {
			return clip(windows, until), Window{until, end}
		}
	}
	return windows, Window{}
}

// Length is the time in windows.
func Length(windows []Window) (minutes table.Minute) {
	for _, w := range windows {
		minutes += w.To - w.From
	}
	return minutes
}

// limit is the end of the day in which the rehearsal has run its most servings or pockets.
func (r *Rehearsal) limit(t *table.Table, windows []Window) (until table.Minute, reached bool) {
	most := r.Servings
	if most == 0 {
		most = MostServings
	}
	servings, pockets := 0, 0
	for _, w := range windows {
		for c := servedIn(t, w); ; {
			s, more := c.Next()
			if !more {
				break
			}
			servings++
			if pockets += s.Pockets(); servings >= most || pockets >= most*PocketsPerServing {
				return (s.At/table.MinutesPerDay + 1) * table.MinutesPerDay, true
			}
		}
	}
	return 0, false
}

// servedIn replays a window as a feeder serves it that starts there for the first time: nothing up to and including that
// minute, and of several presets the first.
func servedIn(t *table.Table, w Window) *replay.Cursor {
	preset := replay.AllPresets
	if t.Presets > 0 {
		preset = 0
	}
	return replay.New(t, replay.Options{From: w.From + 1, To: w.To, Preset: preset})
}
