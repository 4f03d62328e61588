package lower

import (
	"mealtab/compiler/plan"
	"mealtab/compiler/table"
)

// dayRules returns the rules whose union is the set of dates of r, before BYSETPOS, bounds and exceptions; more than
// one only where SKIP moves dates. ok is false when there is no closed form.
func dayRules(r *plan.Rule, start int) (rules []table.Rule, ok bool) {
	base := table.Everyday()
	base.Months = months(r.ByMonth)
	switch r.Freq {
	case plan.Weekly:
		weekly(&base, r, start)
	case plan.Monthly:
		base.EveryMonth = every(r.Interval, monthNumber(start), 1, beyond)
		return monthly(base, r, start)
	case plan.Yearly:
		return yearly(base, r, start)
	default:
		if r.Freq == plan.Daily {
			daily(&base, r, start)
		}
		base.YearDays = r.ByYearDay
		base.MonthDays = monthDays(r.ByMonthDay)
		base.Weekdays &= weekdays(r.ByDay)
	}
	return some(base), true
}

func some(r table.Rule) []table.Rule {
	if r.Weekdays == 0 {
		return nil
	}
	return []table.Rule{r}
}

// daily steps by days. A step of 7 is a weekday, which takes one byte.
func daily(base *table.Rule, r *plan.Rule, start int) {
	if r.Interval == 7 {
		base.Weekdays = 1 << weekdayOf(start)
		return
	}
	base.EveryDays = every(r.Interval, start, 1, beyondDays)
}

func weekly(base *table.Rule, r *plan.Rule, start int) {
	firstOfWeek := start - floorMod(weekdayOf(start)-int(r.WeekStart), 7)
	base.EveryWeeks = every(r.Interval, firstOfWeek, 7, beyond)
	base.Weekdays = weekdays(r.ByDay)
	if r.ByDay == nil {
		base.Weekdays = 1 << weekdayOf(start)
	}
}

func monthly(base table.Rule, r *plan.Rule, start int) ([]table.Rule, bool) {
	days := r.ByMonthDay
	if days == nil && r.ByDay == nil {
		days = []int{dateOf(start).Day}
	}
	if !limitWeekday(&base, r.ByDay, true) {
		return nil, true
	}
	return skipMonthDays(base, days, r)
}

func yearly(base table.Rule, r *plan.Rule, start int) ([]table.Rule, bool) {
	if r.ByWeekNo != nil {
		return weekNumbers(base, r, start), true
	}
	base.EveryYears = every(r.Interval, dateOf(start).Year-2000, 1, beyond)
	if !limitWeekday(&base, r.ByDay, r.ByMonth != nil) {
		return nil, true
	}
	days := r.ByMonthDay
	if r.ByMonthDay == nil && r.ByDay == nil && r.ByYearDay == nil {
		days = []int{dateOf(start).Day}
		if r.ByMonth == nil {
			base.Months = 1 << (dateOf(start).Month - 1)
		}
	}
	if r.ByYearDay != nil {
		return skipYearDays(base, r)
	}
	return skipMonthDays(base, days, r)
}

// weekNumbers: a period is a week-numbering year, and the other parts filter its dates.
func weekNumbers(base table.Rule, r *plan.Rule, start int) []table.Rule {
	weekStart, n := int(r.WeekStart), min(r.Interval, beyond)
	base.Weeks = &table.Weeks{
		WeekStart: weekStart,
		Every:     table.Every{N: uint32(n), Phase: uint32(floorMod(weekYearOf(start, weekStart)-2000, n))},
		Numbers:   r.ByWeekNo,
	}
	base.MonthDays = monthDays(r.ByMonthDay)
	base.YearDays = r.ByYearDay
	base.Weekdays = weekdays(r.ByDay)
	if r.ByDay == nil && r.ByMonthDay == nil && r.ByYearDay == nil {
		base.Weekdays = 1 << weekdayOf(start)
	}
	return some(base)
}

// limitWeekday applies BYDAY; numbers count within the month or the year. False: no date can match.
func limitWeekday(base *table.Rule, list []plan.WeekdayNum, inMonth bool) bool {
	if list == nil {
		return true
	}
	most := 53
	if inMonth {
		most = 5
	}
	var nths []table.Nth
	plain := true
	for _, d := range list {
		plain = plain && d.N == 0
		if -most <= d.N && d.N <= most {
			nths = append(nths, table.Nth{N: d.N, Weekday: int(d.Day)})
		}
	}
	switch {
	case plain:
		base.Weekdays = weekdays(list)
	case inMonth:
		base.NthOfMonth = nths
	default:
		base.NthOfYear = nths
	}
	return len(nths) > 0
}

// Steps that leave the calendar at once: longer ones do the same, and the table does not hold them.
const (
	beyond     = 5_400 // in weeks, months and years
	beyondDays = 40_000
)

// every is absent when it steps by one; unit is the width of an active unit in the numbering of phase; no step is longer than longest.
func every(n, phase, unit, longest int) table.Every {
	if n == 1 {
		return table.Every{}
	}
	n = min(n, longest)
	return table.Every{N: uint32(n), Phase: uint32(floorMod(phase, n*unit))}
}

func months(list []int) (mask uint16) {
	for _, m := range list {
		mask |= 1 << (m - 1)
	}
	if mask == 1<<12-1 {
		return 0
	}
	return mask
}

func weekdays(list []plan.WeekdayNum) (mask uint8) {
	if list == nil {
		return table.AnyWeekday
	}
	for _, d := range list {
		mask |= 1 << d.Day
	}
	return mask
}

func monthDays(list []int) (d table.MonthDays) {
	for _, n := range list {
		if n > 0 {
			d.FromStart |= 1 << (n - 1)
		} else {
			d.FromEnd |= 1 << (-n - 1)
		}
	}
	if d.FromStart == 1<<31-1 || d.FromEnd == 1<<31-1 {
		return table.MonthDays{} // every day
	}
	return d
}

// dateOf is the calendar date of a day number.
func dateOf(day int) plan.Local {
	l := plan.Local{Year: yearOf(day), Month: 12, Day: 1}
	for dayNumber(l) > day {
		l.Month--
	}
	l.Day = day - dayNumber(l) + 1
	return l
}

func monthNumber(day int) int {
	d := dateOf(day)
	return (d.Year-2000)*12 + d.Month - 1
}
