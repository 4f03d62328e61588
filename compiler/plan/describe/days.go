package describe

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"mealtab/compiler/plan"
)

var (
	workdays = []plan.Weekday{plan.Monday, plan.Tuesday, plan.Wednesday, plan.Thursday, plan.Friday}
	weekend  = []plan.Weekday{plan.Saturday, plan.Sunday}
	allWeek  = []plan.Weekday{plan.Monday, plan.Tuesday, plan.Wednesday, plan.Thursday, plan.Friday, plan.Saturday, plan.Sunday}
)

// daysPhrase says which days a rule of FREQ=DAILY or longer has.
func (d describer) daysPhrase() string {
	switch d.rule.Freq {
	case plan.Daily:
		return d.dailyPhrase() + d.monthsSuffix()
	case plan.Weekly:
		return d.weeklyPhrase() + d.monthsSuffix()
	case plan.Monthly:
		return d.monthlyPhrase() + d.monthsSuffix()
	}
	return d.yearlyPhrase()
}

// every is "each month", "every second month", "every 18th month".
func every(n int, noun string) string {
	switch n {
	case 1:
		return "each " + noun
	case 2:
		return "every second " + noun
	case 3:
		return "every third " + noun
	}
	return "every " + plan.Ordinal(n) + " " + noun
}

// monthsSuffix is " in June and July" for rules whose BYMONTH limits.
func (d describer) monthsSuffix() string {
	if len(d.rule.ByMonth) == 0 {
		return ""
	}
	return " in " + d.months()
}

func (d describer) months() string {
	m := d.rule.ByMonth
	if first, last, ok := season(m); ok {
		return time.Month(first).String() + " to " + time.Month(last).String()
	}
	words := make([]string, len(m))
	for i, n := range m {
		words[i] = time.Month(n).String()
	}
	return joined(words, "and")
}

// season finds the ends of at least three months that follow each other, across the turn of the year too.
func season(months []int) (first, last int, ok bool) {
	breaks := 0
	for i, m := range months {
		next := months[(i+1)%len(months)]
		if m%12+1 != next {
			first, last = next, m
			breaks++
		}
	}
	return first, last, len(months) > 2 && breaks == 1
}

func (d describer) dailyPhrase() string {
	r := d.rule
	phrase := "every day"
	if r.Interval > 1 {
		phrase = every(r.Interval, "day")
	} else if len(r.ByDay) > 0 && len(r.ByMonthDay) == 0 {
		return "every " + joined(plainDays(r.ByDay, false), "and")
	} else if len(r.ByMonthDay) > 0 {
		phrase = "on " + joined(monthDays(r.ByMonthDay), "and") + " of each month"
		return phrase + d.ifWeekday()
	}
	if len(r.ByMonthDay) > 0 {
		phrase += " that is " + joined(monthDays(r.ByMonthDay), "or") + " of a month"
	}
	return phrase + d.ifWeekday()
}

// ifWeekday is " if it is a Monday or Friday," for BYDAY that limits.
func (d describer) ifWeekday() string {
	if len(d.rule.ByDay) == 0 {
		return ""
	}
	return " if it is " + joined(nthDays(d.rule.ByDay, "a "), "or") + ","
}

func (d describer) weeklyPhrase() string {
	r := d.rule
	days := r.ByDay
	if len(days) == 0 {
		days = []plan.WeekdayNum{{Day: d.startWeekday()}}
	}
	names := plainDays(days, false)
	var phrase string
	switch {
	case r.Interval == 1:
		phrase = "every " + joined(names, "and")
	case len(days) == 1:
		phrase = every(r.Interval, names[0])
	case len(names) == 1: // "weekday" or "day"
		phrase = "on every " + names[0] + " of " + every(r.Interval, "week")
	default:
		phrase = "on " + joined(names, "and") + " of " + every(r.Interval, "week")
	}
	if r.Interval > 1 && len(days) > 1 {
		phrase += d.weeksBegin()
	}
	return phrase
}

// weeksBegin says WKST where it is not the usual Monday.
func (d describer) weeksBegin() string {
	if d.rule.WeekStart == plan.Monday {
		return ""
	}
	return fmt.Sprintf(" (weeks begin on %s)", d.rule.WeekStart.Name())
}

func (d describer) startWeekday() plan.Weekday {
	s := d.set.Start
	monday0 := int(time.Date(s.Year, time.Month(s.Month), s.Day, 0, 0, 0, 0, time.UTC).Weekday()+6) % 7
	return plan.Weekday(monday0)
}

func (d describer) monthlyPhrase() string {
	r := d.rule
	month := every(r.Interval, "month")
	switch {
	case len(r.ByMonthDay) > 0:
		return "on " + joined(monthDays(r.ByMonthDay), "and") + " of " + month + d.ifWeekday()
	case len(r.ByDay) > 0:
		return "on " + joined(nthDays(r.ByDay, "every "), "and") + " of " + month
	}
	return "on the " + plan.Ordinal(d.set.Start.Day) + " of " + month
}

// plainDays names weekdays without numbers. Monday to Friday are "weekday", all seven "day"; article puts "every"
// before those two.
func plainDays(days []plan.WeekdayNum, article bool) []string {
	set := make([]plan.Weekday, len(days))
	for i, d := range days {
		set[i] = d.Day
	}
	slices.Sort(set)
	prefix := ""
	if article {
		prefix = "every "
	}
	switch {
	case slices.Equal(set, workdays):
		return []string{prefix + "weekday"}
	case slices.Equal(set, allWeek):
		return []string{prefix + "day"}
	}
	words := make([]string, len(set))
	for i, d := range set {
		words[i] = d.Name()
	}
	return words
}

// nthDays names weekdays with their numbers: "the first Monday", "the last Friday"; plain says what goes before those
// without number ("every ", "a ").
func nthDays(days []plan.WeekdayNum, plain string) []string {
	if !numbersIn(days) {
		words := plainDays(days, false)
		for i := range words {
			if i == 0 || plain == "every " {
				words[i] = plain + words[i]
			}
		}
		return words
	}
	notNegative := slices.IndexFunc(days, func(d plan.WeekdayNum) bool { return d.N >= 0 })
	if notNegative > 0 { // as they come in a month: counted from the end comes last
		days = append(slices.Clone(days[notNegative:]), days[:notNegative]...)
	}
	words := make([]string, len(days))
	for i, d := range days {
		words[i] = plain + d.Day.Name()
		if d.N != 0 {
			words[i] = position(d.N, d.Day.Name())
		}
	}
	return words
}

// position is "the first Monday", "the 20th Monday", "the last Friday", "the last Friday but one".
func position(n int, noun string) string {
	small := []string{"", "first", "second", "third", "fourth", "fifth"}
	if n > 0 && n < len(small) {
		return "the " + small[n] + " " + noun
	}
	return fromEnd(n, noun, "the "+plan.Ordinal(max(n, 1))+" "+noun)
}

// fromEnd names a negative position; positive ones are given by the caller.
func fromEnd(n int, noun, positive string) string {
	switch {
	case n == -1:
		return "the last " + noun
	case n == -2:
		return "the last " + noun + " but one"
	case n < 0:
		return fmt.Sprintf("the %s %s from the end", plan.Ordinal(-n), noun)
	}
	return positive
}

// monthDays is "the 1st", "the last day", …; a run of more than three is "the 10th to the 15th".
func monthDays(days []int) []string {
	if n := len(days); n > 3 && days[0] > 0 && days[n-1]-days[0] == n-1 {
		return []string{"the " + plan.Ordinal(days[0]) + " to the " + plan.Ordinal(days[n-1])}
	}
	words := make([]string, len(days))
	for i, d := range fromStart(days) {
		words[i] = fromEnd(d, "day", "the "+plan.Ordinal(max(d, 1)))
	}
	return words
}

// yearDays is "day 1, day 100 and the last day".
func yearDays(days []int) string {
	words := make([]string, len(days))
	for i, d := range fromStart(days) {
		words[i] = fromEnd(d, "day", "day "+strconv.Itoa(d))
	}
	return joined(words, "and")
}

// fromStart orders positive numbers before negative ones, as the days come in a month.
func fromStart(list []int) []int {
	i, _ := slices.BinarySearch(list, 0)
	return append(slices.Clone(list[i:]), list[:i]...)
}
