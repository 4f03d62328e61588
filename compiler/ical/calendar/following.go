package calendar

import (
	"slices"
	"strings"

	"mealtab/compiler/draft"
	"mealtab/compiler/plan"
)

// follow applies the overrides of an instance and all that follow it (RFC 5545 §3.2.13): the series ends before, and
// another begins, moved by as much as the instance is. The last is applied first, because each names an instance of the
// series as it was written.
func (s *seriesReader) follow(meals, overrides []*event) []*event {
	var following []*event
	for _, e := range overrides {
		if e.following && !e.meal.Set.Broken && (e.cancelled || e.meal.Set.Start != nil) {
			following = append(following, e)
		}
	}
	slices.SortFunc(following, func(a, b *event) int {
		return strings.Compare(s.instantKey(*b.recurrence), s.instantKey(*a.recurrence))
	})
	for _, e := range following {
		whole, ok := s.split(e)
		if !e.cancelled && ok {
			meals = append(meals, e)
		}
		if whole {
			return meals[1:]
		}
	}
	return meals
}

const followHint = "end the series with UNTIL and begin a new one"

// split ends the series before an override and makes a series of the override. whole says that nothing is left of the old
// one; ok is false after a fault, which has been reported.
func (s *seriesReader) split(e *event) (whole, ok bool) {
	fail := func(format string, args ...any) (bool, bool) {
		s.Fail(plan.CodeUnsupported, e.recurrence.Span, followHint, format, args...)
		return false, false
	}
	set, good := s.Probe(s.master.meal.Set)
	at, timed := s.utc(*e.recurrence)
	if !good || !timed || set.Rule == nil || s.zones == nil {
		return fail("an override of all following instances cannot be followed here")
	}
	set.RDate, set.ExDate, set.ExDays = nil, nil, nil
	before, nominal := 0, plan.Local{}
	err := s.zones.Walk(s.Plan.Zone, s.Plan.Gap, set, func(n, utc plan.Local) bool {
		if utc == at {
			nominal = n
		} else if nominal.IsZero() {
			before++
		}
		return nominal.IsZero() && n.Compare(at.AddDays(2)) <= 0
	})
	switch {
	case err != nil:
		return fail("this instance cannot be found: %v", err)
	case nominal.IsZero():
		return fail("%s is not an instance of its series, so nothing says which instances follow", e.recurrence.Shown)
	}
	form := set.Form
	if form == plan.Date {
		form = plan.Zoned
	}
	if !e.cancelled && !s.successor(e, set, nominal, form, before) {
		return fail("the instances that follow cannot all be moved by as much: no rule says what that would be")
	}
	s.endBefore(nominal, form)
	return before == 0 && len(s.master.meal.Set.RDate) == 0, true
}

// endBefore ends the series before an instance.
func (s *seriesReader) endBefore(nominal plan.Local, form plan.Form) {
	set := &s.master.meal.Set
	rule := *set.Rule
	rule.Count, rule.Until = 0, &plan.Until{Form: form, Local: nominal.AddSeconds(-1)}
	rule.Text = rule.String()
	set.Rule = &rule
	earlier := func(list []draft.Stamp) []draft.Stamp {
		return slices.DeleteFunc(list, func(x draft.Stamp) bool { return !s.earlier(x, nominal, form) })
	}
	set.RDate, set.ExDate = earlier(set.RDate), earlier(set.ExDate)
}

// earlier reports whether a date of the series comes before an instance.
func (s *seriesReader) earlier(x draft.Stamp, nominal plan.Local, form plan.Form) bool {
	return s.inSeries(x, form).Local.Compare(nominal) < 0
}

// inSeries is a time in the form of the series. What cannot be converted is reported when it becomes a date of a meal.
func (s *seriesReader) inSeries(x draft.Stamp, form plan.Form) draft.Stamp {
	if x.Form != form && x.Form != plan.Date && s.zones != nil {
		if l, err := s.zones.Convert(s.Plan.Zone, x.Local, x.Form, form); err == nil {
			x.Local, x.Form = l, form
		}
	}
	return x
}

// successor makes the override a series: what is left of the old one, moved as the instance is.
func (s *seriesReader) successor(e *event, old plan.Recurrence, nominal plan.Local, form plan.Form, before int) bool {
	start := s.inSeries(*e.meal.Set.Start, form)
	m := move{days: start.Local.DayNumber() - nominal.DayNumber(), minutes: start.Local.MinuteOfDay() - nominal.MinuteOfDay()}
	rule, at, ok := m.rule(*old.Rule, old, nominal)
	if !ok || start.Form != form || start.Local.Second != nominal.Second {
		return false
	}
	if rule.Count > 0 {
		rule.Count -= before
	}
	rule.Text = rule.String()
	set := &e.meal.Set
	set.Start, set.Rule, set.At = &start, &rule, at
	set.RuleText, set.HasRule = s.master.meal.Set.RuleText, true
	moved := func(list []draft.Stamp) (out []draft.Stamp) {
		for _, x := range list {
			if x = s.inSeries(x, form); x.Local.Compare(nominal) >= 0 {
				x.Local = m.time(x.Local)
				out = append(out, x)
			}
		}
		return out
	}
	set.RDate, set.ExDate = moved(s.master.meal.Set.RDate), moved(s.master.meal.Set.ExDate)
	return true
}

// move is how far an instance was moved, by the calendar and by the clock.
type move struct{ days, minutes int }

func (m move) time(l plan.Local) plan.Local { return l.AddDays(m.days).AddSeconds(m.minutes * 60) }

// rule moves a rule; at are its times of day where it does not take them from DTSTART. False: there is no such rule.
func (m move) rule(r plan.Rule, old plan.Recurrence, nominal plan.Local) (moved plan.Rule, at []int, ok bool) {
	if u := r.Until; u != nil {
		moved := *u
		moved.Local = u.Local.AddDays(m.days)
		if u.Form != plan.Date {
			moved.Local = m.time(u.Local)
		}
		r.Until = &moved
	}
	if at, ok = m.times(&r, old); !ok {
		return r, nil, false
	}
	return r, at, m.dates(&r, nominal)
}

// times moves the times of day, none past midnight.
func (m move) times(r *plan.Rule, old plan.Recurrence) (at []int, ok bool) {
	own := len(r.ByHour)+len(r.ByMinute) > 0
	switch {
	case m.minutes == 0:
		return old.At, true
	case r.Freq < plan.Daily:
		return nil, !own && m.free(r)
	case !own && len(old.At) == 0:
		return nil, true
	}
	at = slices.Clone(old.At)
	if own {
		at = product(orElse(r.ByHour, old.Start.Hour), orElse(r.ByMinute, old.Start.Minute))
	}
	for i := range at {
		if at[i] += m.minutes; at[i] < 0 || at[i] >= 24*60 {
			return nil, false
		}
	}
	r.ByHour, r.ByMinute, r.BySecond = nil, nil, nil
	return at, true
}

func orElse(list []int, one int) []int {
	if len(list) == 0 {
		return []int{one}
	}
	return list
}

// product is the times of day of BYHOUR and BYMINUTE.
func product(hours, minutes []int) (times []int) {
	for _, h := range hours {
		for _, m := range minutes {
			times = append(times, h*60+m)
		}
	}
	return times
}

// free reports whether a rule takes all its days from DTSTART.
func (m move) free(r *plan.Rule) bool {
	return len(r.ByDay)+len(r.ByMonthDay)+len(r.ByYearDay)+len(r.ByWeekNo)+len(r.ByMonth)+len(r.BySetPos) == 0 && r.Skip == plan.Omit
}

// lastSafeDay is the last day of the month that every month has.
const lastSafeDay = 28

// dates moves the days of a rule.
func (m move) dates(r *plan.Rule, nominal plan.Local) bool {
	if m.days == 0 {
		return true
	}
	if r.Freq == plan.Weekly && r.Interval > 1 {
		r.WeekStart = laterBy(r.WeekStart, m.days) // so that the same weeks are counted
	}
	if r.Freq == plan.Daily || r.Freq == plan.Weekly {
		days := slices.Clone(r.ByDay)
		for i := range days {
			days[i].Day = laterBy(days[i].Day, m.days)
		}
		slices.SortFunc(days, func(a, b plan.WeekdayNum) int { return int(a.Day - b.Day) })
		others := *r
		others.ByDay, r.ByDay = nil, days
		return m.free(&others)
	}
	if r.Freq < plan.Daily {
		return m.free(r)
	}
	day := nominal.Day + m.days
	return m.free(r) && nominal.Day <= lastSafeDay && day >= 1 && day <= lastSafeDay
}

func laterBy(d plan.Weekday, days int) plan.Weekday { return plan.Weekday(((int(d)+days)%7 + 7) % 7) }
