package recur

import (
	"math/bits"

	"mealtab/compiler/plan"
)

// daySet is a set of days around one period: from the day before it, to which SKIP=BACKWARD can move, to at least
// the day after it. Reading it in order gives each day once.
type daySet struct {
	origin int64
	words  [6]uint64 // 384 days; a week-numbering year has up to 371
}

func (s *daySet) reset(firstOfPeriod int64) { *s = daySet{origin: firstOfPeriod - 1} }

func (s *daySet) add(day int64) {
	i := uint64(day - s.origin)
	s.words[i/64] |= 1 << (i % 64)
}

// filter drops the days that keep refuses.
func (s *daySet) filter(keep func(date) bool) {
	for w, word := range s.words {
		for ; word != 0; word &= word - 1 {
			i := bits.TrailingZeros64(word)
			if !keep(dateOf(s.origin + int64(w*64+i))) {
				s.words[w] &^= 1 << i
			}
		}
	}
}

// appendTo appends the midnight of every day, in nominal seconds.
func (s *daySet) appendTo(midnights []int64) []int64 {
	for w, word := range s.words {
		for ; word != 0; word &= word - 1 {
			midnights = append(midnights, (s.origin+int64(w*64+bits.TrailingZeros64(word)))*daySeconds)
		}
	}
	return midnights
}

// daysOfYear fills the set of a YEARLY period.
func (g *generator) daysOfYear(year int) {
	r := g.rule
	switch {
	case r.has(byWeekNo):
		g.expandWeeks(year)
		g.days.filter(func(d date) bool {
			return r.allows(byMonth, d.month) && g.limitYearDay(d) && g.limitMonthDay(d)
		})
	case r.has(byYearDay):
		g.expandYearDays(year)
		g.limitWeekday()
	case r.has(byMonthDay):
		for _, m := range r.months() {
			g.expandMonthDays(monthSpan(year, m), r.lists[byMonthDay])
		}
		g.limitWeekday()
	case r.has(byDay) && r.has(byMonth):
		for _, m := range r.months() {
			g.expandWeekdays(monthSpan(year, m))
		}
	case r.has(byDay):
		g.expandWeekdays(yearSpan(year))
	case r.has(byMonth):
		for _, m := range r.months() {
			g.expandMonthDays(monthSpan(year, m), g.startMonthDay[:])
		}
	default:
		g.expandMonthDays(monthSpan(year, g.startDate.month), g.startMonthDay[:])
	}
}

// daysOfMonth fills the set of a MONTHLY period.
func (g *generator) daysOfMonth(month span, number int) {
	switch r := g.rule; {
	case !r.allows(byMonth, number):
	case r.has(byMonthDay):
		g.expandMonthDays(month, r.lists[byMonthDay])
		g.limitWeekday()
	case r.has(byDay):
		g.expandWeekdays(month)
	default:
		g.expandMonthDays(month, g.startMonthDay[:])
	}
}

// daysOfWeek fills the set of a WEEKLY period, whose days are first to first+6.
func (g *generator) daysOfWeek(first int64) {
	g.expandWeek(first)
	if g.rule.has(byMonth) {
		g.days.filter(func(d date) bool { return g.rule.allows(byMonth, d.month) })
	}
}

// limitDay reports whether a day passes the filters of a period of a day or less.
func (g *generator) limitDay(day int64) bool {
	r := g.rule
	if !r.has(byMonth) && !r.has(byYearDay) && !r.has(byMonthDay) && !r.has(byDay) {
		return true
	}
	d := dateOf(day)
	return r.allows(byMonth, d.month) && g.limitYearDay(d) && g.limitMonthDay(d) &&
		(!r.has(byDay) || g.onListedWeekday(d))
}

// expandWeeks adds the days of the listed weeks of a week-numbering year (BYWEEKNO).
func (g *generator) expandWeeks(year int) {
	r := g.rule
	first := firstWeek(year, r.weekStart)
	weeks := int((firstWeek(year+1, r.weekStart) - first) / 7)
	for _, n := range r.lists[byWeekNo] {
		if n < 0 {
			n += weeks + 1
		}
		if n < 1 || n > weeks {
			continue
		}
		week := first + int64(n-1)*7
		if !r.has(byDay) && (r.has(byYearDay) || r.has(byMonthDay)) {
			for d := int64(0); d < 7; d++ {
				g.days.add(week + d)
			}
			continue
		}
		g.expandWeek(week)
	}
}

// expandWeek adds the days of one week that BYDAY lists, or without BYDAY the weekday of DTSTART.
func (g *generator) expandWeek(first int64) {
	if !g.rule.has(byDay) {
		g.days.add(first + floorMod(int64(g.startDate.weekday-g.rule.weekStart), 7))
		return
	}
	for _, w := range g.rule.byDay {
		g.days.add(first + floorMod(int64(w.Day-g.rule.weekStart), 7))
	}
}

// expandYearDays adds the days that BYYEARDAY lists, limited by BYMONTH and BYMONTHDAY.
func (g *generator) expandYearDays(year int) {
	r, s := g.rule, yearSpan(year)
	for _, n := range r.lists[byYearDay] {
		day, exists := s.nth(int64(n))
		if !exists {
			if !r.has(byMonth) && !r.has(byMonthDay) {
				g.skip(s, n)
			}
			continue
		}
		if r.has(byMonth) || r.has(byMonthDay) {
			if d := dateOf(day); !r.allows(byMonth, d.month) || !g.limitMonthDay(d) {
				continue
			}
		}
		g.days.add(day)
	}
}

// expandMonthDays adds the listed days of one month.
func (g *generator) expandMonthDays(month span, monthDays []int) {
	for _, n := range monthDays {
		if day, exists := month.nth(int64(n)); exists {
			g.days.add(day)
		} else {
			g.skip(month, n)
		}
	}
}

// skip adds what SKIP puts in the place of day n, which s does not have: the nearest day before it or after it
// (RFC 7529 §4.1). A day counted from the end is missing before the first day, the others after the last.
func (g *generator) skip(s span, n int) {
	before, after := s.first+s.days-1, s.first+s.days
	if n < 0 {
		before, after = s.first-1, s.first
	}
	switch g.rule.skip {
	case plan.Backward:
		g.days.add(before)
	case plan.Forward:
		g.days.add(after)
	}
}

// expandWeekdays adds the days of a month or year that BYDAY lists: every such weekday, or the n-th.
func (g *generator) expandWeekdays(s span) {
	firstWeekday := int64(weekdayOf(s.first))
	for _, w := range g.rule.byDay {
		first := floorMod(int64(w.Day)-firstWeekday, 7) // days from s.first to the first such weekday
		count := (s.days - first + 6) / 7
		switch {
		case w.N == 0:
			for d := first; d < s.days; d += 7 {
				g.days.add(s.first + d)
			}
		case w.N > 0 && int64(w.N) <= count:
			g.days.add(s.first + first + 7*int64(w.N-1))
		case w.N < 0 && int64(-w.N) <= count:
			g.days.add(s.first + first + 7*(count+int64(w.N)))
		}
	}
}

// nth gives the n-th day of s, from the end if n is negative, and whether there is one.
func (s span) nth(n int64) (day int64, exists bool) {
	if n < 0 {
		n += s.days + 1
	}
	return s.first + n - 1, n >= 1 && n <= s.days
}

// limitWeekday drops the days that BYDAY does not list, where it limits.
func (g *generator) limitWeekday() {
	if g.rule.does(byDay, limit) {
		g.days.filter(g.onListedWeekday)
	}
}

// onListedWeekday is BYDAY as a filter. A number counts within the month for MONTHLY or beside BYMONTH, else
// within the year.
func (g *generator) onListedWeekday(d date) bool {
	for _, w := range g.rule.byDay {
		if w.Day != d.weekday {
			continue
		}
		if w.N == 0 {
			return true
		}
		place, days := d.yearDay, int(yearSpan(d.year).days)
		if g.rule.freq == plan.Monthly || g.rule.has(byMonth) {
			place, days = d.monthDay, int(monthSpan(d.year, d.month).days)
		}
		if w.N == (place-1)/7+1 || -w.N == (days-place)/7+1 {
			return true
		}
	}
	return false
}

func (g *generator) limitYearDay(d date) bool {
	return !g.rule.has(byYearDay) || g.rule.allowsFromEnd(byYearDay, d.yearDay, int(yearSpan(d.year).days))
}

func (g *generator) limitMonthDay(d date) bool {
	return !g.rule.has(byMonthDay) || g.rule.allowsFromEnd(byMonthDay, d.monthDay, int(monthSpan(d.year, d.month).days))
}
