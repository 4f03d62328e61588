package scenario

import (
	"fmt"
	"time"

	"mealtab/compiler/table"
)

// Local is the local time that a table carries: FORMAT.md, "Local time".
type Local struct{ zone *table.Zone }

// NewLocal is the local time of a table's zone.
func NewLocal(z *table.Zone) Local { return Local{z} }

// Offset is the distance from UTC at an instant, east positive.
func (l Local) Offset(u table.Minute) table.Minute {
	for _, g := range l.zone.Overrides {
		for _, s := range g.Spans {
			if s.Start <= u && u < s.End {
				return quarter * table.Minute(g.Offset)
			}
		}
	}
	standard := quarter * table.Minute(l.zone.Standard)
	d := l.zone.DST
	if d == nil {
		return standard
	}
	shift := quarter * table.Minute(d.Shift)
	year := timeOf(u + standard).Year()
	start, end := transition(year, d.Start)-standard, transition(year, d.End)-standard-shift
	if start < end && start <= u && u < end || start >= end && !(end <= u && u < start) {
		return standard + shift
	}
	return standard
}

const quarter = 15

// transition is the wall-clock minute of a change in a year.
func transition(year int, t table.Transition) table.Minute {
	first := time.Date(year, time.Month(t.Month), 1, 0, 0, 0, 0, time.UTC)
	ahead := (t.Weekday - int(first.Weekday()+6)%7 + 7) % 7
	date := first.AddDate(0, 0, ahead+7*(t.Week-1))
	for date.Month() != first.Month() {
		date = date.AddDate(0, 0, -7)
	}
	return minuteOf(date) + table.Minute(t.Minutes)
}

// Resolve gives the instant of a local time: one in a gap at the offset before it, one that happens twice the first time
// (RFC 5545 section 3.3.5).
func (l Local) Resolve(nominal table.Minute) table.Minute {
	const day = table.MinutesPerDay
	before, after := l.Offset(nominal-day), l.Offset(nominal+day)
	for _, o := range []table.Minute{before, after} {
		if l.Offset(nominal-o) == o {
			return nominal - o
		}
	}
	return nominal - before
}

// At shows an instant in local time.
func (l Local) At(t time.Time) time.Time {
	o := int(l.Offset(minuteOf(t)))
	return t.In(time.FixedZone(offsetName(o), o*60))
}

func offsetName(minutes int) string {
	if minutes == 0 {
		return "UTC"
	}
	sign := '+'
	if minutes < 0 {
		sign, minutes = '-', -minutes
	}
	if minutes%60 == 0 {
		return fmt.Sprintf("UTC%c%d", sign, minutes/60)
	}
	return fmt.Sprintf("UTC%c%d:%02d", sign, minutes/60, minutes%60)
}
