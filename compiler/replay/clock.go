package replay

import (
	"fmt"
	"slices"
	"time"

	"mealtab/compiler/table"
)

// Clock is the local time that a table carries (FORMAT.md, "Local time"). A table has no names for its offsets: they are
// called "UTC+1". A Clock may be used from several goroutines.
type Clock struct{ zone zone }

// NewClock is the clock of a table's zone.
func NewClock(t *table.Zone) Clock { return Clock{newZone(t)} }

// Offset is the distance from UTC at an instant, in minutes, east positive.
func (c Clock) Offset(at table.Minute) table.Minute { return c.zone.at(at) }

// Resolve gives the instant of a local time: of two the first; where there is none, that of the offset before the gap
// (RFC 5545 section 3.3.5). Shown is false for a time in a gap.
func (c Clock) Resolve(nominal table.Minute) (at table.Minute, shown bool) {
	return c.zone.search(nominal)
}

// At shows an instant in local time.
func (c Clock) At(at time.Time) time.Time {
	seconds := 60 * int(c.Offset(table.MinuteOf(at.Unix())))
	return at.In(time.FixedZone(OffsetName(seconds), seconds))
}

// Changes lists the instants from one to before another at which the offset may change, in no order.
func (c Clock) Changes(from, to table.Minute) []table.Minute {
	const week = 7 * table.MinutesPerDay // farther than a change is from the date by which it is named
	c.zone.breaks = nil
	c.zone.collect(from-week, to+week)
	return slices.DeleteFunc(c.zone.breaks, func(at table.Minute) bool { return at < from || at >= to })
}

// OffsetName is "UTC+1", "UTC-3:30", or "UTC" for an offset in seconds.
func OffsetName(seconds int) string {
	sign, minutes := '+', seconds/60
	if minutes < 0 {
		sign, minutes = '-', -minutes
	}
	switch {
	case minutes == 0:
		return "UTC"
	case minutes%60 == 0:
		return fmt.Sprintf("UTC%c%d", sign, minutes/60)
	}
	return fmt.Sprintf("UTC%c%d:%02d", sign, minutes/60, minutes%60)
}
