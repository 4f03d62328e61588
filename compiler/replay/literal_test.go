package replay_test

import (
	"time"

	"mealtab/compiler/table"
)

// literal is a second reading of FORMAT.md: date by date, with the standard library's calendar, and no thought of speed.
type literal struct{ t *table.Table }

func (l literal) holds(r *table.Rule, d table.Day) bool {
	date := d.Date()
	if r.From != 0 && d < r.From || r.HasUntil && d > r.Until {
		return false
	}
	if len(r.Dates) > 0 && !has(r.Dates, d) || has(r.Except, d) {
		return false
	}
	return l.inSet(r, date) && (r.SetPos == nil || l.atPosition(r, date))
}

func has[T comparable](list []T, v T) bool {
	for _, x := range list {
		if x == v {
			return true
		}
	}
	return false
}

// monday numbers weekdays from Monday = 0.
func monday(t time.Time) int { return (int(t.Weekday()) + 6) % 7 }

func days(t time.Time) int { return int(t.Sub(table.Day(0).Date()) / (24 * time.Hour)) }

func mod(a, n int) int { return (a%n + n) % n }

func every(e table.Every, n int) bool { return e.N == 0 || mod(n, int(e.N)) == int(e.Phase) }

func (l literal) inSet(r *table.Rule, t time.Time) bool {
	n := days(t)
	weekOK := r.EveryWeeks.N == 0 || mod(n-int(r.EveryWeeks.Phase), 7*int(r.EveryWeeks.N)) < 7
	return r.Weekdays>>monday(t)&1 != 0 && weekOK &&
		every(r.EveryDays, n) &&
		every(r.EveryMonth, (t.Year()-2000)*12+int(t.Month())-1) &&
		every(r.EveryYears, t.Year()-2000) &&
		(r.Months == 0 || r.Months>>(t.Month()-1)&1 != 0) &&
		monthDay(r.MonthDays, t) && nth(r.NthOfMonth, monthSpan, t) && nth(r.NthOfYear, yearSpan, t) &&
		yearDay(r.YearDays, t) && inWeeks(r.Weeks, t)
}

// A span gives the first day of the month or year of t, and of the next one.
type span func(t time.Time) (first, next time.Time)

func monthSpan(t time.Time) (first, next time.Time) {
	first = time.Date(t.Year(), t.Month(), 1, 0, 0, 0, 0, time.UTC)
	return first, first.AddDate(0, 1, 0)
}

func yearSpan(t time.Time) (first, next time.Time) {
	first = time.Date(t.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	return first, first.AddDate(1, 0, 0)
}

// place counts t from both ends of its span, from 1 and from -1, in steps of days.
func place(s span, t time.Time, step int) (fromStart, fromEnd int) {
	first, next := s(t)
	return (days(t)-days(first))/step + 1, -((days(next)-1-days(t))/step + 1)
}

func monthDay(d table.MonthDays, t time.Time) bool {
	start, end := place(monthSpan, t, 1)
	return d == table.MonthDays{} || d.FromStart>>(start-1)&1 != 0 || d.FromEnd>>(-end-1)&1 != 0
}

func nth(list []table.Nth, s span, t time.Time) bool {
	start, end := place(s, t, 7)
	for _, n := range list {
		if n.Weekday == monday(t) && (n.N == 0 || n.N == start || n.N == end) {
			return true
		}
	}
	return len(list) == 0
}

func yearDay(list []int, t time.Time) bool {
	start, end := place(yearSpan, t, 1)
	return len(list) == 0 || has(list, start) || has(list, end)
}

// weekSpan is the week-numbering year of t: it begins with the week of 4 January.
func weekSpan(weekStart int) span {
	begin := func(year int) time.Time {
		fourth := time.Date(year, 1, 4, 0, 0, 0, 0, time.UTC)
		return fourth.AddDate(0, 0, -mod(monday(fourth)-weekStart, 7))
	}
	return func(t time.Time) (first, next time.Time) {
		year := t.Year() + 1
		for begin(year).After(t) {
			year--
		}
		return begin(year), begin(year + 1)
	}
}

func inWeeks(k *table.Weeks, t time.Time) bool {
	if k == nil {
		return true
	}
	first, _ := weekSpan(k.WeekStart)(t)
	start, end := place(weekSpan(k.WeekStart), t, 7)
	year := first.AddDate(0, 0, 3).Year() // the fourth day of week 1 is 4 January at the latest and lies in the year
	return every(k.Every, year-2000) && (has(k.Numbers, start) || has(k.Numbers, end))
}

func (l literal) atPosition(r *table.Rule, t time.Time) bool {
	s := r.SetPos
	var first, next time.Time
	switch s.Period {
	case table.PeriodWeek:
		first = t.AddDate(0, 0, -mod(monday(t)-s.WeekStart, 7))
		next = first.AddDate(0, 0, 7)
	case table.PeriodMonth:
		first, next = monthSpan(t)
	case table.PeriodYear:
		first, next = yearSpan(t)
	default:
		first, next = weekSpan(s.WeekStart)(t)
	}
	before, all := 0, 0
	for d := first; d.Before(next); d = d.AddDate(0, 0, 1) {
		if l.inSet(r, d) {
			all++
			if d.Before(t) {
				before++
			}
		}
	}
	return has(s.Positions, before+1) || has(s.Positions, before-all)
}

// offset is the offset in force at an instant.
func (l literal) offset(u table.Minute) table.Minute {
	z := &l.t.Zone
	for _, g := range z.Overrides {
		for _, s := range g.Spans {
			if s.Start <= u && u < s.End {
				return 15 * table.Minute(g.Offset)
			}
		}
	}
	standard := 15 * table.Minute(z.Standard)
	if z.DST == nil {
		return standard
	}
	summer := standard + 15*table.Minute(z.DST.Shift)
	year := (u + standard).Time().Year()
	start := change(year, z.DST.Start) - standard
	end := change(year, z.DST.End) - summer
	if start < end && start <= u && u < end || start >= end && !(end <= u && u < start) {
		return summer
	}
	return standard
}

func change(year int, c table.Transition) table.Minute {
	var hit time.Time
	for d := time.Date(year, time.Month(c.Month), 1, 0, 0, 0, 0, time.UTC); d.Month() == time.Month(c.Month); d = d.AddDate(0, 0, 1) {
		if week := (d.Day()-1)/7 + 1; monday(d) == c.Weekday && week <= c.Week {
			hit = d
		}
	}
	return table.Minute(days(hit)*1440 + c.Minutes)
}

func (l literal) resolve(n table.Minute, explicit bool) (table.Minute, bool) {
	z := &l.t.Zone
	offsets := []table.Minute{15 * table.Minute(z.Standard)}
	if z.DST != nil {
		offsets = append(offsets, 15*table.Minute(z.Standard+z.DST.Shift))
	}
	for _, g := range z.Overrides {
		offsets = append(offsets, 15*table.Minute(g.Offset))
	}
	least, most := offsets[0], offsets[0]
	for _, o := range offsets {
		least, most = min(least, o), max(most, o)
	}
	a, b := l.offset(n-most), l.offset(n-least)
	switch {
	case a == b || l.offset(n-a) == a:
		return n - a, true
	case l.offset(n-b) == b:
		return n - b, true
	}
	return n - a, explicit || !z.GapOmit
}

// due maps each instant from..to to the meals due.
func (l literal) due(from, to table.Minute) map[table.Minute]map[int]bool {
	due := map[table.Minute]map[int]bool{}
	everyday := table.Everyday()
	first := max(int(from)/1440-3, int(l.t.Start))
	last := min(int(to)/1440+3, int(l.t.Through))
	for i, m := range l.t.Meals {
		for _, p := range m.Parts {
			r := &everyday
			if p.Rule > 0 {
				r = &l.t.Rules[p.Rule-1]
			}
			for d := first; d <= last; d++ {
				if !l.holds(r, table.Day(d)) {
					continue
				}
				for _, n := range nominals(p.Times, d) {
					at, ok := n, true
					if !r.UTC {
						at, ok = l.resolve(n, len(r.Dates) > 0)
					}
					if !ok || at < from || at >= to {
						continue
					}
					if due[at] == nil {
						due[at] = map[int]bool{}
					}
					due[at][i] = true
				}
			}
		}
	}
	return due
}

func nominals(t table.Times, day int) (list []table.Minute) {
	start := table.Minute(day * 1440)
	for _, m := range t.List {
		list = append(list, start+table.Minute(m))
	}
	if c := t.Cycle; c != nil {
		for m := range table.Minute(1440) {
			if uint32(start+m)%c.Period == c.Phase && c.Hours>>(m/60)&1 != 0 {
				list = append(list, start+m)
			}
		}
	}
	return list
}
