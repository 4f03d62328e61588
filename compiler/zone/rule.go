package zone

import (
	"cmp"
	"slices"
)

// Footer is a POSIX TZ string (POSIX.1-2017 §8.3, extended by RFC 9636 §3.3.1): what holds after a file's
// last transition.
type Footer struct {
	Text string
	Std  Offset
	DST  *FooterDST // nil: no daylight saving
}

// FooterDST is the daylight-saving half of a Footer.
type FooterDST struct {
	Offset     Offset
	Start, End FooterRule // Start is read on the standard clock, End on the daylight-saving one
}

// FooterRule names a day of every year and a time on it.
//
//	'M'  Month 1–12, Week 1–5 (5 = last), Day 0–6 (Sunday = 0)
//	'J'  Day 1–365; 29 February is never counted
//	'n'  Day 0–365; 29 February is counted
type FooterRule struct {
	Kind             byte
	Month, Week, Day int
	Seconds          int // wall clock seconds after midnight, −167 h to 167 h
}

// dayOf returns the zero-based day of the year.
func (r FooterRule) dayOf(year int64) int {
	switch r.Kind {
	case 'J':
		if isLeap(year) && r.Day >= 60 { // day 60 is always 1 March
			return r.Day
		}
		return r.Day - 1
	case 'n':
		return r.Day
	}
	start, length := month(year, r.Month)
	day := (r.Day-weekdayOf(year, start)+7)%7 + 7*(r.Week-1)
	if day >= length { // week 5 is the last, which may be the fourth
		day -= 7
	}
	return start + day
}

// instant returns the rule's Unix time in a year whose clock is offset seconds east of UTC until then.
func (r FooterRule) instant(year int64, offset int) int64 {
	return startOfYear(year) + int64(r.dayOf(year))*secondsPerDay + int64(r.Seconds-offset)
}

// event is a rule come true: at the instant at, daylight saving begins or ends.
type event struct {
	at  int64
	dst bool
}

// offsetAfter returns the offset from e on.
func (f *Footer) offsetAfter(e event) Offset {
	if e.dst {
		return f.DST.Offset
	}
	return f.Std
}

// eventsOf returns the two changes of a year in order. When they coincide, daylight saving wins, so that
// a rule from 1 January 00:00 to 31 December 24:00 means all the year (RFC 9636 §3.3.1, "XXX3EDT4,0/0,J365/23").
func (f *Footer) eventsOf(year int64) [2]event {
	start := event{f.DST.Start.instant(year, f.Std.Seconds), true}
	end := event{f.DST.End.instant(year, f.DST.Offset.Seconds), false}
	if start.at < end.at {
		return [2]event{start, end}
	}
	return [2]event{end, start}
}

// events returns the changes of the years from first to last in order.
func (f *Footer) events(first, last int64) []event {
	events := make([]event, 0, 2*(last-first+1))
	for year := first; year <= last; year++ {
		e := f.eventsOf(year)
		events = append(events, e[0], e[1])
	}
	// Rules up to 167 h away from their day can overtake those of the next year.
	byInstant := func(a, b event) int { return cmp.Compare(a.at, b.at) }
	if !slices.IsSortedFunc(events, byInstant) {
		slices.SortStableFunc(events, byInstant)
	}
	return events
}

// At returns the offset the rule gives at the instant unix, whatever the file says.
func (f *Footer) At(unix int64) Offset {
	if f.DST == nil {
		return f.Std
	}
	s := f.spansAround(unix)
	return s.offsets[s.find(unix)]
}

// NextAfter returns the first instant after unix at which the rule changes the offset, math.MaxInt64 if it
// never does.
func (f *Footer) NextAfter(unix int64) int64 {
	if f.DST == nil {
		return never
	}
	s := f.spansAround(unix)
	i := s.find(unix) + 1
	if i == len(s.starts) || f.At(s.starts[i]) == s.offsets[i-1] { // the edge of the layout is no change
		return never
	}
	return s.starts[i]
}

// spansAround lays out the rule from a year before unix to a year after. Far outside the years that
// RFC 9636 can express, time is taken to stand still.
func (f *Footer) spansAround(unix int64) *spans {
	year := yearOf(min(max(unix, earliest), latest))
	events := f.events(year-1, year+1)
	var s spans
	s.add(always, f.offsetAfter(event{dst: !events[0].dst}))
	for _, e := range events {
		s.add(e.at, f.offsetAfter(e))
	}
	s.finish()
	return &s
}
