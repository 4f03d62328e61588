package ical

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Zone is a time zone as a VTIMEZONE describes it (RFC 5545 §3.6.5).
type Zone struct {
	ID          string
	Observances []Observance // in order of their first onset
}

// Observance is one STANDARD or DAYLIGHT: a change of the clocks, with all its repetitions.
type Observance struct {
	DST      bool
	Name     string      // TZNAME, "WEST"
	From, To int         // offsets before and after, seconds east of UTC
	Onsets   []time.Time // nominal local times by the offset before; the first is DTSTART
	Rule     string      // RRULE of further onsets; may be empty
}

// Zone writes a VTIMEZONE. Every TZID of a calendar needs one (RFC 5545 §3.2.19).
func (c *Writer) Zone(z Zone) {
	const local = "20060102T150405"
	c.Line("BEGIN", "VTIMEZONE")
	c.Line("TZID", z.ID)
	for _, o := range z.Observances {
		kind := "STANDARD"
		if o.DST {
			kind = "DAYLIGHT"
		}
		c.Line("BEGIN", kind)
		c.Line("DTSTART", o.Onsets[0].Format(local))
		c.Line("TZOFFSETFROM", formatOffset(o.From))
		c.Line("TZOFFSETTO", formatOffset(o.To))
		if o.Rule != "" {
			c.Line("RRULE", o.Rule)
		}
		var more []string
		for _, t := range o.Onsets[1:] {
			more = append(more, t.Format(local))
		}
		if more != nil {
			c.Line("RDATE", strings.Join(more, ","))
		}
		c.Text("TZNAME", o.Name)
		c.Line("END", kind)
	}
	c.Line("END", "VTIMEZONE")
}

// formatOffset is RFC 5545 §3.3.14: "+0100", with seconds only where there are any.
func formatOffset(seconds int) string {
	sign := "+"
	if seconds < 0 {
		sign, seconds = "-", -seconds
	}
	text := fmt.Sprintf("%s%02d%02d", sign, seconds/3600, seconds/60%60)
	if seconds%60 != 0 {
		text += fmt.Sprintf("%02d", seconds%60)
	}
	return text
}

// Offset reads a UTC-OFFSET value (RFC 5545 §3.3.14), "+0100" or "-003000", as seconds east.
func Offset(s string) (int, error) {
	bad := fmt.Errorf("%q is not an offset; +0100 is one", s[:min(len(s), 12)])
	if len(s) != 5 && len(s) != 7 || s[0] != '+' && s[0] != '-' {
		return 0, bad
	}
	n, err := strconv.ParseUint((s[1:] + "00")[:6], 10, 31)
	hours, minutes, seconds := int(n)/10000, int(n)/100%100, int(n)%100
	if err != nil || hours > 23 || minutes > 59 || seconds > 59 {
		return 0, bad
	}
	if s[0] == '-' {
		return -(hours*3600 + minutes*60 + seconds), nil
	}
	return hours*3600 + minutes*60 + seconds, nil
}
