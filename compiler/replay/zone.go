package replay

import "mealtab/compiler/table"

const quarter = 15 // minutes

// zone resolves nominal local time by the table's rule and overrides (FORMAT.md, "Local time").
type zone struct {
	t                  *table.Zone
	standard, shift    table.Minute // minutes
	least, most        table.Minute // smallest and largest offset of the table, or 0
	year               int          // for which start and end are computed
	start, end         table.Minute // DST, UTC
	breaks             []table.Minute
	spans              []span
	near               bool         // the day is within reach of a change
	offset             table.Minute // of the day, when not near
	haveYear, anything bool
}

type span struct{ start, end, offset table.Minute }

func newZone(t *table.Zone) zone {
	z := zone{t: t, standard: quarter * table.Minute(t.Standard)}
	z.widen(z.standard)
	if t.DST != nil {
		z.shift = quarter * table.Minute(t.DST.Shift)
		z.widen(z.standard + z.shift)
	}
	for _, g := range t.Overrides {
		offset := quarter * table.Minute(g.Offset)
		z.widen(offset)
		for _, s := range g.Spans {
			z.spans = append(z.spans, span{s.Start, s.End, offset})
		}
	}
	z.anything = t.DST != nil || len(z.spans) > 0
	return z
}

func (z *zone) widen(offset table.Minute) {
	z.least = min(z.least, offset)
	z.most = max(z.most, offset)
}

// earliest is the first instant that nominal time n can mean.
func (z *zone) earliest(n table.Minute) table.Minute { return n - z.most }

// at is the offset in force at an instant.
func (z *zone) at(u table.Minute) table.Minute {
	for i := range z.spans {
		if s := &z.spans[i]; s.start <= u && u < s.end {
			return s.offset
		}
	}
	if z.t.DST == nil || !z.daylight(u) {
		return z.standard
	}
	return z.standard + z.shift
}

func (z *zone) daylight(u table.Minute) bool {
	z.setYear(yearOf(floorDiv(int(u+z.standard), table.MinutesPerDay)))
	if z.start < z.end {
		return z.start <= u && u < z.end
	}
	return !(z.end <= u && u < z.start)
}

func (z *zone) setYear(year int) {
	if z.haveYear && z.year == year {
		return
	}
	z.year, z.haveYear = year, true
	z.start = transition(year, z.t.DST.Start) - z.standard
	z.end = transition(year, z.t.DST.End) - z.standard - z.shift
}

// transition is the wall-clock minute of a change in a year.
func transition(year int, t table.Transition) table.Minute {
	first, length := monthStart(year, t.Month)
	day := first + (t.Weekday-weekday(first)+7)%7 + 7*(t.Week-1)
	for day >= first+length { // week 5 is the last, which may be the fourth
		day -= 7
	}
	return table.Minute(day)*table.MinutesPerDay + table.Minute(t.Minutes)
}

// reach is how far from a change, in minutes, nominal times need the full resolution: a day's own length, the
// widest offset and a day of margin.
const reach = 3 * table.MinutesPerDay

// prepare collects the changes that matter for a run of days.
func (z *zone) prepare(first, length int) {
	z.breaks = z.breaks[:0]
	if !z.anything {
		z.offset = z.standard
		return
	}
	z.offset = z.at(table.Minute(first) * table.MinutesPerDay)
	z.collect(table.Minute(first)*table.MinutesPerDay-reach, table.Minute(first+length)*table.MinutesPerDay+reach)
}

// collect adds the changes from lo to before hi to breaks.
func (z *zone) collect(lo, hi table.Minute) {
	for i := range z.spans {
		z.breakAt(z.spans[i].start, lo, hi)
		z.breakAt(z.spans[i].end, lo, hi)
	}
	if z.t.DST == nil {
		return
	}
	last := yearOf(floorDiv(int(hi), table.MinutesPerDay))
	for year := yearOf(floorDiv(int(lo), table.MinutesPerDay)); year <= last; year++ {
		z.setYear(year)
		z.breakAt(z.start, lo, hi)
		z.breakAt(z.end, lo, hi)
	}
}

func (z *zone) breakAt(u, lo, hi table.Minute) {
	if lo <= u && u < hi {
		z.breaks = append(z.breaks, u)
	}
}

// day says how the nominal times of one day are resolved.
func (z *zone) day(day int) {
	z.near = false
	if len(z.breaks) == 0 {
		return
	}
	start := table.Minute(day) * table.MinutesPerDay
	for _, b := range z.breaks {
		if d := b - start; -reach < d && d < reach {
			z.near = true
			return
		}
	}
	z.offset = z.at(start)
}

// resolve gives the instant of a nominal time; false when it is in a gap and dropped.
func (z *zone) resolve(n table.Minute, explicit bool) (table.Minute, bool) {
	if !z.near {
		return n - z.offset, true
	}
	at, shown := z.search(n)
	return at, shown || explicit || !z.t.GapOmit
}

// search gives the first instant at which clocks show n; in a gap, that of the offset before it, and false.
func (z *zone) search(n table.Minute) (at table.Minute, shown bool) {
	before := z.at(n - z.most)
	after := z.at(n - z.least)
	switch {
	case before == after, z.at(n-before) == before:
		return n - before, true
	case z.at(n-after) == after:
		return n - after, true
	}
	return n - before, false
}
