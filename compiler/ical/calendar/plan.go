package calendar

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"mealtab/compiler/advice"
	"mealtab/compiler/draft"
	"mealtab/compiler/ical"
	"mealtab/compiler/plan"
	"mealtab/compiler/source"
)

// Prefix begins the properties in which a calendar carries what iCalendar has no words for.
const Prefix = "X-MEALTAB-"

// Calendar-level and event-level extension properties.
var (
	calendarKeys = []string{"POCKET", "TURN", "TRIM", "HOLDS", "LATE", "BOARD", "GAP", "BUTTON", "BUTTON-PER-HOUR", "BUTTON-PER-DAY", "PRESET-UNTIL"}
	eventKeys    = []string{"NAME", "PRESETS", "AT"}
)

// settings are the properties whose values package draft reads.
var settings = map[string]draft.Setting{"POCKET": draft.Pocket, "TURN": draft.Turn, "TRIM": draft.Trim, "HOLDS": draft.Hopper,
	"LATE": draft.Late, "BOARD": draft.Board, "GAP": draft.Gap, "BUTTON": draft.ButtonPortion}

// Zones are what a calendar may ask: beside zones by name, which zones there are with the rules of a VTIMEZONE.
type Zones interface {
	draft.Zones
	// Match names the IANA zones, the likeliest first, that have the offsets of the changes at every instant from <= t < to.
	Match(changes []Change, from, to plan.Local) []string
}

// reader turns events into meals.
type reader struct {
	*draft.Builder
	zones Zones // nil: nothing is known of any
	cal   *ical.Component
	named map[string]string // TZID → IANA name, "" after a fault that has been reported
	// defined are the VTIMEZONEs by their TZID.
	defined map[string]*ical.Component
}

// Read reads an iCalendar file into b. Each VEVENT is a meal; VTIMEZONE only serves to find the IANA name of its TZID, because the zone's
// rules come from the IANA data.
func Read(b *draft.Builder, zones Zones) {
	b.PocketHint = "weigh some pockets and write X-MEALTAB-POCKET:6.2 g at the top of the calendar, or give the portion in pockets: breakfast 3 pockets"
	root, faults := ical.Parse(b.Lines)
	for _, f := range faults {
		if f.Warning {
			b.Warn(plan.CodeIgnored, f.At, f.Hint, f.Format, f.Args...)
		} else {
			b.Fail(plan.CodeSyntax, f.At, f.Hint, f.Format, f.Args...)
		}
	}
	if root == nil {
		return
	}
	calendars := root.Children
	switch {
	case len(calendars) == 0 || calendars[0].Name != "VCALENDAR":
		b.FailWhole(plan.CodeSyntax, "an iCalendar file begins with BEGIN:VCALENDAR", "there is no calendar in the file")
		return
	case len(calendars) > 1:
		b.Fail(plan.CodeUnsupported, calendars[1].Begin.Whole.All(), "keep one calendar, or make it a file of its own", "the file holds a second calendar")
		return
	}
	r := &reader{Builder: b, zones: zones, cal: calendars[0], named: map[string]string{}, defined: map[string]*ical.Component{}}
	r.properties()
	r.vtimezones()
	r.chooseZone()
	r.events()
	b.Finish()
}

// one returns the only line of a property; a second one is reported.
func (r *reader) one(c *ical.Component, name string) (ical.Line, bool) {
	lines := c.All(name)
	if len(lines) == 0 {
		return ical.Line{}, false
	}
	if len(lines) > 1 {
		r.Fail(plan.CodeDuplicate, lines[1].Whole.All(), "keep one of them", "%s is given twice, first on line %d", name, r.Line(lines[0].Whole.All()))
	}
	return lines[0], true
}

// properties reads what concerns the whole plan.
func (r *reader) properties() {
	for _, l := range r.cal.Lines {
		v := ical.UnescapeText(l.Value).Trim()
		switch l.Name {
		case "VERSION":
			if v.S == "1.0" {
				r.Fail(plan.CodeUnsupported, l.Value.All(), "export it as iCalendar (version 2.0, .ics)", "this is vCalendar 1.0")
			}
		case "X-WR-CALNAME", "NAME":
			r.Plan.Name = r.ProperName("the calendar's name", r.shortened(v, l), l.Value.All())
		default:
			if key, ok := strings.CutPrefix(l.Name, Prefix); ok {
				r.extension(key, v, l)
			}
		}
	}
}

// shortened cuts a calendar's name to what is shown on one line: it names the plan, and nothing depends on it.
func (r *reader) shortened(name source.Text, l ical.Line) source.Text {
	if utf8.RuneCountInString(name.S) <= draft.MaxName {
		return name
	}
	end := 0
	for range draft.MaxName - 1 {
		_, size := utf8.DecodeRuneInString(name.S[end:])
		end += size
	}
	cut := strings.TrimRight(name.S[:end], " \t,;:-") + "…"
	r.Warn(plan.CodeName, l.Value.All(), "", "the calendar's name is longer than %d characters: the plan is called %q", draft.MaxName, cut)
	return source.Text{S: cut, Off: make([]int, len(cut)+1)}
}

// presetUntil reads a date in the form of RFC 5545 §3.3.4.
func (r *reader) presetUntil(v source.Text, at source.Span) {
	day, form, err := plan.ParseBasic(v.S)
	if err == nil {
		err = day.InCalendar()
	}
	if err != nil {
		r.Fail(err.Code, at, "write the date as 20261220", "%s %s", v.S, err.Message)
		return
	}
	r.SetPresetUntil(draft.Stamp{Local: day, Form: form, Span: at, Shown: v.S})
}

// extension reads a property of the calendar that is this project's own.
func (r *reader) extension(key string, v source.Text, l ical.Line) {
	at := l.Value.All()
	if s, ok := settings[key]; ok {
		r.Set(s, v, at)
		return
	}
	if key == "PRESET-UNTIL" {
		r.presetUntil(v, at)
		return
	}
	n, ok := draft.WholeNumber(v.S)
	switch {
	case key == "BUTTON-PER-HOUR" && (!ok || n > r.Limits.PerHour):
		r.Fail(plan.CodeRange, at, "", "%q is not a whole number from 0 to %d", v.S, r.Limits.PerHour)
	case key == "BUTTON-PER-HOUR":
		r.Button(at).PerHour = n
	case key == "BUTTON-PER-DAY" && (!ok || n < 1 || n > r.Limits.PerDay):
		r.Fail(plan.CodeRange, at, "", "%q is not a whole number from 1 to %d", v.S, r.Limits.PerDay)
	case key == "BUTTON-PER-DAY":
		r.Button(at).PerDay = n
	default:
		r.unknownExtension(key, l, calendarKeys, "calendar", eventKeys)
	}
}

func (r *reader) unknownExtension(key string, l ical.Line, known []string, where string, elsewhere []string) {
	hint := "known here: " + Prefix + strings.Join(known, ", "+Prefix)
	if s := advice.Nearest(key, known); s != "" {
		hint = fmt.Sprintf("did you mean %s%s?", Prefix, s)
	} else if slices.Contains(elsewhere, key) && where == "event" {
		hint = "it belongs before the first BEGIN:VEVENT"
	} else if slices.Contains(elsewhere, key) {
		hint = "it belongs into a VEVENT"
	}
	r.Fail(plan.CodeUnknown, l.Whole.Span(0, len(l.Name)), hint, "%s is not a property of %s", l.Name, article(where))
}

func article(noun string) string {
	if strings.ContainsRune("aeiou", rune(noun[0])) {
		return "an " + noun
	}
	return "a " + noun
}
