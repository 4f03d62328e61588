package describe

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"mealtab/compiler/plan"
)

// yearlyPhrase follows notes 1 and 2 of the table in RFC 5545 §3.3.10: which part gives days, and which only limit.
func (d describer) yearlyPhrase() string {
	r := d.rule
	year := every(r.Interval, "year")
	switch {
	case len(r.ByWeekNo) > 0:
		return d.weekNoPhrase() + " of " + year + d.alsoLimits()
	case len(r.ByYearDay) > 0:
		return "on " + yearDays(r.ByYearDay) + " of " + year + d.alsoLimits() + d.ifWeekday()
	case len(r.ByMonthDay) > 0 && len(r.ByMonth) > 0:
		return "on " + d.datesOfMonths(r.ByMonthDay) + " " + year + d.ifWeekday()
	case len(r.ByMonthDay) > 0:
		return "on " + joined(monthDays(r.ByMonthDay), "and") + " of every month of " + year + d.ifWeekday()
	case len(r.ByDay) > 0 && len(r.ByMonth) > 1 && numbersIn(r.ByDay):
		return "on " + joined(nthDays(r.ByDay, "every "), "and") + " of each of " + d.months() + " " + year
	case len(r.ByDay) > 0 && len(r.ByMonth) > 0:
		return "on " + joined(nthDays(r.ByDay, "every "), "and") + " of " + d.months() + " " + year
	case len(r.ByDay) > 0:
		return "on " + joined(nthDays(r.ByDay, "every "), "and") + " of " + year
	case len(r.ByMonth) > 0:
		return "on " + d.datesOfMonths([]int{d.set.Start.Day}) + " " + year
	}
	return fmt.Sprintf("on %d %s %s", d.set.Start.Day, time.Month(d.set.Start.Month), year)
}

func numbersIn(days []plan.WeekdayNum) bool {
	return slices.ContainsFunc(days, func(d plan.WeekdayNum) bool { return d.N != 0 })
}

// datesOfMonths is "24 and 25 December", "10 June and 10 July" or "the last day of June and July".
func (d describer) datesOfMonths(days []int) string {
	positive := days[0] > 0
	switch n := len(days); {
	case positive && len(d.rule.ByMonth) == 1 && n > 3 && days[n-1]-days[0] == n-1:
		return fmt.Sprintf("%d to %d %s", days[0], days[n-1], d.months())
	case positive && len(d.rule.ByMonth) == 1:
		words := make([]string, len(days))
		for i, n := range days {
			words[i] = strconv.Itoa(n)
		}
		return joined(words, "and") + " " + d.months()
	case positive && len(days) == 1 && len(d.rule.ByMonth) == 2:
		return fmt.Sprintf("%d %s and %d %s", days[0], time.Month(d.rule.ByMonth[0]), days[0], time.Month(d.rule.ByMonth[1]))
	}
	return joined(monthDays(days), "and") + " of " + d.months()
}

func (d describer) weekNoPhrase() string {
	r := d.rule
	days := "every day"
	switch {
	case len(r.ByDay) > 0:
		days = joined(plainDays(r.ByDay, true), "and")
	case len(r.ByMonthDay)+len(r.ByYearDay) == 0:
		days = d.startWeekday().Name()
	}
	words := make([]string, len(r.ByWeekNo))
	for i, n := range fromStart(r.ByWeekNo) {
		words[i] = fromEnd(n, "week", "week "+strconv.Itoa(n))
	}
	return "on " + days + " of " + joined(words, "and") + d.weeksBegin()
}

// alsoLimits names the parts beside BYWEEKNO or BYYEARDAY that limit.
func (d describer) alsoLimits() string {
	s := d.monthsSuffix()
	if len(d.rule.ByMonthDay) > 0 {
		s += " if it is " + joined(monthDays(d.rule.ByMonthDay), "or") + " of its month"
	}
	if len(d.rule.ByWeekNo) > 0 && len(d.rule.ByYearDay) > 0 {
		s += " if it is " + yearDays(d.rule.ByYearDay) + " of the year"
	}
	return s
}
