package reader

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"mealtab/compiler/advice"
	"mealtab/compiler/plan"
	"mealtab/compiler/plan/ics"
)

// Calendar-level and event-level extension properties.
var (
	calendarKeys = []string{"POCKET", "TURN", "TRIM", "HOLDS", "LATE", "BOARD", "GAP", "BUTTON", "BUTTON-PER-HOUR"}
	eventKeys    = []string{"NAME", "PRESETS", "AT"}
)

// icsPlan reads an iCalendar file. Each VEVENT is a meal; VTIMEZONE only serves to find the IANA name of its TZID,
// because the zone's rules come from the IANA data.
func (b *builder) icsPlan() {
	b.ics = true
	root := b.icsTree(b.icsLines())
	if root == nil {
		return
	}
	calendars := root.children
	switch {
	case len(calendars) == 0 || calendars[0].name != "VCALENDAR":
		b.failWhole(plan.CodeSyntax, "an iCalendar file begins with BEGIN:VCALENDAR", "there is no calendar in the file")
		return
	case len(calendars) > 1:
		b.fail(plan.CodeUnsupported, calendars[1].begin.whole.all(), "keep one calendar, or make it a file of its own", "the file holds a second calendar")
		return
	}
	cal := calendars[0]
	b.plan.Late = defaultLate
	b.calendarProperties(cal)
	r := &icsReader{builder: b, cal: cal, zones: map[string]string{}, defined: map[string]*icsComponent{}}
	r.vtimezones()
	r.chooseZone()
	r.events()
	b.finishPlan()
}

// calendarProperties reads what concerns the whole plan.
func (b *builder) calendarProperties(cal *icsComponent) {
	p := b.plan
	for _, l := range cal.lines {
		v := unescapeText(l.value).trim()
		switch l.name {
		case "VERSION":
			if v.s == "1.0" {
				b.fail(plan.CodeUnsupported, l.value.all(), "export it as iCalendar (version 2.0, .ics)", "this is vCalendar 1.0")
			}
		case "X-WR-CALNAME", "NAME":
			p.Name = b.properName("the calendar's name", b.shortened(v, l), l.value.all())
		default:
			if key, ok := strings.CutPrefix(l.name, ics.Prefix); ok {
				b.extension(key, v, l)
			}
		}
	}
}

// shortened cuts a calendar's name to what is shown on one line: it names the plan, and nothing depends on it.
func (b *builder) shortened(name text, l icsLine) text {
	if utf8.RuneCountInString(name.s) <= maxNameLength {
		return name
	}
	end := 0
	for range maxNameLength - 1 {
		_, size := utf8.DecodeRuneInString(name.s[end:])
		end += size
	}
	cut := strings.TrimRight(name.s[:end], " \t,;:-") + "…"
	b.warn(plan.CodeName, l.value.all(), "", "the calendar's name is longer than %d characters: the plan is called %q", maxNameLength, cut)
	return text{s: cut, off: make([]int, len(cut)+1)}
}

func (b *builder) extension(key string, v text, l icsLine) {
	p := b.plan
	here := b.ix.pos(l.value.all())
	wheel := func() *plan.Wheel {
		if p.Wheel == nil {
			p.Wheel, p.Where.Wheel = &plan.Wheel{}, here
		}
		return p.Wheel
	}
	button := func() *plan.Button {
		if p.Button == nil {
			p.Button, p.Where.Button = &plan.Button{PerHour: defaultPerHour, Portion: plan.Portion{Pockets: 1}}, here
		}
		return p.Button
	}
	switch key {
	case "POCKET":
		w := wheel()
		w.PocketMilligrams = b.mass(v, pocketAmount)
		b.pocketBroken = w.PocketMilligrams == 0
	case "TURN":
		wheel().TurnMillis = b.turn(v)
	case "TRIM":
		wheel().TrimMicros = b.trim(v)
	case "HOLDS":
		p.Hopper, p.Where.Hopper = b.mass(v, hopperAmount), here
	case "LATE":
		p.Late, p.Where.Late = b.late(v), here
	case "BOARD":
		p.Board, p.Where.Board = b.board(v), here
	case "GAP":
		p.Gap, p.Where.Gap = b.gap(v), here
	case "BUTTON":
		button().Portion, b.buttonAt = b.portion(v, true), l.value.all()
	case "BUTTON-PER-HOUR":
		if !plan.AllDigits(v.s) || atoi(clip(v.s, 6)) > b.limits.PerHour {
			b.fail(plan.CodeRange, l.value.all(), "", "%q is not a whole number from 0 to %d", v.s, b.limits.PerHour)
			return
		}
		button().PerHour = atoi(v.s)
	case "BUTTON-PER-DAY":
		if n := atoi(clip(v.s, 6)); !plan.AllDigits(v.s) || n < 1 || n > b.limits.PerDay {
			b.fail(plan.CodeRange, l.value.all(), "", "%q is not a whole number from 1 to %d", v.s, b.limits.PerDay)
			return
		}
		button().PerDay = atoi(v.s)
	default:
		b.unknownExtension(key, l, calendarKeys, "calendar", eventKeys)
	}
}

func (b *builder) unknownExtension(key string, l icsLine, known []string, where string, elsewhere []string) {
	hint := "known here: " + ics.Prefix + strings.Join(known, ", "+ics.Prefix)
	if s := advice.Nearest(key, known); s != "" {
		hint = fmt.Sprintf("did you mean %s%s?", ics.Prefix, s)
	} else if slices.Contains(elsewhere, key) && where == "event" {
		hint = "it belongs before the first BEGIN:VEVENT"
	} else if slices.Contains(elsewhere, key) {
		hint = "it belongs into a VEVENT"
	}
	b.fail(plan.CodeUnknown, l.whole.span(0, len(l.name)), hint, "%s is not a property of %s", l.name, article(where))
}

func article(noun string) string {
	if strings.ContainsRune("aeiou", rune(noun[0])) {
		return "an " + noun
	}
	return "a " + noun
}

// icsReader turns events into meals.
type icsReader struct {
	*builder
	cal   *icsComponent
	zones map[string]string // TZID → IANA name, "" after a fault that has been reported
	// defined are the VTIMEZONEs by their TZID.
	defined map[string]*icsComponent
}
