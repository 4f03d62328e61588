package plan

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"mealtab/compiler/ical"
)

// shownMinutes is how long a meal lasts in a calendar, long enough to be seen.
const shownMinutes = 10

// WriteICS writes a plan as iCalendar. [Parse] reads it back with the same recurrence sets, portions and settings.
//
// A meal whose times (at) are no product of hours and minutes becomes several events of the same name; where COUNT or
// BYSETPOS forbids that, the times go into X-MEALTAB-AT, which other programs do not know.
func WriteICS(w io.Writer, p *Plan, o WriteOptions) error {
	c := &icsWriter{Writer: ical.NewWriter(w, o.Written), plan: p, convert: o.Convert}
	c.head()
	if err := c.timezone(o); err != nil {
		return err
	}
	for i := range p.Meals {
		for n, part := range c.parts(&p.Meals[i]) {
			if err := c.event(&p.Meals[i], part, fmt.Sprint(n)); err != nil {
				return err
			}
		}
	}
	return c.Close()
}

// WriteOptions are what [WriteICS] needs from outside.
type WriteOptions struct {
	// Written is the time of writing, from which the revision of every event comes.
	Written time.Time
	// Convert, as in [Options], gives local UNTIL values as UTC, which RFC 5545 §3.3.10 wants; nil leaves them local.
	Convert func(zone string, l Local, from, to Form) (Local, error)
	// Zone describes a time zone from the year in which the first meal is. Without it no VTIMEZONE is written, which RFC 7809
	// allows where programs know the IANA names.
	Zone func(name string, year int) (ical.Zone, error)
}

type icsWriter struct {
	*ical.Writer
	plan    *Plan
	convert func(zone string, l Local, from, to Form) (Local, error)
}

// timezone describes the plan's zone, if any meal is in its local time.
func (c *icsWriter) timezone(o WriteOptions) error {
	first, local := lastYear, false
	for i := range c.plan.Meals {
		set := &c.plan.Meals[i].Set
		local = local || set.Form != UTC
		for _, l := range slices.Concat([]Local{set.Start}, set.RDate) {
			first = min(first, l.Year)
		}
	}
	if o.Zone == nil || !local {
		return nil
	}
	z, err := o.Zone(c.plan.Zone, first)
	if err != nil {
		return err
	}
	c.Zone(z)
	return nil
}

// head writes the calendar's properties.
func (c *icsWriter) head() {
	p := c.plan
	if p.Name != "" {
		c.Text("X-WR-CALNAME", p.Name)
	}
	c.Text("X-WR-TIMEZONE", p.Zone)
	c.ours("LATE", fmt.Sprintf("%d min", p.Late))
	if p.Board != "" {
		c.ours("BOARD", p.Board)
	}
	if p.Gap == GapOmit {
		c.ours("GAP", "omit")
	}
	if w := p.Wheel; w != nil {
		if w.PocketMilligrams > 0 {
			c.ours("POCKET", grams(w.PocketMilligrams))
		}
		if w.TurnMillis > 0 {
			c.ours("TURN", fmt.Sprintf("%d ms", w.TurnMillis))
		}
		if w.TrimMicros != 0 {
			c.ours("TRIM", fmt.Sprintf("%d us", w.TrimMicros))
		}
	}
	if p.Hopper > 0 {
		c.ours("HOLDS", grams(p.Hopper))
	}
	if p.Button != nil {
		c.ours("BUTTON", p.Button.Portion.String())
		c.ours("BUTTON-PER-HOUR", fmt.Sprint(p.Button.PerHour))
		if p.Button.PerDay > 0 {
			c.ours("BUTTON-PER-DAY", fmt.Sprint(p.Button.PerDay))
		}
	}
}

func (c *icsWriter) ours(name, value string) { c.Text(icsPrefix+name, value) }

// event writes one VEVENT.
func (c *icsWriter) event(m *Meal, r Recurrence, id string) error {
	c.Event(ical.UID(c.plan.Name, m.Name, id))
	c.dates("DTSTART", r.Form, []Local{r.Start})
	if r.Rule != nil {
		rule, err := c.rule(r)
		if err != nil {
			return fmt.Errorf("UNTIL of %q: %w", m.Name, err)
		}
		c.Line("RRULE", rule.String())
	}
	c.dates("RDATE", r.Form, r.RDate)
	c.dates("EXDATE", r.Form, r.ExDate)
	c.dates("EXDATE", Date, r.ExDays)
	c.Line("DURATION", fmt.Sprintf("PT%dM", shownMinutes))
	c.Text("SUMMARY", m.Name+" "+m.Portion.String())
	if !nameFromTitle(m.Name) {
		c.ours("NAME", m.Name)
	}
	if len(r.At) > 0 {
		c.Line(icsPrefix+"AT", clockList(r.At))
	}
	if m.Presets != 0 {
		c.Line(icsPrefix+"PRESETS", c.presets(m.Presets))
	}
	c.Line("TRANSP", "TRANSPARENT")
	c.Line("END", "VEVENT")
	return nil
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

func (c *icsWriter) presets(mask uint8) string {
	var words []string
	for i, name := range c.plan.Presets {
		if mask&(1<<i) != 0 {
			words = append(words, ical.EscapeText(name))
		}
	}
	return strings.Join(words, ",")
}

// dates writes a property of dates or date-times.
func (c *icsWriter) dates(name string, form Form, list []Local) {
	if len(list) == 0 {
		return
	}
	switch form {
	case Zoned:
		name += ";TZID=" + c.plan.Zone
	case Date:
		name += ";VALUE=DATE"
	}
	words := make([]string, len(list))
	for i, l := range list {
		words[i] = formatBasic(l, form)
	}
	c.Line(name, strings.Join(words, ","))
}

// rule is the rule with UNTIL of the type that RFC 5545 §3.3.10 wants. A date means the whole day.
func (c *icsWriter) rule(r Recurrence) (*Rule, error) {
	rule := *r.Rule
	u := rule.Until
	if u == nil || u.Form == UTC {
		return &rule, nil
	}
	until := Until{Form: r.Form, Local: u.Local}
	if u.Form == Date {
		until.Local.Hour, until.Local.Minute, until.Local.Second = 23, 59, 59
	}
	if r.Form == Zoned && c.convert != nil {
		l, err := c.convert(c.plan.Zone, until.Local, Zoned, UTC)
		if err != nil {
			return nil, err
		}
		until = Until{Form: UTC, Local: l}
	}
	rule.Until = &until
	return &rule, nil
}

// parts gives a meal's recurrence as sets that an RRULE can express, times of day included.
func (c *icsWriter) parts(m *Meal) []Recurrence {
	r := m.Set
	if r.Form == Date {
		r.Form = Zoned // at 00:00:00; the times come from elsewhere
	}
	if len(r.At) == 0 {
		r.Start = firstTime(r)
		return []Recurrence{r}
	}
	if hours, minutes := grid(r.At); len(hours)*len(minutes) == len(r.At) {
		return []Recurrence{withTimes(r, r.At)}
	}
	if r.Rule.Count > 0 || len(r.Rule.BySetPos) > 0 {
		return []Recurrence{r}
	}
	var out []Recurrence
	for _, times := range byMinute(r.At) {
		part := withTimes(r, times)
		mine := func(l Local) bool { return owner(r.At, l) == times[0]%60 }
		part.RDate, part.ExDate = slices.DeleteFunc(slices.Clone(r.RDate), not(mine)), slices.DeleteFunc(slices.Clone(r.ExDate), not(mine))
		out = append(out, part)
	}
	return out
}

func not(f func(Local) bool) func(Local) bool { return func(l Local) bool { return !f(l) } }

// owner is the minute of the part that an explicit date goes to: its own, else the first. RDATE and EXDATE of the same
// time must meet.
func owner(at []int, l Local) int {
	if slices.Contains(at, l.minuteOfDay()) {
		return l.Minute
	}
	return at[0] % 60
}

// grid is the hours and the minutes that occur.
func grid(times []int) (hours, minutes []int) {
	for _, t := range times {
		hours, minutes = append(hours, t/60), append(minutes, t%60)
	}
	return sortedInts(hours), sortedInts(minutes)
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
func withTimes(r Recurrence, times []int) Recurrence {
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
func firstTime(r Recurrence) Local {
	rule := r.Rule
	if rule == nil || rule.Freq < Daily || len(rule.ByHour)+len(rule.ByMinute) == 0 {
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
			l := r.Start.date()
			l.Hour, l.Minute = h, m
			if len(rule.BySecond) == 0 {
				l.Second = r.Start.Second
			}
			if l.compare(r.Start) >= 0 {
				return l
			}
		}
	}
	return r.Start
}
