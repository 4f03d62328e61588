package decompile

import (
	"slices"

	"mealtab/compiler/plan"
	"mealtab/compiler/table"
)

// moment is a nominal time: days since 2000-01-01, and minutes of the day.
type moment struct{ day, minute int }

func (a moment) compare(b moment) int {
	return (a.day-b.day)*table.MinutesPerDay + a.minute - b.minute
}

func locals(list []moment) []plan.Local {
	slices.SortFunc(list, moment.compare)
	list = slices.Compact(list)
	var out []plan.Local
	for _, m := range list {
		out = append(out, localAt(m.day, m.minute))
	}
	return out
}

// localAt is a nominal time as a plan writes it.
func localAt(day, minute int) plan.Local {
	return plan.AtUnix((table.Minute(day)*table.MinutesPerDay + table.Minute(minute)).Time().Unix())
}

// starts are values of DTSTART to try. A bound was written only where the rule has a date before it, so that a rule without
// FROM may begin at any date that suits its INTERVAL; and a start in the middle of a day divides the times of that day.
func (s *sorted) starts() []plan.Local {
	var list []plan.Local
	add := func(day, minute int) {
		if day >= 0 && minute >= 0 && minute < table.MinutesPerDay {
			list = append(list, localAt(day, minute))
		}
	}
	if s.cycle != nil {
		s.cycleStarts(add)
		return list
	}
	from, without := s.froms()
	first := s.all[0]
	if len(from) == 0 {
		if s.always {
			add(s.alignedAfter(0), 0)
		}
		add(s.alignedBefore(int(s.t.Start)), first)
		return list
	}
	f := from[0].day
	if f-1 == int(s.t.Start) { // the table begins with the first meal, and this may be it, though it first feeds a day later
		add(f-1, s.all[len(s.all)-1]+1)
	}
	add(f, first)
	add(f, from[0].minute)
	if without >= 0 {
		add(f-1, without)
	}
	add(f-1, s.all[len(s.all)-1]+1)
	add(s.alignedBefore(f), s.all[len(s.all)-1]+1)
	return list
}

// froms lists the FROM bounds with the first time of day of each, ascending, and the first time of day of the rules without; -1: there
// is none.
func (s *sorted) froms() (bounds []moment, without int) {
	without = -1
	for _, p := range s.rules {
		first := -1
		if len(p.times.List) > 0 {
			first = int(p.times.List[0])
		}
		switch {
		case p.rule.From > 0:
			bounds = append(bounds, moment{int(p.rule.From), first})
		case without < 0 || first < without:
			without = first
		}
	}
	slices.SortFunc(bounds, moment.compare)
	return bounds, without
}

// alignedBefore is the last date up to day that suits the rule's INTERVAL; day itself where there is no such date since 2000.
func (s *sorted) alignedBefore(day int) int {
	for d := day; d >= 0; d-- {
		if s.aligned(d) {
			return d
		}
	}
	return s.alignedAfter(day)
}

// alignedAfter is the first such date from day on.
func (s *sorted) alignedAfter(day int) int {
	for d := day; d <= int(table.MaxDay); d++ {
		if s.aligned(d) {
			return d
		}
	}
	return day
}

// aligned reports whether a date lies in an active interval of the rule.
func (s *sorted) aligned(day int) bool {
	c := &s.core
	date := localAt(day, 0)
	holds := func(e table.Every, n int) bool { return e.N == 0 || mod(n, int(e.N)) == int(e.Phase) }
	if c.EveryWeeks.N > 0 && mod(day-int(c.EveryWeeks.Phase), 7*int(c.EveryWeeks.N)) >= 7 {
		return false
	}
	if c.Weeks != nil && !holds(c.Weeks.Every, weekYear(day, c.Weeks.WeekStart)-2000) {
		return false
	}
	return holds(c.EveryDays, day) && holds(c.EveryMonth, (date.Year-2000)*12+date.Month-1) && holds(c.EveryYears, date.Year-2000)
}

// weekYear is the week-numbering year of a date: that of the fourth day of its week.
func weekYear(day, weekStart int) int {
	fourth := day - mod(weekday(day)-weekStart, 7) + 3
	return localAt(fourth, 0).Year
}

// weekday counts from Monday = 0; 2000-01-01 was a Saturday.
func weekday(day int) int { return mod(day+5, 7) }

func mod(a, b int) int { return ((a % b) + b) % b }

// cycleStarts: a cycle is counted from DTSTART, so that only minutes of the cycle will do.
func (s *sorted) cycleStarts(add func(day, minute int)) {
	period, phase := int(s.cycle.Period), int(s.cycle.Phase)
	put := func(minute int) { add(minute/table.MinutesPerDay, mod(minute, table.MinutesPerDay)) }
	from, _ := s.froms()
	if len(from) == 0 {
		if s.always {
			put(phase)
		}
		start := int(s.t.Start) * table.MinutesPerDay
		if before := start - mod(start-phase, period); before >= 0 {
			put(before)
		} else {
			put(before + period)
		}
		return
	}
	for _, p := range s.dates {
		if d := p.rule.Dates[0]; int(d) == from[0].day-1 {
			add(int(d), int(p.times.List[0]))
		}
	}
	begin := from[0].day * table.MinutesPerDay
	next := begin + mod(phase-begin, period)
	put(next)
	if next-period >= 0 {
		put(next - period)
	}
}

// untils are values of UNTIL to try: the whole last day, or its last time.
func (s *sorted) untils() []*plan.Until {
	last := moment{-1, -1}
	for _, p := range s.rules {
		if p.rule.HasUntil {
			minute := table.MinutesPerDay - 1
			if n := len(p.times.List); n > 0 {
				minute = int(p.times.List[n-1])
			}
			if m := (moment{int(p.rule.Until), minute}); m.compare(last) > 0 {
				last = m
			}
		}
	}
	if last.day < 0 {
		return []*plan.Until{nil}
	}
	list := []*plan.Until{
		{Form: plan.Date, Local: localAt(last.day, 0)},
		{Form: s.form(), Local: localAt(last.day, last.minute)},
	}
	// A cycle that ends in the middle of a day has the rest of it as single dates.
	for _, p := range s.dates {
		if d := p.rule.Dates[0]; int(d) == last.day+1 {
			list = append(list, &plan.Until{Form: s.form(), Local: localAt(int(d), int(p.times.List[len(p.times.List)-1]))})
		}
	}
	return list
}

// exceptions turns EXCEPT into EXDATE: a date without time where all times of the day are out. What a cycle keeps on such a date
// stands among the single dates, and is returned so that it is not taken for RDATE.
func (s *sorted) exceptions() (exDates, exDays []plan.Local, kept map[moment]bool) {
	kept = map[moment]bool{}
	single := map[moment]bool{}
	for _, p := range s.dates {
		for _, d := range p.rule.Dates {
			for _, m := range p.times.List {
				single[moment{int(d), int(m)}] = true
			}
		}
	}
	out := map[int][]int{}
	for _, p := range s.rules {
		for _, d := range p.rule.Except {
			for _, m := range timesOn(p.times, int(d)) {
				if at := (moment{int(d), m}); p.times.Cycle != nil && single[at] {
					kept[at] = true
				} else {
					out[int(d)] = append(out[int(d)], m)
				}
			}
		}
	}
	var dates, days []moment
	for d, minutes := range out {
		if s.cycle == nil && len(minutes) == len(s.all) && len(minutes) > 1 {
			days = append(days, moment{d, 0})
			continue
		}
		for _, m := range minutes {
			dates = append(dates, moment{d, m})
		}
	}
	return locals(dates), locals(days), kept
}

// timesOn are the times of day on one date.
func timesOn(t table.Times, day int) (list []int) {
	for _, m := range t.List {
		list = append(list, int(m))
	}
	if c := t.Cycle; c != nil {
		for m := mod(int(c.Phase)-day*table.MinutesPerDay, int(c.Period)); m < table.MinutesPerDay; m += int(c.Period) {
			if c.Hours>>(m/60)&1 != 0 {
				list = append(list, m)
			}
		}
	}
	return list
}
