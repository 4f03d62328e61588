package decompile

import (
	"slices"

	"mealtab/compiler/plan"
	"mealtab/compiler/table"
)

// ruleProposals are recurrence rules that may have given the pieces, without UNTIL, the plainest first.
func (s *sorted) ruleProposals() []*plan.Rule {
	if s.cycle != nil {
		return s.cycleRules()
	}
	var list []*plan.Rule
	for _, freq := range s.freqs() {
		r := s.terms(freq)
		list = append(list, r)
		if freq >= plan.Monthly && len(s.rules) > 1 {
			for _, skip := range []plan.Skip{plan.Backward, plan.Forward} {
				moved := *r
				moved.Skip = skip
				list = append(list, &moved)
			}
		}
	}
	return list
}

// freqs are the frequencies that can say what the core says; the terms decide which of them.
func (s *sorted) freqs() []plan.Freq {
	c := &s.core
	switch {
	case c.SetPos != nil:
		return map[table.Period][]plan.Freq{
			table.PeriodWeek: {plan.Weekly}, table.PeriodMonth: {plan.Monthly}, table.PeriodYear: {plan.Yearly}, table.PeriodWeekYear: {plan.Yearly},
		}[c.SetPos.Period]
	case c.EveryDays.N > 0:
		return []plan.Freq{plan.Daily}
	case c.EveryWeeks.N > 0:
		return []plan.Freq{plan.Weekly}
	case c.EveryMonth.N > 0:
		return []plan.Freq{plan.Monthly}
	case c.EveryYears.N > 0 || c.Weeks != nil || c.NthOfYear != nil || c.YearDays != nil:
		return []plan.Freq{plan.Yearly}
	case c.NthOfMonth != nil:
		return []plan.Freq{plan.Monthly, plan.Yearly}
	case c.MonthDays != (table.MonthDays{}):
		return []plan.Freq{plan.Monthly, plan.Yearly, plan.Daily}
	case c.Weekdays != table.AnyWeekday:
		return []plan.Freq{plan.Weekly, plan.Daily}
	}
	return []plan.Freq{plan.Daily, plan.Monthly}
}

// terms writes every term of the core as a part of the rule.
func (s *sorted) terms(freq plan.Freq) *plan.Rule {
	c := &s.core
	r := &plan.Rule{Freq: freq, Interval: 1}
	for _, e := range []table.Every{c.EveryDays, c.EveryWeeks, c.EveryMonth, c.EveryYears} {
		if e.N > 0 {
			r.Interval = int(e.N)
		}
	}
	if c.EveryWeeks.N > 0 {
		r.WeekStart = plan.Weekday(weekday(int(c.EveryWeeks.Phase)))
	}
	r.ByMonth = bitList(uint32(c.Months), 1)
	r.ByMonthDay = monthDayList(c.MonthDays)
	r.ByYearDay = c.YearDays
	s.weekdays(r)
	if w := c.Weeks; w != nil {
		r.ByWeekNo, r.WeekStart, r.Interval = w.Numbers, plan.Weekday(w.WeekStart), int(w.Every.N)
	}
	if c.SetPos != nil {
		if p := c.SetPos.Period; p == table.PeriodWeek || p == table.PeriodWeekYear {
			r.WeekStart = plan.Weekday(c.SetPos.WeekStart)
		}
		r.BySetPos = s.positions()
	}
	return r
}

func (s *sorted) weekdays(r *plan.Rule) {
	c := &s.core
	for _, n := range append(slices.Clone(c.NthOfMonth), c.NthOfYear...) {
		r.ByDay = append(r.ByDay, plan.WeekdayNum{N: n.N, Day: plan.Weekday(n.Weekday)})
	}
	if r.ByDay == nil && (c.Weekdays != table.AnyWeekday || r.Freq == plan.Weekly || r.Freq >= plan.Monthly && s.saysNoDay()) {
		for _, d := range bitList(uint32(c.Weekdays), 0) {
			r.ByDay = append(r.ByDay, plan.WeekdayNum{Day: plan.Weekday(d)})
		}
	}
}

// saysNoDay: a MONTHLY or YEARLY rule without any day takes DTSTART's, so that all seven weekdays must be named.
func (s *sorted) saysNoDay() bool {
	c := &s.core
	return c.MonthDays == (table.MonthDays{}) && c.YearDays == nil && c.NthOfMonth == nil && c.NthOfYear == nil
}

func bitList(mask uint32, first int) (list []int) {
	for i := range 32 {
		if mask>>i&1 != 0 {
			list = append(list, i+first)
		}
	}
	return list
}

func monthDayList(d table.MonthDays) []int {
	var list []int
	for _, n := range bitList(d.FromEnd, 1) {
		list = append(list, -n)
	}
	list = append(list, bitList(d.FromStart, 1)...)
	slices.Sort(list)
	return list
}

// positions is BYSETPOS, which counts date-times where the table counts dates: with n times a day, the i-th time of the p-th date.
func (s *sorted) positions() []int {
	n := len(s.all)
	var list []int
	for _, p := range s.rules {
		if p.rule.SetPos == nil {
			continue
		}
		for _, minute := range p.times.List {
			i := slices.Index(s.all, int(minute))
			for _, date := range p.rule.SetPos.Positions {
				if date > 0 {
					list = append(list, (date-1)*n+i+1)
				} else {
					list = append(list, (date+1)*n-(n-i))
				}
			}
		}
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// cycleRules are HOURLY and MINUTELY rules.
func (s *sorted) cycleRules() []*plan.Rule {
	base := s.terms(plan.Minutely)
	base.Interval = int(s.cycle.Period)
	if s.core.Weekdays == table.AnyWeekday {
		base.ByDay = nil
	}
	if s.cycle.Hours != table.AllHours {
		base.ByHour = bitList(s.cycle.Hours, 0)
	}
	var minutes []int // of the hour
	spread := 0       // what all phases have in common
	for _, p := range s.rules {
		c := p.times.Cycle
		if c == nil || c.Period != s.cycle.Period {
			return nil
		}
		minutes = append(minutes, int(c.Phase)%60)
		spread = gcd(spread, max(int(c.Phase), int(s.cycle.Phase))-min(int(c.Phase), int(s.cycle.Phase)))
	}
	slices.Sort(minutes)
	minutes = slices.Compact(minutes)
	var list []*plan.Rule
	if period := int(s.cycle.Period); period%60 == 0 {
		hourly := *base
		hourly.Freq, hourly.Interval = plan.Hourly, period/60
		if len(minutes) > 1 {
			hourly.ByMinute = minutes
		}
		list = append(list, &hourly)
	}
	if len(minutes) > 1 {
		base.Interval, base.ByMinute = gcd(int(s.cycle.Period), spread), minutes
	}
	return append(list, base)
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
