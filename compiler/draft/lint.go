package draft

import (
	"fmt"
	"math"
	"slices"
	"time"

	"mealtab/compiler/plan"
	"mealtab/compiler/units"
)

// maxSpread is how far servings may typically be from the portion before it is worth a word. Common practice, no
// source: cups for dry food err by more.
const maxSpread = 0.25

// warnRounding compares a portion with whole pockets. The feeder carries the remainder, so that a portion of p pockets
// is served as floor(p) or floor(p)+1, in the ratio that makes the sum right.
func (b *Builder) warnRounding(m Meal) {
	pocket := b.Plan.Wheel.PocketMilligrams
	pockets := float64(m.Portion.Milligrams) / float64(pocket)
	whole := m.Portion.Milligrams / pocket
	rest := pockets - float64(whole)
	spread := math.Sqrt(rest*(1-rest)) / pockets // standard deviation of a serving, relative to the portion
	switch {
	case rest == 0 || spread <= maxSpread:
	case whole == 0:
		b.Warn(plan.CodeRounding, m.PortionAt, "use a wheel with smaller pockets, or fewer and larger meals",
			"%s is less than one pocket (%s): only about %d of 100 servings turn the wheel", m.Portion, units.Milligrams(pocket).InGrams(), int(math.Round(100*rest)))
	default:
		b.Warn(plan.CodeRounding, m.PortionAt, "over time the total is right; smaller pockets would make each serving right too",
			"%s is %.2f pockets of %s: servings alternate between %s and %s", m.Portion, pockets, units.Milligrams(pocket).InGrams(),
			units.Milligrams(whole*pocket).InGrams(), units.Milligrams((whole+1)*pocket).InGrams())
	}
}

// lintRule warns of rules that are valid and often not what was meant.
func (b *Builder) lintRule(s *Set, r *plan.Recurrence) {
	b.lintStart(s, r)
	b.lintMonthDays(s, r)
	b.lintRareDays(s, r)
	b.lintYearlyMonthDay(s, r)
	b.lintSetPos(s, r)
	b.lintCount(s, r)
}

// lintCount: COUNT counts servings (RFC 5545 §3.3.10), and "ten days of tablets" twice a day end on the fifth.
func (b *Builder) lintCount(s *Set, r *plan.Recurrence) {
	rule := r.Rule
	a := len(r.TimesOfDay())
	if rule.Freq < plan.Daily || rule.Count == 0 || a < 2 || len(rule.BySetPos) > 0 {
		return
	}
	ends := ""
	if !r.Last.IsZero() {
		ends = ", the last on " + r.Last.InWords(r.Form)
	}
	hint := "for a number of days, end the rule with UNTIL and the last date"
	if rule.Freq == plan.Daily && rule.Interval == 1 && len(rule.ByDay)+len(rule.ByMonth)+len(rule.ByMonthDay) == 0 {
		if last := r.Start.Date().AddDays(min(rule.Count, 36525) - 1); last.Year <= plan.LastYear {
			hint = fmt.Sprintf("for %d days, write UNTIL=%s instead", rule.Count, last.Basic(plan.Date))
		}
	}
	b.Warn(plan.CodeCount, b.partSpan(s, "COUNT"), hint, "COUNT counts servings, not days: %d servings in all, %d a day%s", rule.Count, a, ends)
}

// lintStart: a start at another time than those of at is no meal.
func (b *Builder) lintStart(s *Set, r *plan.Recurrence) {
	if len(r.At) == 0 || r.Form == plan.Date || s.Start.Shown == "" || slices.Contains(r.At, r.Start.MinuteOfDay()) {
		return
	}
	b.Warn(plan.CodeStart, s.Start.Span, fmt.Sprintf("write %s = %s to begin on that day", s.Names.Start, dashed(r.Start)),
		"%02d:%02d is not among the times of at: no meal is served then", r.Start.Hour, r.Start.Minute)
}

// lintMonthDays: days that short months, or February of most years, do not have (RFC 5545 §3.3.10 drops them). A list
// with the day before as well serves those months; BYSETPOS or BYDAY beside it pick from the days there are.
func (b *Builder) lintMonthDays(s *Set, r *plan.Recurrence) {
	rule := r.Rule
	if rule.Skip != plan.Omit || len(rule.BySetPos)+len(rule.ByDay)+len(rule.ByWeekNo)+len(rule.ByYearDay) > 0 {
		return
	}
	days, part := rule.ByMonthDay, "BYMONTHDAY"
	if len(days) == 0 {
		if rule.Freq != plan.Monthly && rule.Freq != plan.Yearly {
			return
		}
		days, part = []int{r.Start.Day}, "FREQ"
	}
	months := rule.ByMonth
	if len(months) == 0 && rule.Freq == plan.Yearly && part == "FREQ" {
		months = []int{r.Start.Month}
	}
	for _, d := range days {
		before := d - 1
		if d < 0 {
			before = d + 1
		}
		if abs(d) < 29 || slices.Contains(days, before) {
			continue
		}
		if msg := shortMonths(d, months); msg != "" {
			b.Warn(plan.CodeShortPeriod, b.partSpan(s, part), skipHint(d, rule), "%s", msg)
		}
	}
}

// skipHint says how RFC 7529 keeps the meal. BACKWARD from the 31st is the month's last day.
func skipHint(day int, rule *plan.Rule) string {
	if rule.Freq < plan.Monthly {
		return "the last day of every month is BYMONTHDAY=-1, the first is BYMONTHDAY=1"
	}
	if day < 0 {
		return "add RSCALE=GREGORIAN;SKIP=FORWARD to serve the first day instead"
	}
	if day == 31 && rule.Freq == plan.Monthly {
		return "add RSCALE=GREGORIAN;SKIP=BACKWARD to serve the last day instead, or use BYMONTHDAY=-1"
	}
	return "add RSCALE=GREGORIAN;SKIP=BACKWARD to serve the last day instead, or SKIP=FORWARD for the first of the next month"
}

// shortMonths says which of the months lack a day; "" when none does. No months means all.
func shortMonths(day int, months []int) string {
	if len(months) == 0 {
		months = []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}
	}
	var never []int // but February counts here only for days beyond 29
	leapOnly := false
	for _, m := range months {
		switch {
		case plan.DaysIn(2000, m) < abs(day):
			never = append(never, m)
		case plan.DaysIn(2001, m) < abs(day):
			leapOnly = true
		}
	}
	on := fmt.Sprintf("on the %s", plan.Ordinal(day))
	if day < 0 {
		on = fmt.Sprintf("on the %s day from the end", plan.Ordinal(-day))
	}
	switch {
	case len(never) == len(months):
		return fmt.Sprintf("%s: no meal is ever served, the month is too short", on)
	case len(never) == 1:
		return fmt.Sprintf("%s: no meal in %s", on, time.Month(never[0]))
	case len(never) > 1:
		return fmt.Sprintf("%s: %d months a year have none and get no meal", on, len(never))
	case leapOnly && len(months) == 1:
		return "29 February: only leap years get a meal"
	case leapOnly:
		return fmt.Sprintf("%s: no meal in February outside leap years", on)
	}
	return ""
}

// lintRareDays: the fifth weekday of a month, day 366, week 53.
func (b *Builder) lintRareDays(s *Set, r *plan.Recurrence) {
	rule := r.Rule
	inMonth := rule.Freq == plan.Monthly || rule.Freq == plan.Yearly && len(rule.ByMonth) > 0
	for _, d := range rule.ByDay {
		switch {
		case inMonth && abs(d.N) > 5:
			b.Warn(plan.CodeNever, b.partSpan(s, "BYDAY"), "", "no month has %d %ss: no meal is ever served on %d%s", abs(d.N), d.Day.Name(), d.N, plan.DayNames[d.Day])
		case inMonth && abs(d.N) == 5 && !slices.Contains(rule.ByDay, plan.WeekdayNum{N: d.N / 5 * 4, Day: d.Day}):
			b.Warn(plan.CodeShortPeriod, b.partSpan(s, "BYDAY"), fmt.Sprintf("the last %s of every month is -1%s", d.Day.Name(), plan.DayNames[d.Day]),
				"most months have only four %ss and get no meal", d.Day.Name())
		}
	}
	if rule.Skip == plan.Omit && len(rule.ByDay) == 0 {
		for _, d := range rule.ByYearDay {
			if abs(d) == 366 && !slices.Contains(rule.ByYearDay, d/366*365) {
				b.Warn(plan.CodeShortPeriod, b.partSpan(s, "BYYEARDAY"), "the last day of every year is -1", "only leap years have a day 366")
			}
		}
	}
	for _, w := range rule.ByWeekNo {
		if abs(w) == 53 && !slices.Contains(rule.ByWeekNo, w/53*52) {
			b.Warn(plan.CodeShortPeriod, b.partSpan(s, "BYWEEKNO"), "the last week of every year is -1", "most years have no week 53 and get no meal")
		}
	}
}

// lintYearlyMonthDay: RFC 5545 §3.3.10 can be read as every month (the table: BYMONTHDAY expands) or as the start's
// month only (the prose: a missing month comes from DTSTART). Calendar programs differ.
func (b *Builder) lintYearlyMonthDay(s *Set, r *plan.Recurrence) {
	rule := r.Rule
	if rule.Freq == plan.Yearly && len(rule.ByMonthDay) > 0 && len(rule.ByMonth)+len(rule.ByWeekNo)+len(rule.ByYearDay) == 0 {
		b.Warn(plan.CodeAmbiguous, b.partSpan(s, "BYMONTHDAY"), fmt.Sprintf("for one month only, add BYMONTH=%d; for every month, write FREQ=MONTHLY", r.Start.Month),
			"FREQ=YEARLY with BYMONTHDAY but no BYMONTH is read as every month; some calendar programs serve one month only")
	}
}

// lintSetPos: a position that no period's set reaches.
func (b *Builder) lintSetPos(s *Set, r *plan.Recurrence) {
	most := largestSet(r)
	for _, p := range r.Rule.BySetPos {
		if abs(p) > most {
			b.Warn(plan.CodeNever, b.partSpan(s, "BYSETPOS"), "", "BYSETPOS=%d never applies: the set of %s has at most %d", p, r.Rule.Freq.Period(), most)
		}
	}
}

// largestSet is an upper bound of the instances in one period.
func largestSet(r *plan.Recurrence) int {
	rule := r.Rule
	count := func(list []int, atMost, otherwise int) int {
		if len(list) > 0 {
			return min(len(list), atMost)
		}
		return otherwise
	}
	n := 1
	if rule.Freq >= plan.Daily {
		n *= max(1, len(r.At)) * count(rule.ByHour, 24, 1)
	}
	if rule.Freq >= plan.Hourly {
		n *= count(rule.ByMinute, 60, 1)
	}
	if rule.Freq >= plan.Minutely {
		n *= count(rule.BySecond, 60, 1)
	}
	return n * largestDays(rule)
}

// largestDays is an upper bound of the days in one period. Where several parts expand, the smaller bound holds.
func largestDays(rule *plan.Rule) int {
	byDay := func(perWeekday int) int {
		days := 0
		for _, d := range rule.ByDay {
			if d.N != 0 {
				days++
			} else {
				days += perWeekday
			}
		}
		return days
	}
	switch rule.Freq {
	case plan.Weekly:
		return max(1, len(rule.ByDay))
	case plan.Monthly:
		return daysBound(31, len(rule.ByMonthDay), byDay(5))
	case plan.Yearly:
		months := max(1, len(rule.ByMonth))
		if len(rule.ByMonth) == 0 {
			months = 12
		}
		weekly := byDay(53)
		if len(rule.ByMonth) > 0 {
			weekly = months * byDay(5)
		}
		if len(rule.ByWeekNo) > 0 {
			return daysBound(7*len(rule.ByWeekNo), len(rule.ByWeekNo)*max(1, len(rule.ByDay)))
		}
		bound := daysBound(366, months*len(rule.ByMonthDay), len(rule.ByYearDay), weekly)
		if bound == 1 {
			return max(1, len(rule.ByMonth))
		}
		return bound
	}
	return 1
}

// daysBound is the smallest of the bounds that are not zero, which means absent; 1 when all are absent.
func daysBound(limit int, bounds ...int) int {
	least := 0
	for _, n := range bounds {
		if n > 0 && (least == 0 || n < least) {
			least = n
		}
	}
	return max(1, min(limit, least))
}

func abs(n int) int { return max(n, -n) }
