package serving

import (
	"fmt"
	"strings"
	"time"

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

// tableClock is the zone of a table: its yearly rule in the notation of POSIX, and the spans in which another offset
// holds. A table has no names for its offsets; they are shown as "UTC+1".
type tableClock struct {
	footer zone.Footer
	spans  []span
}

type span struct {
	from, to int64 // Unix seconds
	offset   zone.Offset
}

const quarter = 15 * 60 // seconds

// newTableClock reads the zone of a decoded table.
func newTableClock(t *table.Zone) (Clock, error) {
	footer, err := zone.ParseFooter(posix(t))
	if err != nil {
		return nil, fmt.Errorf("the table's zone: %w", err)
	}
	c := &tableClock{footer: footer}
	for _, g := range t.Overrides {
		for _, s := range g.Spans {
			c.spans = append(c.spans, span{unix(s.Start), unix(s.End), named(quarter * int(g.Offset))})
		}
	}
	return c, nil
}

func unix(m table.Minute) int64 { return table.Epoch + 60*int64(m) }

func (c *tableClock) At(unix int64) zone.Offset {
	for _, s := range c.spans {
		if s.from <= unix && unix < s.to {
			return s.offset
		}
	}
	return named(c.footer.At(unix).Seconds)
}

// Resolve is RFC 5545 §3.3.5: of the instants at which a clock shows a time the first; where there is none, that of the
// offset before the gap. A day is farther than any zone is from UTC.
func (c *tableClock) Resolve(nominal int64) (int64, zone.Kind) {
	const day = 86400
	before, after := int64(c.At(nominal-day).Seconds), int64(c.At(nominal+day).Seconds)
	early, late := nominal-before, nominal-after
	earlyShows := int64(c.At(early).Seconds) == before
	lateShows := int64(c.At(late).Seconds) == after
	switch {
	case before == after:
		return early, zone.Unique
	case earlyShows && lateShows:
		return min(early, late), zone.Overlap
	case lateShows:
		return late, zone.Unique
	case earlyShows:
		return early, zone.Unique
	}
	return early, zone.Gap
}

func named(seconds int) zone.Offset {
	return zone.Offset{Seconds: seconds, Abbrev: "UTC" + shortOffset(seconds)}
}

// shortOffset is "+1", "-3:30", or nothing for UTC itself.
func shortOffset(seconds int) string {
	if seconds == 0 {
		return ""
	}
	sign, minutes := "+", seconds/60
	if minutes < 0 {
		sign, minutes = "-", -minutes
	}
	if minutes%60 == 0 {
		return fmt.Sprintf("%s%d", sign, minutes/60)
	}
	return fmt.Sprintf("%s%d:%02d", sign, minutes/60, minutes%60)
}

// posix writes a table's yearly rule as a POSIX TZ string, whose offsets count west.
func posix(t *table.Zone) string {
	var b strings.Builder
	standard := quarter * int(t.Standard)
	b.WriteString("<std>" + clockText(-standard))
	if d := t.DST; d != nil {
		b.WriteString("<dst>" + clockText(-standard-quarter*int(d.Shift)))
		for _, x := range []table.Transition{d.Start, d.End} {
			sunday := (x.Weekday + 1) % 7 // POSIX counts from Sunday
			fmt.Fprintf(&b, ",M%d.%d.%d/%s", x.Month, x.Week, sunday, clockText(60*x.Minutes))
		}
	}
	return b.String()
}

// clockText is "-1:30:00" for -5400 seconds.
func clockText(seconds int) string {
	sign := ""
	if seconds < 0 {
		sign, seconds = "-", -seconds
	}
	return fmt.Sprintf("%s%d:%02d:%02d", sign, seconds/3600, seconds/60%60, seconds%60)
}
