package fed

import (
	"cmp"
	"slices"

	"mealtab/compiler/table"
)

// days puts all by local date.
func (c *comparison) days() []Day {
	list := c.sorted()
	from, to := c.span(list)
	days := make([]Day, max(0, to-from))
	for i := range days {
		days[i].Date = table.Day(from + i)
		days[i].Unknown = c.unknown(startOf(c.in.Clock, from+i), startOf(c.in.Clock, from+i+1))
	}
	at := func(m table.Minute) *Day {
		if i := dayOf(c.in.Clock, m) - from; i >= 0 && i < len(days) {
			return &days[i]
		}
		return nil
	}
	for _, s := range list {
		if d := at(s.Due); d != nil {
			d.add(s, c.pocket(s.Due))
		}
	}
	slices.SortStableFunc(c.notes, func(a, b note) int { return cmp.Compare(a.at, b.at) })
	for _, n := range c.notes {
		if d := at(n.at); d != nil {
			text := c.in.Clock.At(n.at.Unix())
			d.Notes = append(d.Notes, clockText(n.at, text.Seconds)+" "+n.text)
		}
	}
	return days
}

// clockText is "18:30" by an offset from UTC in seconds.
func clockText(at table.Minute, offset int) string {
	return (at + table.Minute(offset/60)).Time().Format("15:04")
}

// span are the dates of the report.
func (c *comparison) span(list []Serving) (from, to int) {
	first, last := table.Minute(0), c.newest
	for _, s := range c.covered {
		if first == 0 || s.From < first {
			first = s.From
		}
	}
	for _, s := range list {
		if dated(s.Due) && (first == 0 || s.Due < first) {
			first = s.Due
		}
	}
	if first == 0 {
		return int(c.in.From), int(c.in.To)
	}
	from, to = dayOf(c.in.Clock, first), dayOf(c.in.Clock, last)+1
	if c.in.From != 0 {
		from = int(c.in.From)
	}
	if c.in.To != 0 {
		to = int(c.in.To)
	}
	return from, to
}

// unknown are the parts of a span that no record covers, and those whose plan is not known.
func (c *comparison) unknown(from, to table.Minute) (list []Span) {
	covered := slices.Clone(c.covered)
	slices.SortFunc(covered, func(a, b Span) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To)) })
	at, any := from, false
	for _, s := range covered {
		if s.To <= from || s.From >= to {
			any = any || s.To <= from
			continue
		}
		if s.From > at {
			list = append(list, Span{at, s.From, why(any, true)})
		}
		if s.Why != "" {
			list = append(list, Span{max(s.From, from), min(s.To, to), s.Why})
		}
		at, any = max(at, s.To), true
	}
	if at < to {
		later := slices.ContainsFunc(covered, func(s Span) bool { return s.From >= to })
		list = append(list, Span{at, to, why(any || len(covered) > 0 && covered[0].From < at, later)})
	}
	return list
}

// why says what lies at a time without records: the beginning, a gap, or the end.
func why(before, after bool) string {
	switch {
	case !before:
		return "there is no record from before"
	case after:
		return "the records of that time are lost: the feeder's memory had gone round"
	}
	return "the feeder was not read since"
}

// pocket is what one pocket holds, by the plan of the time, in milligrams; 0: not known.
func (c *comparison) pocket(at table.Minute) int64 {
	if d, ok := c.planned[at]; ok {
		return d.pocket
	}
	// By hand, or planned in a time without records: the pocket of the nearest plan.
	var near table.Minute
	var mg int64
	for m, d := range c.planned {
		if mg == 0 || abs(m-at) < abs(near-at) || abs(m-at) == abs(near-at) && m < near {
			near, mg = m, d.pocket
		}
	}
	return mg
}

func abs(m table.Minute) table.Minute {
	if m < 0 {
		return -m
	}
	return m
}

// add counts a serving; pocket is what one holds, in milligrams.
func (d *Day) add(s Serving, pocket int64) {
	if s.Turned > 0 {
		s.TurnedMg = int64(s.Turned) * pocket
	}
	d.Weighed = d.Weighed || pocket > 0
	switch {
	case s.State == ByHand:
		d.HandPockets += s.Turned
		d.HandMg += s.TurnedMg
	case s.Planned >= 0 && s.Turned >= 0 && s.State != Waiting:
		d.PlannedPockets += s.Planned
		d.PlannedMg += s.PlannedMg
		d.TurnedPockets += s.Turned
		d.TurnedMg += s.TurnedMg
	}
	d.Servings = append(d.Servings, s)
}
