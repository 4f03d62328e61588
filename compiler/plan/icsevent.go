package plan

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// icsEvent is a VEVENT on its way to a meal.
type icsEvent struct {
	meal       rawMeal
	uid        string
	cancelled  bool
	recurrence *stamp // RECURRENCE-ID: this event replaces one instance of the event with the same UID
	override   bool
}

// icsNames are the words for diagnostics about an event.
var icsNames = setNames{start: "DTSTART", rule: "RRULE", rdate: "RDATE", exdate: "EXDATE"}

// events reads all VEVENTs, applies overrides to their series and adds the meals in order.
func (r *icsReader) events() {
	var events []*icsEvent
	for _, c := range r.cal.children {
		switch c.name {
		case "VEVENT":
			events = append(events, r.event(c))
		case "VTODO", "VJOURNAL":
			r.warn(CodeIgnored, c.begin.whole.all(), "make it an event", "a %s is not served", c.name)
		}
	}
	if len(events) == 0 {
		r.failWhole(CodeMissing, "each event of the calendar is a meal; its title ends with the portion: breakfast 18 g", "the calendar has no events")
		return
	}
	events = r.applyOverrides(events)
	taken := map[string]bool{}
	for _, e := range events {
		if e.cancelled {
			continue
		}
		e.meal.name = uniqueName(e.meal.name, taken)
		r.addMeal(e.meal)
	}
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
func (r *icsReader) event(c *icsComponent) *icsEvent {
	e := &icsEvent{meal: rawMeal{heading: c.begin.whole.all()}}
	e.meal.set = rawSet{heading: e.meal.heading, keys: icsNames, single: true}
	if l, ok := r.one(c, "UID"); ok {
		e.uid = l.value.s
	}
	if l, ok := r.one(c, "STATUS"); ok && strings.EqualFold(strings.TrimSpace(l.value.s), "CANCELLED") {
		e.cancelled = true
		if len(c.all("RECURRENCE-ID")) == 0 {
			r.warn(CodeIgnored, l.whole.all(), "", "a cancelled event is not served")
			return e
		}
	}
	if l, ok := r.one(c, "RECURRENCE-ID"); ok {
		r.recurrenceID(e, l)
	}
	if !e.cancelled {
		r.summary(e, c)
		r.icsSet(&e.meal.set, c)
		r.eventExtensions(e, c)
	}
	return e
}

func (r *icsReader) recurrenceID(e *icsEvent, l icsLine) {
	e.override = true
	if v, ok := l.param("RANGE"); ok {
		r.fail(CodeUnsupported, v.all(), "end the series with UNTIL and begin a new one", "an override of all following instances cannot be followed")
	}
	if list := r.icsStamps(l); len(list) == 1 {
		list[0].key = "RECURRENCE-ID"
		e.recurrence = &list[0]
	}
}

// portionAtEnd matches the portion at the end of a title: a number, a unit, perhaps in brackets.
var portionAtEnd = regexp.MustCompile(`\(?([0-9]+(?:[.,][0-9]+)?[ \t]*[^\s0-9()]+)\)?[ \t]*$`)

// summary takes the meal's name and portion from SUMMARY, "breakfast 18 g".
func (r *icsReader) summary(e *icsEvent, c *icsComponent) {
	const example = "write for example SUMMARY:breakfast 18 g, or SUMMARY:breakfast 3 pockets"
	l, ok := r.one(c, "SUMMARY")
	if !ok {
		r.fail(CodeMissing, c.begin.whole.all(), example, "the event has no SUMMARY, from which name and portion are taken")
		return
	}
	title := unescapeText(l.value).trim()
	m := portionAtEnd.FindStringSubmatchIndex(title.s)
	if m == nil {
		r.fail(CodeMissing, l.value.all(), example, "SUMMARY does not end with the portion")
		return
	}
	amount := title.sub(m[2], m[3])
	e.meal.portion, e.meal.portionAt = r.portion(amount, false), amount.all()
	name := title.sub(0, len(strings.TrimRight(title.s[:m[0]], " \t:,-–—")))
	if own, ok := r.one(c, icsPrefix+"NAME"); ok {
		name = unescapeText(own.value).trim()
	}
	if name.s == "" {
		r.fail(CodeName, l.value.all(), example, "SUMMARY has no name before the portion")
		return
	}
	e.meal.name, e.meal.nameAt = r.properName("the name", name, name.all()), name.all()
}

// eventExtensions reads X-MEALTAB-PRESETS and X-MEALTAB-AT.
func (r *icsReader) eventExtensions(e *icsEvent, c *icsComponent) {
	for _, l := range c.lines {
		key, ours := strings.CutPrefix(l.name, icsPrefix)
		if ours && !slices.Contains(eventKeys, key) {
			r.unknownExtension(key, l, eventKeys, "event", calendarKeys)
		}
	}
	list := func(name string) (texts []text, spans []span, ok bool) {
		l, ok := r.one(c, icsPrefix+name)
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
		set.at, set.atSpan = r.times(texts, spans), c.all(icsPrefix + "AT")[0].value.all()
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
		r.fail(CodeMissing, set.heading, "", "the event has no DTSTART")
		set.broken = true
	} else if list := r.icsStamps(l); len(list) == 1 {
		set.start = &list[0]
	} else {
		set.broken = true
	}
	rules := c.all("RRULE")
	if len(rules) > 1 {
		r.fail(CodeUnsupported, rules[1].whole.all(), "make it an event of its own", "a second RRULE in one event has no defined meaning (RFC 5545 §3.8.5.3)")
	}
	if len(rules) > 0 {
		set.ruleText, set.hasRule = rules[0].value, true
		set.rule = r.rule(rules[0].value)
		set.broken = set.broken || set.rule == nil
	}
	for _, l := range c.all("EXRULE") {
		r.fail(CodeUnsupported, l.whole.all(), "list the dates in EXDATE", "EXRULE is no longer part of iCalendar (RFC 5545 §8.3.2)")
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
			r.fail(CodeType, v.all(), "", "VALUE=%s is not possible in %s", v.s, l.name)
			return nil
		}
	}
	id, hasZone := l.param("TZID")
	if hasZone && !utcNames[id.s] && !r.inPlanZone(id) {
		return nil
	}
	var out []stamp
	for _, t := range l.value.split(',') {
		t = t.trim()
		if kind == "PERIOD" {
			start, _, _ := strings.Cut(t.s, "/")
			t = t.sub(0, len(start))
		}
		if s, ok := r.icsStamp(t, kind); ok {
			if hasZone && utcNames[id.s] && s.form == Zoned {
				s.form = UTC
			}
			out = append(out, s)
		}
	}
	return out
}

// inPlanZone reports whether a TZID means the plan's zone; else that has been reported.
func (r *icsReader) inPlanZone(id text) bool {
	name := r.zoneOf(id)
	if name != "" && r.plan.Zone != "" && name != r.plan.Zone {
		r.fail(CodeZone, id.all(), "a feeder stands in one zone: move the event to it, or to UTC",
			"this event is in %s, but the plan is in %s", name, r.plan.Zone)
		return false
	}
	return name != ""
}

func (r *icsReader) icsStamp(t text, kind string) (stamp, bool) {
	local, form, err := parseBasic(t.s)
	if err == nil && kind == "DATE" && form != Date {
		err = dateError("write 20261231", "is not a date, but VALUE=DATE says so")
	}
	if err == nil {
		err = local.inCalendar()
	}
	if err != nil {
		r.fail(Code(err.code), t.all(), err.hint, "%s %s", t.s, err.message)
		return stamp{}, false
	}
	return stamp{local: local, form: form, span: t.all(), shown: t.s}, true
}
