package calendar

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"mealtab/compiler/draft"
	"mealtab/compiler/ical"
	"mealtab/compiler/plan"
)

// event is a VEVENT on its way to a meal.
type event struct {
	component  *ical.Component
	meal       draft.Meal
	uid        string
	sequence   int
	cancelled  bool
	override   bool         // stands for an instance of the event with the same UID
	following  bool         // and for all that follow it
	recurrence *draft.Stamp // which instance, by RECURRENCE-ID; nil after a fault that has been reported
}

// setNames are the words for diagnostics about an event.
var setNames = draft.Names{Start: "DTSTART", Rule: "RRULE", RDate: "RDATE", ExDate: "EXDATE"}

// events reads all VEVENTs, applies overrides to their series and adds the meals in order.
func (r *reader) events() {
	var events []*event
	for _, c := range r.cal.Children {
		switch c.Name {
		case "VEVENT":
			events = append(events, r.identify(c))
		case "VTODO", "VJOURNAL":
			r.Warn(plan.CodeIgnored, c.Begin.Whole.All(), "make it an event", "a %s is not served", c.Name)
		}
	}
	if len(events) == 0 {
		r.FailWhole(plan.CodeMissing, "each event of the calendar is a meal; its title ends with the portion: breakfast 18 g", "the calendar has no events")
		return
	}
	first := events[0].meal.Heading
	events = r.latest(events)
	if r.tooMany(events) {
		return
	}
	for _, e := range events {
		r.event(e)
	}
	taken := map[string]bool{}
	for _, e := range r.applyOverrides(events) {
		if e.cancelled {
			continue
		}
		e.meal.Name = uniqueName(e.meal.Name, taken)
		r.AddMeal(e.meal)
	}
	if r.Meals() == 0 && !r.Failed() {
		r.Fail(plan.CodeMissing, first, "a plan needs a meal; STATUS:CONFIRMED, or no STATUS, serves an event", "no event of the calendar is served: all are cancelled")
	}
}

// tooMany refuses more meals than a table holds before they are looked at.
func (r *reader) tooMany(events []*event) bool {
	series, meals := map[string]bool{}, 0
	for _, e := range events {
		if !e.override {
			series[e.uid] = e.uid != ""
		}
	}
	for _, e := range events {
		if e.cancelled || e.override && series[e.uid] {
			continue
		}
		if meals++; meals > r.Limits.Meals {
			r.OverMeals(e.meal.Heading)
			return true
		}
	}
	return false
}

// uniqueName numbers meals of the same name, which are usual in calendars: weekdays and weekend, say.
func uniqueName(name string, taken map[string]bool) string {
	unique := name
	for n := 2; name != "" && taken[strings.ToLower(unique)]; n++ {
		unique = fmt.Sprintf("%s (%d)", name, n)
	}
	taken[strings.ToLower(unique)] = true
	return unique
}

// event reads one VEVENT. DTEND, DURATION, TRANSP, VALARM and foreign extensions do not matter to a feeder.
func (r *reader) event(e *event) {
	c := e.component
	if e.cancelled {
		if !e.override {
			r.Warn(plan.CodeIgnored, c.All("STATUS")[0].Whole.All(), "", "a cancelled event is not served")
		}
		return
	}
	r.summary(e, c)
	if e.override {
		r.oneInstance(c)
	}
	r.set(&e.meal.Set, c)
	r.eventExtensions(e, c)
}

// oneInstance leaves out what would make a series of an event that stands for one instance (RFC 5545 §3.8.4.4).
func (r *reader) oneInstance(c *ical.Component) {
	c.Lines = slices.DeleteFunc(c.Lines, func(l ical.Line) bool {
		series := slices.Contains([]string{"RRULE", "RDATE", "EXDATE", "EXRULE"}, l.Name)
		if series {
			r.Warn(plan.CodeIgnored, l.Whole.All(), "what is to repeat has a UID of its own and no RECURRENCE-ID",
				"%s is left out: the event stands for one instance of its series", l.Name)
		}
		return series
	})
}

// portionAtEnd matches the portion at the end of a title: a number, a unit, perhaps in brackets.
var portionAtEnd = regexp.MustCompile(`\(?([0-9]+(?:[.,][0-9]+)?[ \t]*[^\s0-9()]+)\)?[ \t]*$`)

// summary takes the meal's name and portion from SUMMARY, "breakfast 18 g".
func (r *reader) summary(e *event, c *ical.Component) {
	const example = "write for example SUMMARY:breakfast 18 g, or SUMMARY:breakfast 3 pockets"
	l, ok := r.one(c, "SUMMARY")
	if !ok {
		r.Fail(plan.CodeMissing, c.Begin.Whole.All(), example, "the event has no SUMMARY, from which name and portion are taken")
		return
	}
	title := ical.UnescapeText(l.Value).Trim()
	m := portionAtEnd.FindStringSubmatchIndex(title.S)
	if m == nil {
		r.Fail(plan.CodeMissing, l.Value.All(), example, "SUMMARY does not end with the portion")
		return
	}
	amount := title.Sub(m[2], m[3])
	r.ReadPortion(&e.meal, amount, amount.All())
	name := title.Sub(0, len(strings.TrimRight(title.S[:m[0]], " \t:,-–—")))
	if own, ok := r.one(c, Prefix+"NAME"); ok {
		name = ical.UnescapeText(own.Value).Trim()
	}
	if name.S == "" {
		r.Fail(plan.CodeName, l.Value.All(), example, "SUMMARY has no name before the portion")
		return
	}
	e.meal.Name, e.meal.NameAt = r.ProperName("the name", name, name.All()), name.All()
}

// eventExtensions reads X-MEALTAB-PRESETS and X-MEALTAB-AT.
func (r *reader) eventExtensions(e *event, c *ical.Component) {
	for _, l := range c.Lines {
		key, ours := strings.CutPrefix(l.Name, Prefix)
		if ours && !slices.Contains(eventKeys, key) {
			r.unknownExtension(key, l, eventKeys, "event", calendarKeys)
		}
	}
	list := func(name string) (fields []draft.Field, l ical.Line, ok bool) {
		if l, ok = r.one(c, Prefix+name); ok {
			for _, t := range ical.SplitText(l.Value) {
				fields = append(fields, draft.Field{Text: t, At: t.All()})
			}
		}
		return fields, l, ok
	}
	e.meal.Presets, _, e.meal.HasPresets = list("PRESETS")
	if times, l, ok := list("AT"); ok {
		r.ReadTimes(&e.meal.Set, times, l.Value.All())
	}
}

// set reads DTSTART, RRULE, RDATE and EXDATE.
func (r *reader) set(set *draft.Set, c *ical.Component) {
	if l, ok := r.one(c, "DTSTART"); !ok {
		r.Fail(plan.CodeMissing, set.Heading, "", "the event has no DTSTART")
		set.Broken = true
	} else if list := r.stamps(l); len(list) == 1 {
		set.Start = &list[0]
	} else {
		set.Broken = true
	}
	rules := c.All("RRULE")
	if len(rules) > 1 {
		r.Fail(plan.CodeUnsupported, rules[1].Whole.All(), "make it an event of its own", "a second RRULE in one event has no defined meaning (RFC 5545 §3.8.5.3)")
	}
	if len(rules) > 0 {
		r.ReadRule(set, rules[0].Value)
	}
	for _, l := range c.All("EXRULE") {
		r.Fail(plan.CodeUnsupported, l.Whole.All(), "list the dates in EXDATE", "EXRULE is no longer part of iCalendar (RFC 5545 §8.3.2)")
	}
	for _, l := range c.All("RDATE") {
		set.RDate = append(set.RDate, r.stamps(l)...)
	}
	for _, l := range c.All("EXDATE") {
		set.ExDate = append(set.ExDate, r.stamps(l)...)
	}
}
