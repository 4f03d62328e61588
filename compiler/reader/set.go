package reader

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/plan"
)

// setNames are the words for the parts of a recurrence set in the language of the source.
type setNames struct{ start, rule, rdate, exdate string }

// rawSet is a recurrence set as either reader leaves it.
type rawSet struct {
	heading  span
	keys     setNames
	start    *stamp
	rule     *plan.Rule
	ruleText text
	hasRule  bool
	single   bool // without a rule the start is the only instance (iCalendar); else the rule is daily
	at       []int
	atSpan   span
	rdate    []stamp
	exdate   []stamp
	broken   bool // some part was faulty, which has been reported: what depends on it is not judged
}

// recurrence checks a set and puts it together. Where RFC 5545 leaves things to DTSTART, so do we.
func (b *builder) recurrence(s *rawSet, where *plan.MealPlaces) plan.Recurrence {
	r := plan.Recurrence{Rule: s.rule, At: s.at}
	if s.broken {
		return r
	}
	b.defaults(s, &r)
	if s.start == nil {
		return r
	}
	r.Form, r.Start = s.start.form, s.start.local
	where.Start, where.At = b.at(s.start.span), b.at(s.atSpan)
	if s.hasRule {
		where.Rule = b.ix.pos(s.ruleText.all())
	}
	before := b.errorCount
	b.checkAt(s)
	b.checkDateForm(s, &r)
	b.checkUntil(s, &r)
	b.checkSeconds(s, &r)
	b.explicitDates(s, &r, where)
	if r.Rule != nil && b.errorCount == before {
		b.findLast(&r)
		b.lintRule(s, &r)
	}
	return r
}

// findLast looks where COUNT ends the rule, which no one sees by reading it.
func (b *builder) findLast(r *plan.Recurrence) {
	if r.Rule.Count == 0 || b.opts.Walk == nil || b.plan.Zone == "" {
		return
	}
	rule, n := *r, 0
	rule.RDate, rule.ExDate, rule.ExDays = nil, nil, nil
	last := plan.Local{}
	err := b.opts.Walk(b.plan.Zone, b.plan.Gap, rule, func(nominal, _ plan.Local) bool {
		n, last = n+1, nominal
		return true
	})
	if err == nil && n == r.Rule.Count { // else it ends after the calendar does
		r.Last = last
	}
}

// defaults supplies the rule and the start that were not written.
func (b *builder) defaults(s *rawSet, r *plan.Recurrence) {
	if s.start == nil && !s.hasRule && len(s.at) == 0 && len(s.rdate) > 0 {
		// Only single dates: the first is DTSTART, which is an instance of a set without a rule.
		first := slices.MinFunc(s.rdate, func(a, b stamp) int { return a.local.Compare(b.local) })
		s.start = &first
		return
	}
	if s.single && !s.hasRule && len(s.at) > 0 && s.start != nil {
		// One event with several times of day: those of its date.
		until := &plan.Until{Form: plan.Date, Local: s.start.local.Date()}
		s.rule = &plan.Rule{Freq: plan.Daily, Interval: 1, Until: until}
		s.rule.Text = s.rule.String()
		r.Rule = s.rule
	}
	if !s.hasRule && !s.single {
		s.rule = &plan.Rule{Text: "FREQ=DAILY", Freq: plan.Daily, Interval: 1}
		r.Rule = s.rule
		if s.start != nil && len(s.rdate) > 0 && len(s.at) == 0 {
			b.warn(plan.CodeAmbiguous, s.rdate[0].span,
				"for single dates only, leave dtstart out; for a daily meal with extra dates, write rrule = \"FREQ=DAILY\"",
				"without rrule the meal is daily, besides its rdate")
		}
	}
	if s.start != nil || s.single {
		return
	}
	if why := needsStart(s); why != "" {
		b.fail(plan.CodeMissing, s.heading, fmt.Sprintf("write for example %s = 2026-12-01T07:00:00", s.keys.start), "the meal has no %s, and %s", s.keys.start, why)
		return
	}
	s.start = &stamp{local: plan.Local{Year: plan.FirstYear, Month: 1, Day: 1}, form: plan.Zoned}
}

// needsStart says what a rule takes from DTSTART; "" when nothing: then the meal has always been.
func needsStart(s *rawSet) string {
	r := s.rule
	switch {
	case len(s.at) == 0 && len(r.ByHour) == 0:
		return "nothing else says the time of day"
	case r.Freq < plan.Daily:
		return fmt.Sprintf("FREQ=%s counts from it", plan.FreqNames[r.Freq])
	case r.Interval > 1:
		return fmt.Sprintf("INTERVAL=%d counts from it", r.Interval)
	case r.Count > 0:
		return "COUNT counts from it"
	case r.Freq == plan.Weekly && len(r.ByDay) == 0:
		return "nothing else says the weekday"
	case r.Freq == plan.Monthly && len(r.ByDay)+len(r.ByMonthDay) == 0:
		return "nothing else says the day of the month"
	case r.Freq == plan.Yearly && len(r.ByDay)+len(r.ByMonthDay)+len(r.ByYearDay) == 0:
		return "nothing else says the day"
	}
	return ""
}

// checkAt refuses at beside a rule that has its own times of day.
func (b *builder) checkAt(s *rawSet) {
	if len(s.at) == 0 || s.rule == nil {
		return
	}
	if s.rule.Freq < plan.Daily {
		b.fail(plan.CodeConflict, b.partSpan(s, "FREQ"), "use FREQ=DAILY with at", "at cannot be used with FREQ=%s", plan.FreqNames[s.rule.Freq])
		return
	}
	for _, part := range []struct {
		name string
		list []int
	}{{"BYHOUR", s.rule.ByHour}, {"BYMINUTE", s.rule.ByMinute}, {"BYSECOND", s.rule.BySecond}} {
		if len(part.list) > 0 {
			b.fail(plan.CodeConflict, b.partSpan(s, part.name), "keep at, or the rule's own times of day", "at and %s exclude each other", part.name)
		}
	}
}

// checkDateForm wants the times of day from somewhere when the start is a date.
func (b *builder) checkDateForm(s *rawSet, r *plan.Recurrence) {
	if r.Form != plan.Date {
		return
	}
	switch {
	case r.Rule == nil || len(r.At) == 0 && len(r.Rule.ByHour) == 0 && r.Rule.Freq >= plan.Daily:
		b.fail(plan.CodeMissing, s.start.span, "add the time to it, or BYHOUR to the rule", "%s is a date without a time of day", s.keys.start)
	case r.Rule.Freq < plan.Daily:
		b.fail(plan.CodeConflict, s.start.span, "add the time to it", "FREQ=%s needs a time of day to count from (RFC 5545 §3.3.10)", plan.FreqNames[r.Rule.Freq])
	}
}

// partSpan is the place of one part of the rule, or of the whole rule.
func (b *builder) partSpan(s *rawSet, name string) span {
	if !s.hasRule {
		return s.heading
	}
	upper := strings.ToUpper(s.ruleText.s)
	for from := 0; from < len(upper); {
		to := from + strings.IndexByte(upper[from:]+";", ';')
		piece := upper[from:to]
		if key, _, _ := strings.Cut(piece, "="); strings.TrimSpace(key) == name {
			lead := len(piece) - len(strings.TrimLeft(piece, " \t\r\n"))
			return s.ruleText.span(from+lead, from+len(strings.TrimRight(piece, " \t\r\n")))
		}
		from = to + 1
	}
	return s.ruleText.all()
}

// checkUntil refuses a local UNTIL for a UTC start and years outside the calendar. RFC 5545 §3.3.10 wants UTC with a
// zoned start; calendars write local times and dates as well, and what they mean is clear.
func (b *builder) checkUntil(s *rawSet, r *plan.Recurrence) {
	if r.Rule == nil || r.Rule.Until == nil {
		return
	}
	u, at := r.Rule.Until, b.partSpan(s, "UNTIL")
	switch {
	case r.Form == plan.UTC && u.Form == plan.Zoned:
		b.fail(plan.CodeConflict, at, "write UNTIL="+u.Local.Basic(plan.UTC)+" (UTC)", "UNTIL is a local time, but %s is UTC", s.keys.start)
	case u.Local.Year < plan.FirstYear:
		b.fail(plan.CodeRange, at, "", "UNTIL lies before 2000, where the clock's calendar begins")
	case u.Local.Year > plan.LastYear:
		b.warn(plan.CodeIgnored, at, "leave UNTIL out for a meal without end", "UNTIL lies after 2099-12-31, where the clock's calendar ends")
	case u.Local.Date().Compare(r.Start.Date()) < 0 && (u.Form == r.Form || u.Form == plan.Date):
		b.warn(plan.CodeNever, at, "", "the rule ends before the meal starts (%s %s)", s.keys.start, s.start.shown)
	}
}

// explicitDates brings RDATE and EXDATE into the form of the start, sorted and without repetitions.
func (b *builder) explicitDates(s *rawSet, r *plan.Recurrence, where *plan.MealPlaces) {
	var dates, exDates, exDays []stamp
	for _, d := range s.rdate {
		if d.form == plan.Date {
			b.fail(plan.CodeType, d.span, fmt.Sprintf("write the time of day too: %sT10:00:00", dashed(d.local)), "an extra meal needs a time of day")
		} else if l, ok := b.inForm(d, r.Form, s.keys.rdate, s.keys.start); ok && b.second(d, l) {
			b.fail(plan.CodeUnsupported, d.span, fmt.Sprintf("give it a meal of its own with %s in UTC", s.keys.start),
				"the clock shows %s twice on that day, and this is the second time: a meal in local time is served the first", l.local.String()[11:16])
		} else if ok {
			dates = append(dates, l)
		}
		if d.local.Second != 0 {
			b.fail(plan.CodeSeconds, d.span, "", "meals are served on whole minutes")
		}
	}
	r.RDate, where.RDate = b.ordered(dates)
	for _, d := range s.exdate {
		if d.form != plan.Date && d.local.Second != 0 {
			b.fail(plan.CodeSeconds, d.span, "write the time of the meal itself, on the whole minute", "%s is not a time of a meal: meals are served on whole minutes", d.shown)
			continue
		}
		if d.form == plan.Date {
			exDays = append(exDays, d)
		} else if l, ok := b.inForm(d, r.Form, s.keys.exdate, s.keys.start); ok && b.second(d, l) {
			b.warn(plan.CodeIgnored, d.span, "", "%s leaves nothing out: the clock shows %s twice on that day, and the meal is served the first time",
				d.local.Basic(plan.UTC), l.local.String()[11:16])
		} else if ok {
			exDates = append(exDates, b.skipped(r, d, l)...)
		}
	}
	r.ExDate, where.ExDate = b.ordered(exDates)
	r.ExDays, where.ExDays = b.ordered(exDays)
}

func dashed(l plan.Local) string { return l.String()[:10] }

// inForm converts a time to the form of the start; a start that is a date means local times.
func (b *builder) inForm(d stamp, form plan.Form, key, startKey string) (stamp, bool) {
	if form == plan.Date {
		form = plan.Zoned
	}
	if d.form == form {
		return d, true
	}
	if b.opts.Convert == nil || b.plan.Zone == "" {
		b.fail(plan.CodeConflict, d.span, "write both as local time, or both as UTC with Z", "this %s is %s, but %s is %s", cmp.Or(d.key, key), formWord(d.form), startKey, formWord(form))
		return d, false
	}
	l, err := b.opts.Convert(b.plan.Zone, d.local, d.form, form)
	if err != nil {
		b.fail(plan.CodeDate, d.span, "", "%v", err)
		return d, false
	}
	d.local, d.form = l, form
	return d, true
}

// second reports whether l, which is what the clock shows at the instant d, shows it the second time.
func (b *builder) second(d, l stamp) bool {
	if d.form != plan.UTC || l.form != plan.Zoned {
		return false
	}
	u, err := b.opts.Convert(b.plan.Zone, l.local, plan.Zoned, plan.UTC)
	return err == nil && u != d.local
}

// skipped gives the nominal times that an instant d of the local time l excludes: when the clocks have just skipped an
// hour, that may be one which they never show.
func (b *builder) skipped(r *plan.Recurrence, d, l stamp) []stamp {
	if d.form != plan.UTC || l.form != plan.Zoned || b.opts.Walk == nil {
		return []stamp{l}
	}
	dayBefore, err := b.opts.Convert(b.plan.Zone, d.local.AddDays(-1), plan.UTC, plan.Zoned)
	hidden := l
	hidden.local = dayBefore.AddDays(1) // at the offset before the gap
	if err != nil || hidden.local == l.local {
		return []stamp{l}
	}
	if u, err := b.opts.Convert(b.plan.Zone, hidden.local, plan.Zoned, plan.UTC); err != nil || u != d.local {
		return []stamp{l}
	}
	var found []stamp
	err = b.opts.Walk(b.plan.Zone, b.plan.Gap, *r, func(nominal, _ plan.Local) bool {
		for _, x := range []stamp{hidden, l} {
			if nominal == x.local {
				found = append(found, x)
			}
		}
		return nominal.Compare(l.local) <= 0
	})
	if err != nil || len(found) == 0 {
		return []stamp{l}
	}
	return found
}

func formWord(f plan.Form) string {
	if f == plan.UTC {
		return "UTC"
	}
	return "local time"
}

// ordered sorts, removes repetitions and separates times from places.
func (b *builder) ordered(list []stamp) (locals []plan.Local, places []plan.Pos) {
	slices.SortStableFunc(list, func(x, y stamp) int { return x.local.Compare(y.local) })
	for i, d := range list {
		if i > 0 && d.local == list[i-1].local {
			continue
		}
		locals = append(locals, d.local)
		places = append(places, b.at(d.span))
	}
	return locals, places
}
