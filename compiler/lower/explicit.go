package lower

import (
	"slices"

	"mealtab/compiler/plan"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

const gap = zone.Gap

// addDate adds times of a rule on one date as explicit ones. Such a date is never dropped by a gap, so with
// GapOmit those that the rule would lose are left out here.
func (s *series) addDate(pieces []piece, day int, times []uint16) []piece {
	if day < int(s.t.Start) || day > int(s.t.Through) {
		return pieces
	}
	var kept []uint16
	for _, m := range times {
		if s.p.Gap != plan.GapOmit || !s.inGap(at{day, m}) {
			kept = append(kept, m)
		}
	}
	if kept == nil {
		return pieces
	}
	return append(pieces, datesPiece([]table.Day{table.Day(day)}, kept))
}

func datesPiece(days []table.Day, times []uint16) piece {
	rule := table.Everyday()
	rule.Dates = days
	return piece{rule, table.Times{List: times}}
}

// except takes EXDATE away. Times that lose the same dates stay together; what a cycle keeps on such a date is
// listed.
func (s *series) except() {
	if len(s.exDate)+len(s.exDay) == 0 {
		return
	}
	days := s.exceptionDays()
	var out []piece
	for _, p := range s.pieces {
		lost := s.matching(&p.rule, days)
		switch {
		case len(lost) == 0:
			out = append(out, p)
		case p.times.Cycle != nil:
			out = s.exceptCycle(out, p, lost)
		default:
			out = s.exceptList(out, p, lost)
		}
	}
	s.pieces = out
}

func (s *series) exceptionDays() []int {
	var days []int
	for a := range s.exDate {
		days = append(days, a.day)
	}
	for d := range s.exDay {
		days = append(days, d)
	}
	slices.Sort(days)
	return slices.Compact(days)
}

func (s *series) matching(r *table.Rule, days []int) (list []int) {
	for _, d := range days {
		if s.anyMatch(r, d, d) {
			list = append(list, d)
		}
	}
	return list
}

func (s *series) exceptList(out []piece, p piece, days []int) []piece {
	for _, m := range p.times.List {
		var lost []table.Day
		for _, d := range days {
			if s.excluded(at{d, m}) {
				lost = append(lost, table.Day(d))
			}
		}
		if rule, left := without(p.rule, lost); left {
			out = addTime(out, rule, m)
		}
	}
	return out
}

// without removes dates from a rule; false: none is left.
func without(r table.Rule, lost []table.Day) (table.Rule, bool) {
	if len(r.Dates) == 0 {
		r.Except = lost
		return r, true
	}
	var left []table.Day
	for _, d := range r.Dates {
		if !slices.Contains(lost, d) {
			left = append(left, d)
		}
	}
	r.Dates = left
	return r, len(left) > 0
}

func (s *series) exceptCycle(out []piece, p piece, days []int) []piece {
	var lost []table.Day
	for _, d := range days {
		all := cycleTimes(p.times.Cycle, d)
		var kept []uint16
		for _, m := range all {
			if !s.excluded(at{d, m}) {
				kept = append(kept, m)
			}
		}
		if len(kept) < len(all) {
			lost = append(lost, table.Day(d))
			out = s.addDate(out, d, kept)
		}
	}
	if rule, left := without(p.rule, lost); left {
		out = append(out, piece{rule, p.times})
	}
	return out
}

// explicitDates adds RDATE, and DTSTART where there is no rule, unless excluded or already served.
func (s *series) explicitDates() {
	values := s.set.RDate
	if s.set.Rule == nil {
		values = append([]plan.Local{s.set.Start}, values...)
	}
	var list []at
	for _, v := range values {
		a := atOf(v)
		if !s.excluded(a) && a.day >= int(s.t.Start) && a.day <= int(s.t.Through) && !s.served(a) {
			list = append(list, a)
		}
	}
	s.pieces = append(s.pieces, groupDates(list)...)
}

func (s *series) served(a at) bool {
	if s.p.Gap == plan.GapOmit && s.inGap(a) {
		return false // the rule's own instance is dropped, an explicit one is not
	}
	for i := range s.pieces {
		p := &s.pieces[i]
		times := p.times.List
		if p.times.Cycle != nil {
			times = cycleTimes(p.times.Cycle, a.day)
		}
		if slices.Contains(times, a.minute) && s.anyMatch(&p.rule, a.day, a.day) {
			return true
		}
	}
	return false
}

// groupDates makes one piece of the times that share their dates.
func groupDates(list []at) (pieces []piece) {
	byTime := map[uint16][]table.Day{}
	var times []uint16
	for _, a := range list {
		if byTime[a.minute] == nil {
			times = append(times, a.minute)
		}
		byTime[a.minute] = append(byTime[a.minute], table.Day(a.day))
	}
	slices.Sort(times)
	for _, m := range times {
		days := byTime[m]
		slices.Sort(days)
		rule := table.Everyday()
		rule.Dates = slices.Compact(days)
		pieces = addTime(pieces, rule, m)
	}
	return pieces
}

// explicitPieces carries the instances of a set that has no closed form.
func explicitPieces(nominal []table.Minute, utc bool) []piece {
	list := make([]at, len(nominal))
	for i, m := range nominal {
		list[i] = at{int(m) / table.MinutesPerDay, uint16(m % table.MinutesPerDay)}
	}
	pieces := groupDates(list)
	for i := range pieces {
		pieces[i].rule.UTC = utc
	}
	return pieces
}
