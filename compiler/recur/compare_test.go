package recur

import (
	"testing"

	"mealtab/compiler/plan"
	"mealtab/compiler/recur/rulegen"
)

// TestAgainstDateutil compares with python3-dateutil (2.8.2 in Debian 12).
func TestAgainstDateutil(t *testing.T) {
	t.Parallel()
	comparison{start: dateutil, rules: 5200, departures: dateutilDepartures}.run(t)
}

// TestAgainstLibical compares with libical 3.0 (3.0.16 in Debian 12), which also knows SKIP. It does not agree
// with itself on a DTSTART that does not fit its rule, so every set here starts with its first instance.
func TestAgainstLibical(t *testing.T) {
	t.Parallel()
	comparison{start: libical(t), rules: 5200, options: rulegen.Options{Skip: true}, matchingStart: true, departures: libicalDepartures,
		extra: []plan.Recurrence{
			{Start: day(2027, 1, 1), Rule: &plan.Rule{Freq: plan.Yearly, ByYearDay: []int{366}, Skip: plan.Forward}},
			{Start: day(2029, 12, 27), Rule: &plan.Rule{Freq: plan.Yearly, ByWeekNo: []int{52}, ByDay: []plan.WeekdayNum{{Day: plan.Thursday}, {Day: plan.Sunday}}}},
			{Start: day(2025, 5, 1), Rule: &plan.Rule{Freq: plan.Weekly, Interval: 3, WeekStart: plan.Friday, ByDay: []plan.WeekdayNum{{Day: plan.Monday}, {Day: plan.Thursday}}}},
			{Start: day(2027, 6, 4), Rule: &plan.Rule{Freq: plan.Yearly, Interval: 4, ByWeekNo: []int{22}}},
		}}.run(t)
}

// TestAgainstRRuleGo compares with the expansion of rrule-go 1.8.2, of which the product uses the parser only. On
// many rules without any instance it never returns, so random sets start with their first instance.
func TestAgainstRRuleGo(t *testing.T) {
	t.Parallel()
	comparison{start: rruleGo, rules: 3000, matchingStart: true, departures: rruleGoDepartures,
		extra: []plan.Recurrence{
			{Start: day(2026, 12, 1), Rule: &plan.Rule{Freq: plan.Hourly, Interval: 2, ByHour: []int{7, 13}}},
			{Start: day(2026, 12, 7), Rule: &plan.Rule{Freq: plan.Monthly, ByDay: []plan.WeekdayNum{{N: -6}, {N: 1}}}},
			{Start: day(2033, 1, 1), Rule: &plan.Rule{Freq: plan.Yearly, ByWeekNo: []int{53}, ByDay: []plan.WeekdayNum{{Day: plan.Saturday}}}},
		}}.run(t)
}

func day(year, month, day int) plan.Local { return plan.Local{Year: year, Month: month, Day: day} }
