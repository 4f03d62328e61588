// Package forecast looks at food as it leaves the hopper: when it will be empty, and what the wheel gives against what the
// plan says.
//
// In: a compiled table with weights, what is in the hopper, and an instant. Out: a [Forecast] (last whole serving, days,
// when to refill) and [Portions] (per meal, day and month, in milligrams and pockets). Everything follows from the replay of
// the table from its beginning, because the remainder of a portion is carried from serving to serving; whole pockets leave
// the hopper, so pockets are what is counted.
package forecast

import (
	"fmt"
	"time"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// Input is a hopper at some time.
type Input struct {
	Table  *table.Table
	Left   units.Milligrams // in the hopper now
	Full   bool             // nothing more goes in: no reminder before the first serving
	From   table.Minute     // now
	Preset int              // in force; replay.AllPresets where there are none
	Until  table.Minute     // at which that preset ends and the first is in force again; 0: never. See [replay.PresetEnd]
	Adjust int              // portion in tenths, as the portion button sets it; 0 means 10
	// Local gives the clock on the wall, as minutes east of UTC; nil: UTC.
	Local func(table.Minute) int
}

// Forecast is how long the food lasts.
type Forecast struct {
	Known    bool         // the table has weights
	Servings int          // that are whole
	First    table.Minute // of them
	Given    units.Milligrams
	Last     table.Minute // the last whole serving
	Empty    table.Minute // the serving for which there is not enough
	Refill   table.Minute // when to be reminded: a day and a half of food is left then
	Days     int          // local dates from now to Last
	Lasts    bool         // to the end of the table, or of what is looked at
}

// reserve is the food that should be left when the reminder comes: a day to notice it and half a day to act. A design
// judgement.
const reserve = 36 * 60 // minutes

// mostServings bounds a forecast: three a day for sixty years.
const mostServings = 66_000

// beforeAll lies before every instant that a date from 2000 on can mean.
const beforeAll = -2 * table.MinutesPerDay

// walk calls f with each serving from the beginning of the table on, until f returns false; over reports that there are no
// more, or that there have been too many from now on.
func (in Input) walk(f func(replay.Serving) bool) (over bool) {
	c := replay.New(in.Table, replay.Options{From: beforeAll, Preset: in.Preset, Until: in.Until, Adjust: in.Adjust})
	for n := 0; n < mostServings; {
		s, ok := c.Next()
		if !ok {
			return true
		}
		if !f(s) {
			return false
		}
		if s.At >= in.From {
			n++
		}
	}
	return true
}

// pocket is the mass in one pocket; 0: not known.
func pocket(t *table.Table) units.Milligrams {
	return units.Milligrams(t.Wheel.PocketMg())
}

// Predict says when the hopper is empty.
func Predict(in Input) Forecast {
	f := Forecast{Known: pocket(in.Table) > 0, Last: in.From}
	if !f.Known {
		return f
	}
	left := in.Left
	f.Lasts = in.walk(func(s replay.Serving) bool {
		if s.At < in.From {
			return true
		}
		take := units.Milligrams(s.Pockets()) * pocket(in.Table)
		if take > left {
			f.Empty = s.At
			return false
		}
		left -= take
		if f.Servings == 0 {
			f.First = s.At
		}
		f.Given += take
		f.Servings++
		f.Last = s.At
		return true
	})
	if !f.Lasts {
		f.Refill = max(in.From, f.Empty-reserve)
		if in.Full {
			f.Refill = max(f.Refill, f.First)
		}
	}
	f.Days = in.day(f.Last) - in.day(in.From)
	return f
}

// Planned is what the plan has given from in.From up to an instant, of food that is there without end.
func Planned(in Input, to table.Minute) (given units.Milligrams, servings int) {
	in.walk(func(s replay.Serving) bool {
		if s.At >= to {
			return false
		}
		if s.At >= in.From {
			given += units.Milligrams(s.Pockets()) * pocket(in.Table)
			servings++
		}
		return true
	})
	return given, servings
}

// Dates counts the local dates from one instant to another.
func (in Input) Dates(from, to table.Minute) int { return in.day(to) - in.day(from) }

// day is the local date of an instant, in days since 2000-01-01.
func (in Input) day(at table.Minute) int {
	local := int(at)
	if in.Local != nil {
		local += in.Local(at)
	}
	d := local / table.MinutesPerDay
	if local%table.MinutesPerDay < 0 {
		d--
	}
	return d
}

// Food in the hopper keeps its smell and its fat for about a week (common practice, no source); an opened bag for about six
// weeks (from memory).
const (
	freshDays = 7
	bagDays   = 42
)

// Freshness is a note on food that stays in the hopper for so many days; "" where there is nothing to say.
func Freshness(days int) string {
	if days <= freshDays {
		return ""
	}
	return fmt.Sprintf("%d days are long for food in a hopper: fill in what is eaten in 5 to 7 days, and empty, wash and dry the hopper in between", days)
}

// Bag is a note on the bag the food comes from; "" where it is still fresh.
func Bag(opened, now time.Time) string {
	days := int(now.Sub(opened).Hours() / 24)
	if days <= bagDays {
		return ""
	}
	return fmt.Sprintf("the bag was opened %d days ago: about six weeks are the limit for dry food", days)
}

// Served is what a feeder has given by its own history. A serving is recorded with all of its pockets before the wheel turns,
// so that the rest of one that was cut short is no more food; what was left out of one is taken back.
type Served struct {
	Planned, ByHand int // servings
	Missed          int // servings
	LeftOut         int // pockets
	Pockets         int // that fell
}

// Count adds up what happened from an instant on.
func Count(history []table.History, since table.Minute) (s Served) {
	for _, h := range history {
		if h.At < since {
			continue
		}
		switch h.Event {
		case table.EventServed:
			s.Planned++
			s.Pockets += int(h.Value)
		case table.EventManual:
			s.ByHand++
			s.Pockets += int(h.Value)
		case table.EventMissed:
			s.Missed += int(h.Value)
		case table.EventLeftOut:
			s.LeftOut += int(h.Value)
			s.Pockets -= int(h.Value)
		}
	}
	return s
}

// Mass is what so many pockets of a table hold; 0 where it has no weights.
func (s Served) Mass(t *table.Table) units.Milligrams {
	return units.Milligrams(max(0, s.Pockets)) * pocket(t)
}

// Left is what is in a hopper that held full at some instant, by the feeder's own history since. Never below zero. known is
// false where the table has no weights.
func Left(t *table.Table, full units.Milligrams, filled table.Minute, history []table.History) (left units.Milligrams, known bool) {
	return max(0, full-Count(history, filled).Mass(t)), pocket(t) > 0
}
