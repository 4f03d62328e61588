package recur

import (
	"slices"

	"mealtab/compiler/plan"
)

// part is a BYxxx part of a rule, in the order in which RFC 5545 §3.3.10 has them evaluated.
type part int

const (
	byMonth part = iota
	byWeekNo
	byYearDay
	byMonthDay
	byDay
	byHour
	byMinute
	bySecond
	bySetPos
	partCount
)

// effect is what a part does to the instances of a period.
type effect int

const (
	none   effect = iota // not allowed with this FREQ
	limit                // drops instances
	expand               // makes instances
	note1                // BYDAY in a month: limits beside BYMONTHDAY, else expands within the month
	// BYDAY in a year: limits beside BYYEARDAY or BYMONTHDAY, else expands within the week beside BYWEEKNO, within
	// the month beside BYMONTH, or within the year
	note2
)

// effects is the table of RFC 5545 §3.3.10. Its columns are FREQ.
var effects = [partCount][7]effect{
	//           SECONDLY MINUTELY HOURLY  DAILY   WEEKLY  MONTHLY YEARLY
	byMonth:    {limit, limit, limit, limit, limit, limit, expand},
	byWeekNo:   {none, none, none, none, none, none, expand},
	byYearDay:  {limit, limit, limit, none, none, none, expand},
	byMonthDay: {limit, limit, limit, limit, none, expand, expand},
	byDay:      {limit, limit, limit, limit, expand, note1, note2},
	byHour:     {limit, limit, limit, expand, expand, expand, expand},
	byMinute:   {limit, limit, expand, expand, expand, expand, expand},
	bySecond:   {limit, expand, expand, expand, expand, expand, expand},
	bySetPos:   {limit, limit, limit, limit, limit, limit, limit},
}

// rule is an RRULE value as the referee reads it. Lists are ascending and without repetitions.
type rule struct {
	freq      plan.Freq
	interval  int64 // at least 1
	count     int64 // 0: absent
	until     *until
	weekStart plan.Weekday
	lists     [partCount][]int // all but BYDAY
	byDay     []plan.WeekdayNum
	skip      plan.Skip
}

// until is the inclusive end of a rule: an instant for form UTC, else a nominal time, for form Date the last
// second of its day.
type until struct {
	form    plan.Form
	seconds int64
}

func (r *rule) has(p part) bool {
	if p == byDay {
		return len(r.byDay) > 0
	}
	return len(r.lists[p]) > 0
}

// does reports whether part p is present and has effect e, the notes of the table resolved.
func (r *rule) does(p part, e effect) bool {
	if !r.has(p) {
		return false
	}
	actual := effects[p][r.freq]
	switch {
	case actual == note1 && r.has(byMonthDay),
		actual == note2 && (r.has(byYearDay) || r.has(byMonthDay)):
		actual = limit
	case actual == note1 || actual == note2:
		actual = expand
	}
	return actual == e
}

// allows reports whether value passes part p as a filter; an absent part lets everything pass.
func (r *rule) allows(p part, value int) bool {
	return !r.has(p) || slices.Contains(r.lists[p], value)
}

// allowsFromEnd is allows for parts that also count from the end: value of total is -1 when it is the last.
func (r *rule) allowsFromEnd(p part, value, total int) bool {
	return r.allows(p, value) || slices.Contains(r.lists[p], value-total-1)
}

// months are those of a year that BYMONTH lists, or all.
func (r *rule) months() []int {
	if r.has(byMonth) {
		return r.lists[byMonth]
	}
	return allMonths
}

var allMonths = []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}
