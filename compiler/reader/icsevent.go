package reader

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"mealtab/compiler/plan"
	"mealtab/compiler/plan/ics"
)

// icsEvent is a VEVENT on its way to a meal.
type icsEvent struct {
	component  *icsComponent
	meal       rawMeal
	uid        string
	sequence   int
	cancelled  bool
	override   bool   // stands for an instance of the event with the same UID
	following  bool   // and for all that follow it
	recurrence *stamp // which instance, by RECURRENCE-ID; nil after a fault that has been reported
}

// icsNames are the words for diagnostics about an event.
var icsNames = setNames{start: "DTSTART", rule: "RRULE", rdate: "RDATE", exdate: "EXDATE"}

// events reads all VEVENTs, applies overrides to their series and adds the meals in order.
func (r *icsReader) events() {
	var events []*icsEvent
	for _, c := range r.cal.children {
		switch c.name {
		case "VEVENT":
			events = append(events, r.identify(c))
		case "VTODO", "VJOURNAL":
			r.warn(plan.CodeIgnored, c.begin.whole.all(), "make it an event", "a %s is not served", c.name)
		}
	}
	if len(events) == 0 {
		r.failWhole(plan.CodeMissing, "each event of the calendar is a meal; its title ends with the portion: breakfast 18 g", "the calendar has no events")
		return
	}
	first := events[0].meal.heading
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
		e.meal.name = uniqueName(e.meal.name, taken)
		r.addMeal(e.meal)
	}
	if r.mealCount == 0 && r.errorCount == 0 {
		r.fail(plan.CodeMissing, first, "a plan needs a meal; STATUS:CONFIRMED, or no STATUS, serves an event", "no event of the calendar is served: all are cancelled")
	}
}

// tooMany refuses more meals than a table holds before they are looked at.
func (r *icsReader) tooMany(events []*icsEvent) bool {
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
		if meals++; meals > r.limits.Meals {
			return r.overMeals(e.meal.heading)
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
func (r *icsReader) event(e *icsEvent) {
	c := e.component
	if e.cancelled {
		if !e.override {
			r.warn(plan.CodeIgnored, c.all("STATUS")[0].whole.all(), "", "a cancelled event is not served")
		}
		return
	}
	r.summary(e, c)
	if e.override {
		r.oneInstance(c)
	}
	r.icsSet(&e.meal.set, c)
	r.eventExtensions(e, c)
}

// oneInstance leaves out what would make a series of an event that stands for one instance (RFC 5545 §3.8.4.4).
func (r *icsReader) oneInstance(c *icsComponent) {
	c.lines = slices.DeleteFunc(c.lines, func(l icsLine) bool {
		series := slices.Contains([]string{"RRULE", "RDATE", "EXDATE", "EXRULE"}, l.name)
		if series {
			r.warn(plan.CodeIgnored, l.whole.all(), "what is to repeat has a UID of its own and no RECURRENCE-ID",
				"%s is left out: the event stands for one instance of its series", l.name)
		}
		return series
	})
}

// portionAtEnd matches the portion at the end of a title: a number, a unit, perhaps in brackets.
var portionAtEnd = regexp.MustCompile(`\(?([0-9]+(?:[.,][0-9]+)?[ \t]*[^\s0-9()]+)\)?[ \t]*$`)

// summary takes the meal's name and portion from SUMMARY, "breakfast 18 g".
func (r *icsReader) summary(e *icsEvent, c *icsComponent) {
	const example = "write for example SUMMARY:breakfast 18 g, or SUMMARY:breakfast 3 pockets"
	l, ok := r.one(c, "SUMMARY")
	if !ok {
		r.fail(plan.CodeMissing, c.begin.whole.all(), example, "the event has no SUMMARY, from which name and portion are taken")
		return
	}
	title := unescapeText(l.value).trim()
	m := portionAtEnd.FindStringSubmatchIndex(title.s)
	if m == nil {
		r.fail(plan.CodeMissing, l.value.all(), example, "SUMMARY does not end with the portion")
		return
	}
	amount := title.sub(m[2], m[3])
	e.meal.portion, e.meal.portionAt = r.portion(amount, false), amount.all()
	name := title.sub(0, len(strings.TrimRight(title.s[:m[0]], " \t:,-–—")))
	if own, ok := r.one(c, ics.Prefix+"NAME"); ok {
		name = unescapeText(own.value).trim()
	}
	if name.s == "" {
		r.fail(plan.CodeName, l.value.all(), example, "SUMMARY has no name before the portion")
		return
	}
	e.meal.name, e.meal.nameAt = r.properName("the name", name, name.all()), name.all()
}

// eventExtensions reads X-MEALTAB-PRESETS and X-MEALTAB-AT.
func (r *icsReader) eventExtensions(e *icsEvent, c *icsComponent) {
	for _, l := range c.lines {
		key, ours := strings.CutPrefix(l.name, ics.Prefix)
		if ours && !slices.Contains(eventKeys, key) {
			r.unknownExtension(key, l, eventKeys, "event", calendarKeys)
		}
	}
	list := func(name string) (texts []text, spans []span, ok bool) {
		l, ok := r.one(c, ics.Prefix+name)
		if !ok {
			return nil, nil, false
		}
		for _, t := range splitText(l.value) {
			texts, spans = append(texts, t), append(spans, t.all())
		}
		return texts, spans, true
	}
	e.meal.presets, e.meal.presetSpans, e.meal.hasPresets = list("PRESETS")
	if texts, spans, ok := list("AT"); ok {
		set := &e.meal.set
		set.at, set.atSpan = r.times(texts, spans), c.all(ics.Prefix + "AT")[0].value.all()
		set.broken = set.broken || len(set.at) == 0
	}
}

// splitText cuts a list of TEXT values at the commas that are not escaped.
func splitText(t text) []text {
	var out []text
	start := 0
	for i := 0; i <= len(t.s); i++ {
		switch {
		case i == len(t.s) || t.s[i] == ',':
			out = append(out, unescapeText(t.sub(start, i)).trim())
			start = i + 1
		case t.s[i] == '\\' && i+1 < len(t.s):
			i++
		}
	}
	return out
}

// icsSet reads DTSTART, RRULE, RDATE and EXDATE.
func (r *icsReader) icsSet(set *rawSet, c *icsComponent) {
	if l, ok := r.one(c, "DTSTART"); !ok {
		r.fail(plan.CodeMissing, set.heading, "", "the event has no DTSTART")
		set.broken = true
	} else if list := r.icsStamps(l); len(list) == 1 {
		set.start = &list[0]
	} else {
		set.broken = true
	}
	rules := c.all("RRULE")
	if len(rules) > 1 {
		r.fail(plan.CodeUnsupported, rules[1].whole.all(), "make it an event of its own", "a second RRULE in one event has no defined meaning (RFC 5545 §3.8.5.3)")
	}
	if len(rules) > 0 {
		set.ruleText, set.hasRule = rules[0].value, true
		set.rule = r.rule(rules[0].value)
		set.broken = set.broken || set.rule == nil
	}
	for _, l := range c.all("EXRULE") {
		r.fail(plan.CodeUnsupported, l.whole.all(), "list the dates in EXDATE", "EXRULE is no longer part of iCalendar (RFC 5545 §8.3.2)")
	}
	for _, l := range c.all("RDATE") {
		set.rdate = append(set.rdate, r.icsStamps(l)...)
	}
	for _, l := range c.all("EXDATE") {
		set.exdate = append(set.exdate, r.icsStamps(l)...)
	}
}

// icsStamps reads a list of DATE, DATE-TIME or PERIOD values; of a period the start. Faults are reported.
func (r *icsReader) icsStamps(l icsLine) []stamp {
	kind := "DATE-TIME"
	if v, ok := l.param("VALUE"); ok {
		kind = strings.ToUpper(v.s)
		if kind != "DATE" && kind != "DATE-TIME" && (kind != "PERIOD" || l.name != "RDATE") {
			r.fail(plan.CodeType, v.all(), "", "VALUE=%s is not possible in %s", v.s, l.name)
			return nil
		}
	}
	id, hasZone := l.param("TZID")
	if hasZone && !utcNames[id.s] && !r.inPlanZone(id) {
		return nil
	}
	var out []stamp
	reported := false
	for _, t := range l.value.split(',') {
		t = t.trim()
		if kind == "PERIOD" {
			start, _, _ := strings.Cut(t.s, "/")
			t = t.sub(0, len(start))
		}
		if s, ok := r.icsStamp(t, kind); ok {
			switch {
			case hasZone && utcNames[id.s] && s.form == plan.Zoned:
				s.form = plan.UTC
			case hasZone && !utcNames[id.s] && s.form == plan.UTC:
				if !reported {
					r.utcWithZone(l, id, s)
				}
				reported = true
				continue
			}
			out = append(out, s)
		}
	}
	return out
}

// utcWithZone refuses a time that is UTC by its Z and local by its TZID (RFC 5545 §3.2.19).
func (r *icsReader) utcWithZone(l icsLine, id text, s stamp) {
	local, utc := l.name+";TZID="+id.s+":"+s.local.Basic(plan.Zoned), l.name+":"+s.local.Basic(plan.UTC)
	r.fail(plan.CodeConflict, s.span, "write "+local+" if the clock on the wall shows that, "+utc+" if it is UTC", "TZID=%s says local time, Z says UTC", id.s)
}

// inPlanZone reports whether a TZID means the plan's zone; else that has been reported.
func (r *icsReader) inPlanZone(id text) bool {
	name := r.zoneOf(id)
	if name != "" && r.plan.Zone != "" && name != r.plan.Zone {
		r.fail(plan.CodeZone, id.all(), "a feeder stands in one zone: move the event to it, or to UTC",
			"this event is in %s, but the plan is in %s", name, r.plan.Zone)
		return false
	}
	return name != ""
}

func (r *icsReader) icsStamp(t text, kind string) (stamp, bool) {
	local, form, err := plan.ParseBasic(t.s)
	if err == nil && kind == "DATE" && form != plan.Date {
		err = plan.DateError("write 20261231", "is not a date, but VALUE=DATE says so")
	}
	if err == nil {
		err = local.InCalendar()
	}
	if err != nil {
		r.fail(err.Code, t.all(), err.Hint, "%s %s", t.s, err.Message)
		return stamp{}, false
	}
	return stamp{local: local, form: form, span: t.all(), shown: t.s}, true
}
