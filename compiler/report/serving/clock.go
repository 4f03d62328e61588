package serving

import (
	"time"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// Clock gives the local time of an instant: a [zone.Zone], or the zone that a table carries.
type Clock interface {
	At(unix int64) zone.Offset
	Resolve(nominal int64) (unix int64, kind zone.Kind)
}

// Local is an instant by a clock, in a location that shows the offset's name.
func Local(c Clock, at time.Time) time.Time { return inOffset(at, c.At(at.Unix())) }

func inOffset(at time.Time, o zone.Offset) time.Time {
	return at.In(time.FixedZone(o.Abbrev, o.Seconds))
}

// tableClock is the zone that a table carries.
type tableClock struct{ replay.Clock }

// TableClock is the zone of a table.
func TableClock(t *table.Table) Clock { return newTableClock(&t.Zone) }

func newTableClock(t *table.Zone) Clock { return tableClock{replay.NewClock(t)} }

func (c tableClock) At(unix int64) zone.Offset {
	seconds := 60 * int(c.Offset(table.MinuteOf(unix)))
	return zone.Offset{Seconds: seconds, Abbrev: replay.OffsetName(seconds)}
}

// Resolve tells a gap from the rest, but not a time that comes twice from one that comes once.
func (c tableClock) Resolve(nominal int64) (int64, zone.Kind) {
	minute := table.MinuteOf(nominal)
	at, shown := c.Clock.Resolve(minute)
	kind := zone.Unique
	if !shown {
		kind = zone.Gap
	}
	return at.Unix() + nominal - minute.Unix(), kind
}
