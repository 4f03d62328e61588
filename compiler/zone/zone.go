// Package zone knows what time it is where: it reads IANA time zone data and turns local times into
// instants and back.
//
// In: TZif files (RFC 9636, formerly RFC 8536) from the program itself, the system or a directory of the
// user's choice. Out: offsets in seconds east of UTC, transitions, and the POSIX TZ rule of the footer.
// Instants are Unix seconds. A nominal local time is the number of seconds from 1970-01-01T00:00:00 to the
// wall clock reading, as if there were no zone; RFC 5545 §3.3.5 rules what a nominal time means when the
// clocks skip or repeat it.
//
// Go's package time has a reader too, but it does not promise which of the two readings it takes in a gap or
// an overlap, does not say which release of the data it read, and does not show the footer.
package zone

import (
	"fmt"
	"sync/atomic"

	"mealtab/compiler/zone/internal/tzif"
)

// Horizon is 2101-01-01T00:00:00Z. Transitions and Differs look no further; At and Resolve do.
const Horizon = 4133980800

// Offset is the difference between local time and UTC, with its designation.
type Offset struct {
	Seconds int    // east of UTC
	Abbrev  string // "CEST", "+0545"; "-00" where the data do not know
	DST     bool   // as the data have it: Europe/Dublin's winter time is "DST"
}

// Transition is an instant at which the offset changes in seconds, not only in name.
type Transition struct {
	At            int64 // Unix seconds; After holds from here on
	Before, After Offset
}

// Zone is one time zone of one release of the data. It may be used from several goroutines.
type Zone struct {
	name    string
	version string
	footer  Footer
	footed  bool // footer is present
	spans   spans
	// laidUntil is the last instant for which spans is complete; later, the footer's daylight-saving rule is
	// evaluated on demand. It is never when there is no such rule.
	laidUntil int64
	recent    atomic.Uint32 // index into spans of the last answer: most questions come in order
}

// Parse reads the zone called name from the bytes of a TZif file; version is the release they come from.
func Parse(name, version string, file []byte) (*Zone, error) {
	data, err := tzif.Parse(file)
	if err != nil {
		return nil, fmt.Errorf("time zone %s: %w", name, err)
	}
	z := &Zone{name: name, version: version, laidUntil: never}
	if data.Footer != "" {
		if z.footer, err = ParseFooter(data.Footer); err != nil {
			return nil, fmt.Errorf("time zone %s: footer: %w", name, err)
		}
		z.footed = true
	}
	if err := z.build(data); err != nil {
		return nil, fmt.Errorf("time zone %s: %w", name, err)
	}
	return z, nil
}

// UTC returns the zone that is always at offset 0.
func UTC() *Zone {
	utc := Offset{Abbrev: "UTC"}
	z := &Zone{name: "UTC", version: "none needed", laidUntil: never, footed: true}
	z.footer = Footer{Text: "UTC0", Std: utc}
	z.spans.add(always, utc)
	z.spans.finish()
	return z
}

// Name returns the name under which the zone was loaded.
func (z *Zone) Name() string { return z.name }

// Version returns the release of the data, such as "2026f".
func (z *Zone) Version() string { return z.version }

// Footer returns the rule for all time after the last transition of the file; false when the file has none,
// and the last offset stays.
func (z *Zone) Footer() (Footer, bool) { return z.footer, z.footed }

// At returns the offset in force at the instant unix.
func (z *Zone) At(unix int64) Offset {
	if unix > z.laidUntil {
		return z.footer.At(unix)
	}
	i := int(z.recent.Load())
	if !z.spans.contains(i, unix) {
		i = z.spans.find(unix)
		z.recent.Store(uint32(i))
	}
	return z.spans.offsets[i]
}

// Transitions returns the changes of offset with from <= At < to, in order, up to Horizon.
func (z *Zone) Transitions(from, to int64) []Transition {
	s := &z.spans
	to = min(to, Horizon)
	first := max(s.find(from), 1)
	out := make([]Transition, 0, max(s.find(to)-first+1, 0))
	for i := first; i < len(s.starts) && s.starts[i] < to; i++ {
		t := Transition{At: s.starts[i], Before: s.offsets[i-1], After: s.offsets[i]}
		if t.At >= from && t.Before.Seconds != t.After.Seconds {
			out = append(out, t)
		}
	}
	return out
}

// Differs reports the first instant in [from, to) at which the offsets of a and b differ, up to Horizon. It
// is what tells whether newer data change anything for a table that was compiled with older data.
func Differs(a, b *Zone, from, to int64) (first int64, differs bool) {
	to = min(to, Horizon)
	if from >= to {
		return 0, false
	}
	if a.At(from).Seconds != b.At(from).Seconds {
		return from, true
	}
	// Equal at from, they can part only where one of them changes.
	ta, tb := a.Transitions(from, to), b.Transitions(from, to)
	for i := 0; i < len(ta) && i < len(tb); i++ {
		if ta[i].At != tb[i].At || ta[i].After.Seconds != tb[i].After.Seconds {
			return min(ta[i].At, tb[i].At), true
		}
	}
	switch n := min(len(ta), len(tb)); {
	case n < len(ta):
		return ta[n].At, true
	case n < len(tb):
		return tb[n].At, true
	}
	return 0, false
}
