package lower

import (
	"mealtab/compiler/plan"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
)

// anyMatch reports whether a rule holds on some date of first to last within the table's range.
func (s *series) anyMatch(r *table.Rule, first, last int) bool {
	first = max(first, int(s.t.Start))
	last = min(last, int(s.t.Through))
	return first <= last && len(replay.Days(r, table.Day(first), table.Day(last), 1)) > 0
}

// side is the part of a piece whose bound falls on one date.
type side struct {
	times table.Times
	day   int
}

// sides divides a piece at a bound that falls on a date: the times that keep accepts are bounded by that date, the others
// by the one next to it (away is +1 or -1). A cycle cannot be divided: what it keeps on the date is returned as
// loose times.
func (s *series) sides(p *piece, day, away int, keep func(uint16) bool) (sides []side, loose []uint16) {
	if !s.anyMatch(&p.rule, day, day) {
		return []side{{p.times, day}}, nil
	}
	all := p.times.List
	if p.times.Cycle != nil {
		all = cycleTimes(p.times.Cycle, day)
	}
	var kept, others []uint16
	for _, m := range all {
		if keep(m) {
			kept = append(kept, m)
		} else {
			others = append(others, m)
		}
	}
	switch {
	case len(others) == 0:
		return []side{{p.times, day}}, nil
	case len(kept) == 0:
		return []side{{p.times, day + away}}, nil
	case p.times.Cycle != nil:
		return []side{{p.times, day + away}}, kept
	}
	return []side{{table.Times{List: kept}, day}, {table.Times{List: others}, day + away}}, nil
}

// from leaves out what comes before DTSTART. A bound is written only where the rule has a date to leave out.
func (s *series) from(start at) {
	if start.day < int(s.t.Start) {
		return
	}
	var out []piece
	for i := range s.pieces {
		p := &s.pieces[i]
		sides, loose := s.sides(p, start.day, +1, func(m uint16) bool { return m >= start.minute })
		for _, d := range sides {
			if d.day > int(table.MaxDay) {
				continue // begins after the calendar has ended
			}
			rule := p.rule
			if s.anyMatch(&rule, 0, d.day-1) {
				rule.From = clampDay(d.day)
			}
			out = append(out, piece{rule, d.times})
		}
		out = s.addDate(out, start.day, loose)
	}
	s.pieces = out
}

// until leaves out what comes after a date, and the times of the date itself that keep refuses.
func (s *series) until(day int, keep func(uint16) bool) {
	var out []piece
	for i := range s.pieces {
		p := &s.pieces[i]
		sides, loose := s.sides(p, day, -1, keep)
		for _, d := range sides {
			rule := p.rule
			if !s.anyMatch(&rule, 0, d.day) {
				continue
			}
			if s.anyMatch(&rule, d.day+1, int(table.MaxDay)) {
				rule.Until, rule.HasUntil = clampDay(d.day), true
			}
			out = append(out, piece{s.shorter(rule), d.times})
		}
		out = s.addDate(out, day, loose)
	}
	s.pieces = out
}

// shorter lists the dates of a rule that ends, where that takes fewer bytes. A listed date is never dropped by a gap,
// so with GapOmit the rule stays.
func (s *series) shorter(r table.Rule) table.Rule {
	const most = 40 // a longer list is never shorter than a rule
	if !r.HasUntil || s.t.Zone.GapOmit {
		return r
	}
	days := replay.Days(&r, s.t.Start, s.t.Through, most+1)
	if len(days) > most {
		return r
	}
	list := table.Everyday()
	list.Dates = days
	if len(table.EncodeRule(&list)) < len(table.EncodeRule(&r)) {
		return list
	}
	return r
}

// untilValue applies UNTIL. In UTC it is compared with resolved instants (RFC 5545 §3.3.10), which around a gap are not in
// the order of nominal times: a time shifted past UNTIL from the day before is treated as an exception.
func (s *series) untilValue(u *plan.Until) {
	end := atOf(u.Local)
	switch {
	case u.Form == plan.Date:
		end.minute = table.MinutesPerDay - 1
	case u.Form == plan.UTC && s.set.Form != plan.UTC:
		limit := end.unix() + int64(u.Local.Second)
		day := atNominal(limit + int64(s.zone.At(limit).Seconds)).day
		within := func(day int, m uint16) bool {
			instant, _ := s.zone.Resolve(unixTime(day, m))
			return instant <= limit
		}
		for m := range uint16(table.MinutesPerDay) {
			if !within(day-1, m) {
				s.exDate[at{day - 1, m}] = true
			}
		}
		s.until(day, func(m uint16) bool { return within(day, m) })
		return
	}
	s.until(end.day, func(m uint16) bool { return m <= end.minute })
}

// count turns COUNT into the nominal time of the last instance, by stepping through the unbounded pieces.
func (s *series) count(unbounded []piece, n int) {
	t := &table.Table{Through: table.MaxDay, Wheel: table.Wheel{PocketUnits: 1}}
	meal := table.Meal{Portion: 1}
	for _, p := range unbounded {
		t.Rules = append(t.Rules, p.rule)
		meal.Parts = append(meal.Parts, table.Part{Rule: len(t.Rules), Times: p.times})
	}
	t.Meals = []table.Meal{meal}
	start := atOf(s.set.Start)
	c := replay.New(t, replay.Options{From: table.Minute(start.day*table.MinutesPerDay + int(start.minute))})
	for {
		serving, ok := c.Next()
		if !ok {
			return // ends after the calendar does
		}
		a := at{int(serving.At) / table.MinutesPerDay, uint16(serving.At % table.MinutesPerDay)}
		if s.p.Gap == plan.GapOmit && s.inGap(a) {
			continue
		}
		if n--; n == 0 {
			s.until(a.day, func(m uint16) bool { return m <= a.minute })
			return
		}
	}
}

func (s *series) inGap(a at) bool {
	_, kind := s.zone.Resolve(a.unix())
	return kind == gap
}
