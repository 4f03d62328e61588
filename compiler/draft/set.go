package draft

import (
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/plan"
	"mealtab/compiler/source"
)

// Names are the words for the parts of a recurrence set in the language of the source.
type Names struct{ Start, Rule, RDate, ExDate string }

// Set is a recurrence set as a reader leaves it.
type Set struct {
	Heading  source.Span
	Names    Names
	Start    *Stamp
	Rule     *plan.Rule
	RuleText source.Text
	HasRule  bool
	Single   bool  // without a rule the start is the only instance (iCalendar); else the rule is daily
	At       []int // minutes of the day
	AtSpan   source.Span
	RDate    []Stamp
	ExDate   []Stamp
	Broken   bool // some part was faulty, which has been reported: what depends on it is not judged
}

// Stamp is a date or date-time with its place.
type Stamp struct {
	Local plan.Local
	Form  plan.Form
	Span  source.Span
	Shown string // as written
	Key   string // property, where it is not the usual one
}

// ReadRule parses the rule of a set and reports its faults at their places.
func (b *Builder) ReadRule(s *Set, t source.Text) {
	rule, errs := plan.ParseRule(t.S)
	for _, e := range errs {
		at := t.Span(e.From, e.To)
		if e.From == e.To {
			at = t.All()
		}
		b.Fail(e.Code, at, e.Hint, "%s", e.Message)
	}
	s.RuleText, s.HasRule, s.Rule = t, true, rule
	s.Broken = s.Broken || rule == nil
}

// ReadTimes reads the times of day of a set, which stand together at a place.
func (b *Builder) ReadTimes(s *Set, list []Field, at source.Span) {
	s.At, s.AtSpan = b.times(list), at
	s.Broken = s.Broken || len(s.At) == 0
}

// times gives minutes of the day in ascending order; nil after a fault.
func (b *Builder) times(list []Field) []int {
	var minutes []int
	seen := map[int]bool{}
	faults := false
	for _, f := range list {
		minute, err := plan.ParseTimeOfDay(f.S)
		switch {
		case err != nil:
			b.Fail(err.Code, f.At, err.Hint, "%q %s", f.S, err.Message)
			faults = true
		case seen[minute]:
			b.Fail(plan.CodeDuplicate, f.At, "remove one of them", "%q is given twice", f.S)
			faults = true
		default:
			seen[minute] = true
			minutes = append(minutes, minute)
		}
	}
	if faults {
		return nil
	}
	slices.Sort(minutes)
	return minutes
}

// Probe puts a set together without a word about its faults, which are reported when it becomes a meal. ok is false where there are any.
func (b *Builder) Probe(s Set) (r plan.Recurrence, ok bool) {
	quiet := *b
	quiet.ds, quiet.errorCount = nil, 0
	r = quiet.recurrence(&s, &plan.MealPlaces{})
	return r, quiet.errorCount == 0 && r.Start != plan.Local{} && b.Plan.Zone != ""
}

// recurrence checks a set and puts it together. Where RFC 5545 leaves things to DTSTART, so do we.
func (b *Builder) recurrence(s *Set, where *plan.MealPlaces) plan.Recurrence {
	r := plan.Recurrence{Rule: s.Rule, At: s.At}
	if s.Broken {
		return r
	}
	b.defaults(s, &r)
	if s.Start == nil {
		return r
	}
	r.Form, r.Start = s.Start.Form, s.Start.Local
	where.Start, where.At = b.at(s.Start.Span), b.at(s.AtSpan)
	if s.HasRule {
		where.Rule = b.Pos(s.RuleText.All())
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
func (b *Builder) findLast(r *plan.Recurrence) {
	if r.Rule.Count == 0 || b.zones == nil || b.Plan.Zone == "" {
		return
	}
	rule, n := *r, 0
	rule.RDate, rule.ExDate, rule.ExDays = nil, nil, nil
	last := plan.Local{}
	err := b.zones.Walk(b.Plan.Zone, b.Plan.Gap, rule, func(nominal, _ plan.Local) bool {
		n, last = n+1, nominal
		return true
	})
	if err == nil && n == r.Rule.Count { // else it ends after the calendar does
		r.Last = last
	}
}

// defaults supplies the rule and the start that were not written.
func (b *Builder) defaults(s *Set, r *plan.Recurrence) {
	if s.Start == nil && !s.HasRule && len(s.At) == 0 && len(s.RDate) > 0 {
		// Only single dates: the first is DTSTART, which is an instance of a set without a rule.
		first := slices.MinFunc(s.RDate, func(a, b Stamp) int { return a.Local.Compare(b.Local) })
		s.Start = &first
		return
	}
	if s.Single && !s.HasRule && len(s.At) > 0 && s.Start != nil {
		// One event with several times of day: those of its date.
		until := &plan.Until{Form: plan.Date, Local: s.Start.Local.Date()}
		s.Rule = &plan.Rule{Freq: plan.Daily, Interval: 1, Until: until}
		s.Rule.Text = s.Rule.String()
		r.Rule = s.Rule
	}
	if !s.HasRule && !s.Single {
		s.Rule = &plan.Rule{Text: "FREQ=DAILY", Freq: plan.Daily, Interval: 1}
		r.Rule = s.Rule
		if s.Start != nil && len(s.RDate) > 0 && len(s.At) == 0 {
			b.Warn(plan.CodeAmbiguous, s.RDate[0].Span,
				"for single dates only, leave dtstart out; for a daily meal with extra dates, write rrule = \"FREQ=DAILY\"",
				"without rrule the meal is daily, besides its rdate")
		}
	}
	if s.Start != nil || s.Single {
		return
	}
	if why := needsStart(s); why != "" {
		b.Fail(plan.CodeMissing, s.Heading, fmt.Sprintf("write for example %s = 2026-12-01T07:00:00", s.Names.Start), "the meal has no %s, and %s", s.Names.Start, why)
		return
	}
	s.Start = &Stamp{Local: plan.Local{Year: plan.FirstYear, Month: 1, Day: 1}, Form: plan.Zoned}
}

// needsStart says what a rule takes from DTSTART; "" when nothing: then the meal has always been.
func needsStart(s *Set) string {
	r := s.Rule
	switch {
	case len(s.At) == 0 && len(r.ByHour) == 0:
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
func (b *Builder) checkAt(s *Set) {
	if len(s.At) == 0 || s.Rule == nil {
		return
	}
	for _, e := range s.Rule.ClashesWithTimes() {
		b.Fail(plan.CodeConflict, b.partSpan(s, e.Part), e.Hint, "%s", e.Message)
	}
}

// checkDateForm wants the times of day from somewhere when the start is a date.
func (b *Builder) checkDateForm(s *Set, r *plan.Recurrence) {
	if r.Form != plan.Date {
		return
	}
	switch {
	case r.Rule == nil || len(r.At) == 0 && len(r.Rule.ByHour) == 0 && r.Rule.Freq >= plan.Daily:
		b.Fail(plan.CodeMissing, s.Start.Span, "add the time to it, or BYHOUR to the rule", "%s is a date without a time of day", s.Names.Start)
	case r.Rule.Freq < plan.Daily:
		b.Fail(plan.CodeConflict, s.Start.Span, "add the time to it", "FREQ=%s needs a time of day to count from (RFC 5545 §3.3.10)", plan.FreqNames[r.Rule.Freq])
	}
}

// partSpan is the place of one part of the rule, or of the whole rule.
func (b *Builder) partSpan(s *Set, name string) source.Span {
	if !s.HasRule {
		return s.Heading
	}
	upper := strings.ToUpper(s.RuleText.S)
	for from := 0; from < len(upper); {
		to := from + strings.IndexByte(upper[from:]+";", ';')
		piece := upper[from:to]
		if key, _, _ := strings.Cut(piece, "="); strings.TrimSpace(key) == name {
			lead := len(piece) - len(strings.TrimLeft(piece, " \t\r\n"))
			return s.RuleText.Span(from+lead, from+len(strings.TrimRight(piece, " \t\r\n")))
		}
		from = to + 1
	}
	return s.RuleText.All()
}

// checkUntil refuses a local UNTIL for a UTC start and years outside the calendar. RFC 5545 §3.3.10 wants UTC with a
// zoned start; calendars write local times and dates as well, and what they mean is clear.
func (b *Builder) checkUntil(s *Set, r *plan.Recurrence) {
	if r.Rule == nil || r.Rule.Until == nil {
		return
	}
	u, at := r.Rule.Until, b.partSpan(s, "UNTIL")
	switch {
	case r.Form == plan.UTC && u.Form == plan.Zoned:
		b.Fail(plan.CodeConflict, at, "write UNTIL="+u.Local.Basic(plan.UTC)+" (UTC)", "UNTIL is a local time, but %s is UTC", s.Names.Start)
	case u.Local.Year < plan.FirstYear:
		b.Fail(plan.CodeRange, at, "", "UNTIL lies before 2000, where the clock's calendar begins")
	case u.Local.Year > plan.LastYear:
		b.Warn(plan.CodeIgnored, at, "leave UNTIL out for a meal without end", "UNTIL lies after 2099-12-31, where the clock's calendar ends")
	case u.Local.Date().Compare(r.Start.Date()) < 0 && (u.Form == r.Form || u.Form == plan.Date):
		b.Warn(plan.CodeNever, at, "", "the rule ends before the meal starts (%s %s)", s.Names.Start, s.Start.Shown)
	}
}
