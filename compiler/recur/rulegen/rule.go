package rulegen

import (
	"slices"
	"time"

	"mealtab/compiler/plan"
)

// rule makes a rule for a DTSTART; withAt keeps the times of day out of it.
func (g *generator) rule(start plan.Local, withAt bool) *plan.Rule {
	r := &plan.Rule{Freq: plan.Freq(g.IntN(7)), Interval: 1}
	if len(g.Freqs) > 0 {
		r.Freq = g.Freqs[g.IntN(len(g.Freqs))]
	}
	if withAt && r.Freq < plan.Daily {
		r.Freq = plan.Daily
	}
	if g.one(2) {
		r.Interval = g.interval(r.Freq)
	}
	if g.one(3) {
		r.WeekStart = plan.Weekday(g.IntN(7))
	}
	g.dayParts(r, start)
	if !withAt {
		g.timeParts(r)
	}
	if g.one(4) && hasPart(r, withAt) {
		r.BySetPos = g.signed(1+g.IntN(2), g.positions(r))
	}
	if g.Skip && g.one(2) {
		r.Skip = plan.Backward + plan.Skip(g.IntN(2))
	}
	if !g.NoEnd {
		g.end(r, start)
	}
	return r
}

func (g *generator) interval(f plan.Freq) int {
	longest := [...]int{100000, 3000, 60, 40, 9, 14, 5}[f]
	if g.one(2) {
		longest = 4
	}
	return 1 + g.IntN(longest)
}

// dayParts adds what the FREQ allows of BYMONTH, BYWEEKNO, BYYEARDAY, BYMONTHDAY and BYDAY (table of RFC 5545
// §3.3.10).
func (g *generator) dayParts(r *plan.Rule, start plan.Local) {
	f := r.Freq
	if g.one(4) {
		r.ByMonth = g.list(1+g.IntN(3), 1, 12)
		if g.one(2) {
			r.ByMonth = with(r.ByMonth, start.Month)
		}
	}
	if f == plan.Yearly && g.one(4) {
		r.ByWeekNo = g.signed(1+g.IntN(2), 53)
	}
	if (f == plan.Yearly || f < plan.Daily) && g.one(6) {
		r.ByYearDay = g.yearDays(start)
	}
	if f != plan.Weekly && g.one(4) {
		r.ByMonthDay = g.monthDays(start)
	}
	if g.one(3) {
		numbers := 0
		switch {
		case len(r.ByWeekNo) > 0 || g.one(2):
		case f == plan.Monthly || f == plan.Yearly && len(r.ByMonth) > 0:
			numbers = 6
		case f == plan.Yearly:
			numbers = 53
		}
		r.ByDay = g.weekdays(numbers)
	}
}

func (g *generator) yearDays(start plan.Local) []int {
	switch g.IntN(3) {
	case 0:
		return g.signed(1, 366)
	case 1:
		return []int{[]int{-366, -365, 1, 59, 60, 61, 365, 366}[g.IntN(8)]}
	}
	return with(g.signed(1+g.IntN(3), 366), date(start).YearDay())
}

func (g *generator) monthDays(start plan.Local) []int {
	switch g.IntN(4) {
	case 0:
		return []int{[]int{-31, -30, -29, -28, -1, 1, 28, 29, 30, 31}[g.IntN(10)]}
	case 1:
		first := 1 + g.IntN(25)
		return []int{first, first + 1, first + 2, first + 3, first + 4, first + 5, first + 6}
	case 2:
		return with(g.signed(1+g.IntN(3), 31), start.Day)
	}
	return g.signed(1+g.IntN(4), 31)
}

// weekdays makes BYDAY; numbers bounds its ordinals, 0 for none.
func (g *generator) weekdays(numbers int) []plan.WeekdayNum {
	var out []plan.WeekdayNum
	for range 1 + g.IntN(4) {
		w := plan.WeekdayNum{Day: plan.Weekday(g.IntN(7))}
		if numbers > 0 && !g.one(5) {
			w.N = g.signed(1, numbers)[0]
		}
		out = append(out, w)
	}
	slices.SortFunc(out, func(a, b plan.WeekdayNum) int {
		return slices.Compare([]int{a.N, int(a.Day)}, []int{b.N, int(b.Day)})
	})
	return slices.Compact(out)
}

// timeParts adds BYHOUR, BYMINUTE and BYSECOND.
func (g *generator) timeParts(r *plan.Rule) {
	if g.one(3) {
		r.ByHour = g.list(1+g.IntN(4), 0, 23)
	}
	if g.one(3) {
		r.ByMinute = g.list(1+g.IntN(4), 0, 59)
		if g.one(2) {
			r.ByMinute = []int{0, 20, 40}
		}
	}
	switch {
	case g.WholeMinutes && (r.Freq == plan.Secondly || g.one(8)):
		r.BySecond = []int{0}
	case !g.WholeMinutes && g.one(6):
		r.BySecond = g.list(1+g.IntN(2), 0, 59)
	}
}

// end adds COUNT or UNTIL to half of the rules. UNTIL lies where a handful of instances may come before it.
func (g *generator) end(r *plan.Rule, start plan.Local) {
	switch g.IntN(4) {
	case 0:
		r.Count = 1 + g.IntN(30)
	case 1:
		day := date(start).AddDate(0, 0, []int{1, 10, 100, 1000, 5000}[g.IntN(5)]*(1+g.IntN(4)))
		l := plan.Local{Year: day.Year(), Month: int(day.Month()), Day: day.Day()}
		form := plan.Zoned
		if len(g.UntilForms) > 0 {
			form = g.UntilForms[g.IntN(len(g.UntilForms))]
		}
		if form != plan.Date {
			l.Hour, l.Minute = start.Hour, start.Minute
			if g.one(2) {
				l.Hour = g.IntN(24)
			}
		}
		r.Until = &plan.Until{Form: form, Local: l}
	}
}

// positions bounds BYSETPOS. A period shorter than a day has a known number of instances, and a position beyond
// makes a rule that is empty for ever, so a rule of those stays within it.
func (g *generator) positions(r *plan.Rule) int {
	minutes, seconds := max(len(r.ByMinute), 1), max(len(r.BySecond), 1)
	switch r.Freq {
	case plan.Secondly:
		return 1
	case plan.Minutely:
		return seconds
	case plan.Hourly:
		return minutes * seconds
	}
	return []int{1, 2, 3, 5, 9}[g.IntN(5)]
}

func hasPart(r *plan.Rule, withAt bool) bool {
	return withAt || len(r.ByMonth)+len(r.ByWeekNo)+len(r.ByYearDay)+len(r.ByMonthDay)+len(r.ByDay)+
		len(r.ByHour)+len(r.ByMinute)+len(r.BySecond) > 0
}

// list makes up to n numbers from low to high, ascending.
func (g *generator) list(n, low, high int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = low + g.IntN(high-low+1)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// signed makes up to n numbers from 1 to high, every third negated, ascending.
func (g *generator) signed(n, high int) []int {
	out := g.list(n, 1, high)
	for i := range out {
		if g.one(3) {
			out[i] = -out[i]
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func with(list []int, n int) []int {
	list = append(list, n)
	slices.Sort(list)
	return slices.Compact(list)
}

func date(l plan.Local) time.Time {
	return time.Date(l.Year, time.Month(l.Month), l.Day, 0, 0, 0, 0, time.UTC)
}
