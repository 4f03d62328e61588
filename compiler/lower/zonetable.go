package lower

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"mealtab/compiler/plan"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// earliest is where a table's first local date may begin, east of Greenwich: at most 26 h before its epoch (RFC 8536 §3.2).
const earliest = table.Epoch - 26*3600

const (
	quarter       = 900 // seconds: a table counts offsets and override spans in quarter hours
	secondsPerDay = 86400
)

// ZoneTable encodes a zone for the instants from <= t < to, in Unix seconds: a standard offset, the daylight-saving
// rule of the data's footer, and override spans for the times at which the data have another offset than those
// two give. The result is exact; instants outside the range, and those before 2000, may have any offset.
//
// A footer's rule that a table cannot express (POSIX "J" and "n" days, seconds) is written out as spans, and
// so is everything where that takes fewer bytes than the rule.
//
// The error is that of data which are off the quarter hours, and says from when on they are not.
func ZoneTable(z *zone.Zone, from, to int64) (table.Zone, error) {
	w := window{from: max(from-from%quarter, earliest), to: to + (quarter-to%quarter)%quarter}
	if w.to <= w.from {
		w.to = w.from + quarter
	}
	w.first = z.At(w.from).Seconds
	transitions := z.Transitions(w.from+1, w.to)
	w.changes = make([]change, len(transitions))
	for i, t := range transitions {
		w.changes[i] = change{t.At, t.After.Seconds}
	}
	if err := w.onQuarters(z.Name()); err != nil {
		return table.Zone{}, err
	}
	t, err := w.encode(z)
	if err != nil {
		return table.Zone{}, fmt.Errorf("time zone %s: %w", z.Name(), err)
	}
	return t, nil
}

// change is an instant from which an offset holds; both in seconds.
type change struct {
	at     int64
	offset int
}

// window is what the data say about a range of time.
type window struct {
	from, to int64
	first    int // offset at from
	changes  []change
}

// onQuarters refuses offsets that a table cannot express, as local mean times are; none is left after 1972.
func (w *window) onQuarters(name string) error {
	const least, most = -64 * quarter, 63 * quarter
	for i, offset := 0, w.first; ; i++ {
		if offset%quarter != 0 || offset < least || offset > most {
			return fmt.Errorf("time zone %s: its offset of %d s is not a number of quarter hours from −16:00 to +15:45", name, offset)
		}
		if i == len(w.changes) {
			return nil
		}
		offset = w.changes[i].offset
	}
}

// encode takes the footer's rule, or the plain offset that leaves the fewest bytes of exceptions.
func (w *window) encode(z *zone.Zone) (table.Zone, error) {
	best, err := w.byFooter(z)
	if err == nil && len(best.Overrides) == 0 {
		return best, nil
	}
	for _, base := range w.plainBases() {
		t, plainErr := w.override(base)
		if err != nil || plainErr == nil && zoneSize(&t) < zoneSize(&best) {
			best, err = t, plainErr
		}
	}
	return best, err
}

var errFooter = errors.New("the rule of its data cannot be said in a table")

func (w *window) byFooter(z *zone.Zone) (table.Zone, error) {
	if f, ok := z.Footer(); ok {
		if base, ok := footerBase(&f); ok {
			return w.override(base)
		}
	}
	return table.Zone{}, errFooter
}

// plainBases are the offsets of the window, each without a rule.
func (w *window) plainBases() []table.Zone {
	bases := []table.Zone{{Standard: int8(w.first / quarter)}}
	for _, c := range w.changes {
		base := table.Zone{Standard: int8(c.offset / quarter)}
		if !slices.ContainsFunc(bases, func(b table.Zone) bool { return b.Standard == base.Standard }) {
			bases = append(bases, base)
		}
	}
	return bases
}

// footerBase is the footer in the table's terms; false when it has none for it.
func footerBase(f *zone.Footer) (table.Zone, bool) {
	t := table.Zone{Standard: int8(f.Std.Seconds / quarter)}
	if f.Std.Seconds%quarter != 0 || int(t.Standard)*quarter != f.Std.Seconds || t.Standard < -64 || t.Standard > 63 {
		return table.Zone{}, false
	}
	if f.DST == nil {
		return t, true
	}
	shift := f.DST.Offset.Seconds - f.Std.Seconds
	start, startOK := footerTransition(f.DST.Start)
	end, endOK := footerTransition(f.DST.End)
	if !startOK || !endOK || shift%quarter != 0 || shift == 0 || shift < -96*quarter || shift > 96*quarter {
		return table.Zone{}, false
	}
	t.DST = &table.DST{Shift: int8(shift / quarter), Start: start, End: end}
	return t, t.DST.Apart()
}

// footerTransition also turns POSIX's weekdays, from Sunday = 0, into the table's, from Monday = 0.
func footerTransition(r zone.FooterRule) (table.Transition, bool) {
	const least, most = -8192 * 60, 8191 * 60 // a table's rule times have 14 bits of minutes
	ok := r.Kind == 'M' && r.Seconds%60 == 0 && r.Seconds >= least && r.Seconds <= most
	return table.Transition{Month: r.Month, Week: r.Week, Weekday: (r.Day + 6) % 7, Minutes: r.Seconds / 60}, ok
}

// override adds to base the spans in which the data have another offset.
func (w *window) override(base table.Zone) (table.Zone, error) {
	rule, offset, err := w.ruleChanges(&base)
	if err != nil {
		return base, err
	}
	var spans []override
	data, real := w.changes, w.first
	for at := w.from; at < w.to; {
		next := w.to
		if len(data) > 0 {
			next = min(next, data[0].at)
		}
		if len(rule) > 0 {
			next = min(next, rule[0].at)
		}
		if real != offset {
			spans = appendSpan(spans, override{at, next, real})
		}
		data, real = advance(data, next, real)
		rule, offset = advance(rule, next, offset)
		at = next
	}
	base.Overrides, err = group(spans)
	return base, err
}

// advance passes the changes up to and including the instant at.
func advance(changes []change, at int64, offset int) ([]change, int) {
	for len(changes) > 0 && changes[0].at <= at {
		offset = changes[0].offset
		changes = changes[1:]
	}
	return changes, offset
}

// override is a span of Unix time with its offset in seconds.
type override struct {
	start, end int64
	offset     int
}

// appendSpan joins spans that touch: the rule changes inside one without effect.
func appendSpan(spans []override, s override) []override {
	if n := len(spans); n > 0 && spans[n-1].end == s.start && spans[n-1].offset == s.offset {
		spans[n-1].end = s.end
		return spans
	}
	return append(spans, s)
}

// group sorts spans by offset, as a table stores them.
func group(spans []override) ([]table.OverrideGroup, error) {
	var groups []table.OverrideGroup
	var off int64 // the last bound that is off the quarter hours
	index := map[int]int{}
	for _, s := range spans {
		for _, bound := range [2]int64{s.start, s.end} {
			if bound%quarter != 0 {
				off = bound
			}
		}
		i, known := index[s.offset]
		if !known {
			i = len(groups)
			index[s.offset] = i
			groups = append(groups, table.OverrideGroup{Offset: int8(s.offset / quarter)})
		}
		groups[i].Spans = append(groups[i].Spans, table.Span{Start: table.MinuteOf(s.start), End: table.MinuteOf(s.end)})
	}
	if off != 0 {
		at := time.Unix(off, 0).UTC()
		return nil, fmt.Errorf("a change at %s is neither by its yearly rule nor on a quarter hour, as a table's exceptions must be; "+
			"a table that starts on %s or later can hold it", at.Format("2006-01-02T15:04:05Z"), at.AddDate(0, 0, 3).Format(time.DateOnly))
	}
	return groups, nil
}

// ruleChanges lists the changes that the base's rule makes in the window, and its offset at the start. It refuses
// rules that leave their own year, which a reader of the table need not look for.
func (w *window) ruleChanges(base *table.Zone) (changes []change, offset int, err error) {
	std := int(base.Standard) * quarter
	if base.DST == nil {
		return nil, std, nil
	}
	dst := std + int(base.DST.Shift)*quarter
	first, last := yearOf(tableDay(w.from))-1, yearOf(tableDay(w.to))+1
	changes = make([]change, 0, 2*(last-first+1))
	for year := first; year <= last; year++ {
		start := change{ruleInstant(year, base.DST.Start, std), dst}
		end := change{ruleInstant(year, base.DST.End, dst), std}
		if start.at > end.at {
			start, end = end, start
		}
		low, high := startOfYear(year)-int64(std), startOfYear(year+1)-int64(std)
		if start.at < low || start.at == end.at || end.at >= high {
			return nil, 0, fmt.Errorf("its yearly rule leaves the year %d, which no table can hold", year)
		}
		changes = append(changes, start, end)
	}
	changes, offset = advance(changes, w.from, std)
	return changes, offset, nil
}

func tableDay(unix int64) int { return int((unix - table.Epoch) / secondsPerDay) } // of the years from 2000 on

func startOfYear(year int) int64 {
	return table.Epoch + secondsPerDay*int64(dayNumber(plan.Local{Year: year, Month: 1, Day: 1}))
}

// ruleInstant is the Unix time of a transition in a year whose clock is offset seconds east of UTC until then.
func ruleInstant(year int, t table.Transition, offset int) int64 {
	first := dayNumber(plan.Local{Year: year, Month: t.Month, Day: 1})
	next := dayNumber(plan.Local{Year: year + t.Month/12, Month: t.Month%12 + 1, Day: 1})
	day := first + floorMod(t.Weekday-weekdayOf(first), 7) + 7*(t.Week-1)
	if day >= next { // week 5 is the last, which may be the fourth
		day -= 7
	}
	return table.Epoch + int64(day)*secondsPerDay + int64(60*t.Minutes-offset)
}

// zoneSize estimates the bytes of a zone in the table: exact but for the length of the spans' numbers.
func zoneSize(t *table.Zone) int {
	n := 0
	if t.DST != nil {
		n += 7
	}
	if len(t.Overrides) > 0 {
		n += 2
	}
	for _, g := range t.Overrides {
		n += 2 + 4*len(g.Spans)
	}
	return n
}
