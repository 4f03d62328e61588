// Package calendar reads and writes plans as iCalendar (RFC 5545): a VCALENDAR is a plan, a VEVENT a meal, and what iCalendar has no words
// for stands in properties of its own (see package reader for their names).
//
// In: a file in a [draft.Builder], or a [plan.Plan] with its zone. Out: meals as the file has them, or events that are read back with
// the same recurrence sets, portions and settings and that other programs show at the right times. Lines and values are the business of
// package ical.
package calendar

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"mealtab/compiler/ical"
	"mealtab/compiler/plan"
	"mealtab/compiler/zone"
)

// shownMinutes is how long a meal lasts in a calendar, long enough to be seen.
const shownMinutes = 10

// Write writes a plan as iCalendar. The time of writing gives every event its revision. z is the plan's zone; without it no VTIMEZONE
// is written, which RFC 7809 allows where programs know the IANA names, and UNTIL stays as it is, where RFC 5545 §3.3.10 wants UTC.
//
// A meal whose times (at) are no product of hours and minutes becomes several events of the same name; where COUNT or
// BYSETPOS forbids that, the times go into X-MEALTAB-AT, which other programs do not know.
func Write(w io.Writer, p *plan.Plan, z *zone.Zone, written time.Time) error {
	c := &writer{Writer: ical.NewWriter(w, written), plan: p, zone: z}
	c.head()
	c.timezone()
	for i := range p.Meals {
		for n, part := range c.parts(&p.Meals[i]) {
			c.event(&p.Meals[i], part, fmt.Sprint(n))
		}
	}
	return c.Close()
}

type writer struct {
	*ical.Writer
	plan *plan.Plan
	zone *zone.Zone // may be nil
}

// timezone describes the plan's zone, if any meal is in its local time.
func (c *writer) timezone() {
	first, local := plan.LastYear, false
	for i := range c.plan.Meals {
		set := &c.plan.Meals[i].Set
		local = local || set.Form != plan.UTC
		for _, l := range slices.Concat([]plan.Local{set.Start}, set.RDate) {
			first = min(first, l.Year)
		}
	}
	if c.zone != nil && local {
		c.Zone(describe(c.zone, first))
	}
}

// head writes the calendar's properties.
func (c *writer) head() {
	p := c.plan
	if p.Name != "" {
		c.Text("X-WR-CALNAME", p.Name)
	}
	c.Text("X-WR-TIMEZONE", p.Zone)
	c.ours("LATE", fmt.Sprintf("%d min", p.Late))
	if p.Board != "" {
		c.ours("BOARD", p.Board)
	}
	if p.Gap == plan.GapOmit {
		c.ours("GAP", "omit")
	}
	if !p.PresetUntil.IsZero() {
		c.ours("PRESET-UNTIL", p.PresetUntil.Basic(plan.Date))
	}
	if w := p.Wheel; w != nil {
		if w.PocketMilligrams > 0 {
			c.ours("POCKET", plan.Portion{Milligrams: w.PocketMilligrams}.String())
		}
		if w.TurnMillis > 0 {
			c.ours("TURN", fmt.Sprintf("%d ms", w.TurnMillis))
		}
		if w.TrimMicros != 0 {
			c.ours("TRIM", fmt.Sprintf("%d us", w.TrimMicros))
		}
	}
	if p.Hopper > 0 {
		c.ours("HOLDS", plan.Portion{Milligrams: p.Hopper}.String())
	}
	if p.Button != nil {
		c.ours("BUTTON", p.Button.Portion.String())
		c.ours("BUTTON-PER-HOUR", fmt.Sprint(p.Button.PerHour))
		if p.Button.PerDay > 0 {
			c.ours("BUTTON-PER-DAY", fmt.Sprint(p.Button.PerDay))
		}
	}
}

func (c *writer) ours(name, value string) { c.Text(Prefix+name, value) }

// event writes one VEVENT.
func (c *writer) event(m *plan.Meal, r plan.Recurrence, id string) {
	c.Event(ical.UID(c.plan.Name, m.Name, id))
	c.dates("DTSTART", r.Form, []plan.Local{r.Start})
	if r.Rule != nil {
		c.Line("RRULE", c.rule(r).String())
	}
	c.dates("RDATE", r.Form, r.RDate)
	c.dates("EXDATE", r.Form, r.ExDate)
	c.dates("EXDATE", plan.Date, r.ExDays)
	c.Line("DURATION", fmt.Sprintf("PT%dM", shownMinutes))
	c.Text("SUMMARY", m.Name+" "+m.Portion.String())
	if !nameFromTitle(m.Name) {
		c.ours("NAME", m.Name)
	}
	if len(r.At) > 0 {
		c.Line(Prefix+"AT", clockList(r.At))
	}
	if m.Presets != 0 {
		c.Line(Prefix+"PRESETS", c.presets(m.Presets))
	}
	c.Line("TRANSP", "TRANSPARENT")
	c.Line("END", "VEVENT")
}

// nameFromTitle reports whether a reader finds the name by taking the portion off the title.
func nameFromTitle(name string) bool {
	return name == strings.TrimRight(name, " \t:,-–—(")
}

func clockList(minutes []int) string {
	words := make([]string, len(minutes))
	for i, m := range minutes {
		words[i] = fmt.Sprintf("%02d:%02d", m/60, m%60)
	}
	return strings.Join(words, ",")
}

func (c *writer) presets(mask uint8) string {
	var words []string
	for i, name := range c.plan.Presets {
		if mask&(1<<i) != 0 {
			words = append(words, ical.EscapeText(name))
		}
	}
	return strings.Join(words, ",")
}

// dates writes a property of dates or date-times.
func (c *writer) dates(name string, form plan.Form, list []plan.Local) {
	if len(list) == 0 {
		return
	}
	switch form {
	case plan.Zoned:
		name += ";TZID=" + c.plan.Zone
	case plan.Date:
		name += ";VALUE=DATE"
	}
	words := make([]string, len(list))
	for i, l := range list {
		words[i] = l.Basic(form)
	}
	c.Line(name, strings.Join(words, ","))
}

// rule is the rule with UNTIL of the type that RFC 5545 §3.3.10 wants. A date means the whole day.
func (c *writer) rule(r plan.Recurrence) *plan.Rule {
	rule := *r.Rule
	u := rule.Until
	if u == nil || u.Form == plan.UTC {
		return &rule
	}
	until := plan.Until{Form: r.Form, Local: u.Local}
	if u.Form == plan.Date {
		until.Local.Hour, until.Local.Minute, until.Local.Second = 23, 59, 59
	}
	if r.Form == plan.Zoned && c.zone != nil {
		at, _ := c.zone.Resolve(until.Local.Unix())
		until = plan.Until{Form: plan.UTC, Local: plan.AtUnix(at)}
	}
	rule.Until = &until
	return &rule
}

// parts gives a meal's recurrence as sets that an RRULE can express, times of day included.
func (c *writer) parts(m *plan.Meal) []plan.Recurrence {
	r := m.Set
	if r.Form == plan.Date {
		r.Form = plan.Zoned // at 00:00:00; the times come from elsewhere
	}
	if len(r.At) == 0 {
		r.Start = firstTime(r)
		return []plan.Recurrence{r}
	}
	if hours, minutes := grid(r.At); len(hours)*len(minutes) == len(r.At) {
		return []plan.Recurrence{withTimes(r, r.At)}
	}
	if r.Rule.Count > 0 || len(r.Rule.BySetPos) > 0 {
		return []plan.Recurrence{r}
	}
	var out []plan.Recurrence
	for _, times := range byMinute(r.At) {
		part := withTimes(r, times)
		mine := func(l plan.Local) bool { return owner(r.At, l) == times[0]%60 }
		part.RDate, part.ExDate = slices.DeleteFunc(slices.Clone(r.RDate), not(mine)), slices.DeleteFunc(slices.Clone(r.ExDate), not(mine))
		out = append(out, part)
	}
	return out
}

func not(f func(plan.Local) bool) func(plan.Local) bool {
	return func(l plan.Local) bool { return !f(l) }
}

// owner is the minute of the part that an explicit date goes to: its own, else the first. RDATE and EXDATE of the same
// time must meet.
func owner(at []int, l plan.Local) int {
	if slices.Contains(at, l.Hour*60+l.Minute) {
		return l.Minute
	}
	return at[0] % 60
}

// grid is the hours and the minutes that occur.
func grid(times []int) (hours, minutes []int) {
	for _, t := range times {
		hours, minutes = append(hours, t/60), append(minutes, t%60)
	}
	slices.Sort(hours)
	slices.Sort(minutes)
	return slices.Compact(hours), slices.Compact(minutes)
}

// byMinute groups times that share the minute; the group of the first time comes first.
func byMinute(times []int) [][]int {
	var out [][]int
	for _, t := range times {
		i := slices.IndexFunc(out, func(g []int) bool { return g[0]%60 == t%60 })
		if i < 0 {
			out = append(out, nil)
			i = len(out) - 1
		}
		out[i] = append(out[i], t)
	}
	return out
}

// withTimes puts times, a product of hours and minutes, into the rule.
func withTimes(r plan.Recurrence, times []int) plan.Recurrence {
	rule := *r.Rule
	rule.ByHour, rule.ByMinute = grid(times)
	if r.Start.Second != 0 {
		rule.BySecond = []int{0}
	}
	r.Rule, r.At = &rule, nil
	r.Start = firstTime(r)
	return r
}

// firstTime moves the start to the first time of day, on the same day, at which the rule can have an instance: many
// programs show DTSTART as an event even where the rule does not. Where there is none, the start stays.
func firstTime(r plan.Recurrence) plan.Local {
	rule := r.Rule
	if rule == nil || rule.Freq < plan.Daily || len(rule.ByHour)+len(rule.ByMinute) == 0 {
		return r.Start
	}
	hours, minutes := rule.ByHour, rule.ByMinute
	if len(hours) == 0 {
		hours = []int{r.Start.Hour}
	}
	if len(minutes) == 0 {
		minutes = []int{r.Start.Minute}
	}
	for _, h := range hours {
		for _, m := range minutes {
			l := r.Start
			l.Hour, l.Minute, l.Second = h, m, 0
			if len(rule.BySecond) == 0 {
				l.Second = r.Start.Second
			}
			if l.Compare(r.Start) >= 0 {
				return l
			}
		}
	}
	return r.Start
}
