package recur

import (
	"time"

	"mealtab/compiler/plan"
)

const daySeconds = 86400

// date is a day of the calendar with everything a BYxxx part may ask of it. Package time does the calendar, so
// that the referee shares no date arithmetic with what it judges.
type date struct {
	day      int64 // since 1970-01-01
	year     int
	month    int // 1 to 12
	monthDay int // 1 to 31
	yearDay  int // 1 to 366
	weekday  plan.Weekday
}

func dateOf(day int64) date {
	t := time.Unix(day*daySeconds, 0).UTC()
	y, m, d := t.Date()
	return date{day, y, int(m), d, t.YearDay(), weekdayOf(day)}
}

// dayNumber counts days from 1970-01-01. Month 13 is January of the next year.
func dayNumber(year, month, day int) int64 {
	return time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC).Unix() / daySeconds
}

// weekdayOf rests on 1970-01-01 having been a Thursday.
func weekdayOf(day int64) plan.Weekday { return plan.Weekday(floorMod(day+int64(plan.Thursday), 7)) }

// weekStart is the latest day up to day that falls on wkst (WKST, RFC 5545 §3.3.10).
func weekStart(day int64, wkst plan.Weekday) int64 {
	return day - floorMod(int64(weekdayOf(day)-wkst), 7)
}

// firstWeek is the first day of week number 1: the first week with at least four days in the year, which is the
// one that holds 4 January (RFC 5545 §3.3.10, BYWEEKNO).
func firstWeek(year int, wkst plan.Weekday) int64 { return weekStart(dayNumber(year, 1, 4), wkst) }

// weekYear is the week-numbering year that day belongs to.
func weekYear(day int64, wkst plan.Weekday) int {
	y := dateOf(day).year + 1
	for firstWeek(y, wkst) > day {
		y--
	}
	return y
}

// span is a run of days: a month or a year.
type span struct{ first, days int64 }

func monthSpan(year, month int) span {
	first := dayNumber(year, month, 1)
	return span{first, dayNumber(year, month+1, 1) - first}
}

func yearSpan(year int) span {
	first := dayNumber(year, 1, 1)
	return span{first, dayNumber(year+1, 1, 1) - first}
}

func floorDiv(a, b int64) int64 { return (a - floorMod(a, b)) / b }

func floorMod(a, b int64) int64 {
	m := a % b
	if m < 0 {
		m += b
	}
	return m
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
