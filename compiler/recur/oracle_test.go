package recur

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
	"mealtab/compiler/recur/rulegen"
)

// The oracle reads the RFC the other way round: it expands nothing, but asks of every day and every time of day
// whether the rule has it, and of which period. It knows the rule from plan's parsed lists, and weeks by their
// fourth day.
type oracle struct {
	r     *plan.Rule
	start time.Time
	at    []int
	// Parts that the rule leaves open, filled from DTSTART; nil: no restriction.
	months, monthDays []int
	weekdays          []plan.WeekdayNum
}

func newOracle(rec plan.Recurrence) *oracle {
	r, s := rec.Rule, rec.Start
	o := &oracle{r: r, at: rec.At, months: r.ByMonth, monthDays: r.ByMonthDay, weekdays: r.ByDay,
		start: time.Date(s.Year, time.Month(s.Month), s.Day, s.Hour, s.Minute, s.Second, 0, time.UTC)}
	noDays := len(r.ByYearDay)+len(r.ByMonthDay)+len(r.ByDay) == 0
	switch {
	case !noDays:
	case r.Freq == plan.Weekly, len(r.ByWeekNo) > 0:
		o.weekdays = []plan.WeekdayNum{{Day: monday0(o.start)}}
	case r.Freq == plan.Monthly:
		o.monthDays = []int{s.Day}
	case r.Freq == plan.Yearly:
		o.monthDays = []int{s.Day}
		if o.months == nil {
			o.months = []int{s.Month}
		}
	}
	return o
}

func monday0(t time.Time) plan.Weekday { return plan.Weekday((t.Weekday() + 6) % 7) }

func has(list []int, n int) bool { return list == nil || slices.Contains(list, n) }

func hasEither(list []int, n, total int) bool {
	return has(list, n) || slices.Contains(list, n-total-1)
}

func daysIn(year int, month time.Month) int {
	return time.Date(year, month+1, 0, 0, 0, 0, 0, time.UTC).Day()
}

func daysInYear(year int) int { return time.Date(year, 12, 31, 0, 0, 0, 0, time.UTC).YearDay() }

// week gives the week-numbering year, the week number and the number of weeks: a week belongs to the year of its
// fourth day.
func (o *oracle) week(d time.Time) (year, number, weeks int) {
	back := (int(monday0(d)) - int(o.r.WeekStart) + 7) % 7
	fourth := d.AddDate(0, 0, 3-back)
	number = (fourth.YearDay()-1)/7 + 1
	weeks = number + (daysInYear(fourth.Year())-fourth.YearDay())/7
	return fourth.Year(), number, weeks
}

// periods lists the periods (numbered from some origin, INTERVAL not yet applied) of whose set day d is, without
// regard to times.
func (o *oracle) periods(d time.Time) (out []int) {
	r := o.r
	add := func(p int) {
		if !slices.Contains(out, p) {
			out = append(out, p)
		}
	}
	if !o.weekdayFits(d) {
		return nil
	}
	month := d.Year()*12 + int(d.Month()) - 1
	plain := has(o.months, int(d.Month())) && hasEither(o.monthDays, d.Day(), daysIn(d.Year(), d.Month())) &&
		hasEither(r.ByYearDay, d.YearDay(), daysInYear(d.Year()))
	switch r.Freq {
	case plan.Yearly:
		if year, n, weeks := o.week(d); len(r.ByWeekNo) > 0 {
			if plain && hasEither(r.ByWeekNo, n, weeks) {
				add(year)
			}
			return out
		}
		if plain {
			add(d.Year())
		}
	case plan.Monthly:
		if plain {
			add(month)
		}
	case plan.Weekly:
		back := (int(monday0(d)) - int(r.WeekStart) + 7) % 7
		if plain {
			add(int(d.AddDate(0, 0, -back).Unix() / 86400 / 7))
		}
	default:
		if plain {
			add(int(d.Unix() / 86400))
		}
	}
	if r.Freq >= plan.Monthly && r.Skip != plan.Omit {
		o.movedHere(d, month, add)
	}
	return out
}

// movedHere finds the periods that miss a day for which SKIP puts d.
func (o *oracle) movedHere(d time.Time, month int, add func(int)) {
	r := o.r
	period := func(month int) int {
		if r.Freq == plan.Yearly {
			return month / 12
		}
		return month
	}
	// The month whose end, and the month whose beginning, d stands at.
	ending, beginning := month, month+1
	atEdge := d.Day() == daysIn(d.Year(), d.Month())
	if r.Skip == plan.Forward {
		ending, beginning = month-1, month
		atEdge = d.Day() == 1
	}
	if atEdge && len(r.ByYearDay) == 0 {
		for n := 29; n <= 31; n++ {
			if m := ending; o.monthDays != nil && slices.Contains(o.monthDays, n) && n > daysIn(m/12, time.Month(m%12+1)) && has(o.months, m%12+1) {
				add(period(m))
			}
			if m := beginning; o.monthDays != nil && slices.Contains(o.monthDays, -n) && n > daysIn(m/12, time.Month(m%12+1)) && has(o.months, m%12+1) {
				add(period(m))
			}
		}
	}
	if len(r.ByYearDay) > 0 && o.months == nil && o.monthDays == nil {
		endingYear, beginningYear := d.Year(), d.Year()+1
		atEdge = d.Month() == 12 && d.Day() == 31
		if r.Skip == plan.Forward {
			endingYear, beginningYear = d.Year()-1, d.Year()
			atEdge = d.YearDay() == 1
		}
		if atEdge && slices.Contains(r.ByYearDay, 366) && daysInYear(endingYear) == 365 {
			add(endingYear)
		}
		if atEdge && slices.Contains(r.ByYearDay, -366) && daysInYear(beginningYear) == 365 {
			add(beginningYear)
		}
	}
}

// weekdayFits asks BYDAY, counting same weekdays one by one.
func (o *oracle) weekdayFits(d time.Time) bool {
	ofDay := slices.ContainsFunc(o.weekdays, func(w plan.WeekdayNum) bool { return w.Day == monday0(d) })
	if len(o.weekdays) == 0 || !ofDay {
		return len(o.weekdays) == 0
	}
	inMonth := o.r.Freq == plan.Monthly || len(o.r.ByMonth) > 0
	same := func(x time.Time) bool { return x.Year() == d.Year() && (!inMonth || x.Month() == d.Month()) }
	fromStart, fromEnd := 0, 0
	for x := d; same(x); x = x.AddDate(0, 0, -7) {
		fromStart++
	}
	for x := d; same(x); x = x.AddDate(0, 0, 7) {
		fromEnd++
	}
	return slices.ContainsFunc(o.weekdays, func(w plan.WeekdayNum) bool {
		return w.Day == monday0(d) && (w.N == 0 || w.N == fromStart || w.N == -fromEnd)
	})
}

// timeFits asks a time of day, by the second; what FREQ leaves open must be DTSTART's.
func (o *oracle) timeFits(h, m, s int) bool {
	r := o.r
	if len(o.at) > 0 {
		return s == 0 && slices.Contains(o.at, h*60+m)
	}
	fits := func(list []int, v, ofStart int, open bool) bool {
		if len(list) > 0 {
			return slices.Contains(list, v)
		}
		return !open || v == ofStart
	}
	return fits(r.ByHour, h, o.start.Hour(), r.Freq > plan.Hourly) &&
		fits(r.ByMinute, m, o.start.Minute(), r.Freq > plan.Minutely) &&
		fits(r.BySecond, s, o.start.Second(), r.Freq > plan.Secondly)
}

// member is a nominal time and the period whose set it is in.
type member struct{ n, period int64 }

// members finds all of them on day d.
func (o *oracle) members(d time.Time, seconds []int) (out []member) {
	for _, p := range o.periods(d) {
		for _, s := range seconds {
			m := member{d.Unix() + int64(s), int64(p)}
			if o.r.Freq < plan.Daily {
				unit := [...]int64{1, 60, 3600}[o.r.Freq]
				m.period = m.n / unit
			}
			out = append(out, m)
		}
	}
	return out
}

// instances scans days days around DTSTART: all nominal times up to there.
func (o *oracle) instances(days int) []int64 {
	var seconds []int
	for h := range 24 {
		for m := range 60 {
			for s := range 60 {
				if o.timeFits(h, m, s) {
					seconds = append(seconds, h*3600+m*60+s)
				}
			}
		}
	}
	first := o.start.Truncate(24 * time.Hour)
	phase := o.phase(first)
	sets := map[int64][]int64{}
	// Sets begin before DTSTART, and the last ones must be whole.
	for i := -400; i < days+400; i++ {
		if o.r.Freq < plan.Weekly && (i < -1 || i > days+1) {
			continue
		}
		for _, m := range o.members(first.AddDate(0, 0, i), seconds) {
			if (m.period-phase)%int64(o.r.Interval) == 0 {
				sets[m.period] = append(sets[m.period], m.n)
			}
		}
	}
	var out []int64
	end := first.AddDate(0, 0, days).Unix()
	for _, set := range sets {
		slices.Sort(set)
		for i, n := range set {
			if n >= o.start.Unix() && n < end && (o.r.BySetPos == nil || hasEither(o.r.BySetPos, i+1, len(set))) {
				out = append(out, n)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// phase is the number of DTSTART's own period.
func (o *oracle) phase(d time.Time) int64 {
	switch o.r.Freq {
	case plan.Yearly:
		if year, _, _ := o.week(d); len(o.r.ByWeekNo) > 0 {
			return int64(year)
		}
		return int64(d.Year())
	case plan.Monthly:
		return int64(d.Year()*12 + int(d.Month()) - 1)
	case plan.Weekly:
		back := (int(monday0(d)) - int(o.r.WeekStart) + 7) % 7
		return d.AddDate(0, 0, -back).Unix() / 86400 / 7
	case plan.Daily:
		return d.Unix() / 86400
	}
	return o.start.Unix() / [...]int64{1, 60, 3600}[o.r.Freq]
}

// TestAgainstOracle compares the two readings on random rules with SKIP, BYSETPOS and times from at.
func TestAgainstOracle(t *testing.T) {
	t.Parallel()
	src := rand.New(rand.NewPCG(seed(), 3310))
	spans := [...]int{1, 2, 40, 300, 500, 1500, 3000} // days, by FREQ
	instances := 0
	for range 700 {
		rec := rulegen.Recurrence(src, rulegen.Options{Skip: true, At: true, NoEnd: true})
		rec.Form = plan.UTC
		days := spans[rec.Rule.Freq]
		s, err := New(rec, nil, plan.GapShift)
		require.NoError(t, err, rec.Rule.Text)
		want := newOracle(rec).instances(days)
		instances += len(want)
		end := s.start - floorMod(s.start, daySeconds) + int64(days)*daySeconds
		var got []int64
		c := s.Cursor()
		for in, ok := c.Next(); ok && in.Nominal < end; in, ok = c.Next() {
			got = append(got, in.Nominal)
		}
		if !slices.Equal(want, got) {
			t.Fatalf("%v %s at %v\n oracle  %d: %v\n referee %d: %v", rec.Start, rec.Rule.Text, rec.At, len(want), sample(want), len(got), sample(got))
		}
	}
	t.Logf("%d instances", instances)
	require.Greater(t, instances, 300000)
}

func sample(ns []int64) (out []string) {
	for _, n := range ns[:min(len(ns), 12)] {
		out = append(out, text(n))
	}
	return out
}
