package plan

import (
	"fmt"
	"slices"
	"strings"
)

// icsPrefix begins the properties in which a calendar carries what iCalendar has no words for.
const icsPrefix = "X-MEALTAB-"

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
		b.failWhole(CodeSyntax, "an iCalendar file begins with BEGIN:VCALENDAR", "there is no calendar in the file")
		return
	case len(calendars) > 1:
		b.fail(CodeUnsupported, calendars[1].begin.whole.all(), "keep one calendar, or make it a file of its own", "the file holds a second calendar")
		return
	}
	cal := calendars[0]
	b.plan.Late = defaultLate
	b.calendarProperties(cal)
	r := &icsReader{builder: b, cal: cal, zones: map[string]string{}}
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
				b.fail(CodeUnsupported, l.value.all(), "export it as iCalendar (version 2.0, .ics)", "this is vCalendar 1.0")
			}
		case "X-WR-CALNAME", "NAME":
			p.Name = b.properName("the calendar's name", v, l.value.all())
		default:
			if key, ok := strings.CutPrefix(l.name, icsPrefix); ok {
				b.extension(key, v, l)
			}
		}
	}
}

func (b *builder) extension(key string, v text, l icsLine) {
	p := b.plan
	here := b.ix.pos(l.value.all())
	wheel := func() *Wheel {
		if p.Wheel == nil {
			p.Wheel, p.Where.Wheel = &Wheel{}, here
		}
		return p.Wheel
	}
	button := func() *Button {
		if p.Button == nil {
			p.Button, p.Where.Button = &Button{PerHour: defaultPerHour, Portion: Portion{Pockets: 1}}, here
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
		button().Portion = b.portion(v, true)
	case "BUTTON-PER-HOUR":
		if !allDigits(v.s) || atoi(clip(v.s, 6)) > maxPerHour {
			b.fail(CodeRange, l.value.all(), "", "%q is not a whole number from 0 to %d", v.s, maxPerHour)
			return
		}
		button().PerHour = atoi(v.s)
	default:
		b.unknownExtension(key, l, calendarKeys, "calendar", eventKeys)
	}
}

func (b *builder) unknownExtension(key string, l icsLine, known []string, where string, elsewhere []string) {
	hint := "known here: " + icsPrefix + strings.Join(known, ", "+icsPrefix)
	if s := nearest(key, known); s != "" {
		hint = fmt.Sprintf("did you mean %s%s?", icsPrefix, s)
	} else if slices.Contains(elsewhere, key) && where == "event" {
		hint = "it belongs before the first BEGIN:VEVENT"
	} else if slices.Contains(elsewhere, key) {
		hint = "it belongs into a VEVENT"
	}
	b.fail(CodeUnknown, l.whole.span(0, len(l.name)), hint, "%s is not a property of %s", l.name, article(where))
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
}

// vtimezones notes the IANA names that some programs put beside their own TZIDs.
func (r *icsReader) vtimezones() {
	for _, c := range r.cal.children {
		if c.name != "VTIMEZONE" {
			continue
		}
		id, location := c.all("TZID"), c.all("X-LIC-LOCATION")
		if len(id) > 0 && len(location) > 0 && !r.isZone(strings.TrimSpace(id[0].value.s)) {
			if name := strings.TrimSpace(location[0].value.s); r.isZone(name) {
				r.zones[id[0].value.s] = name
			}
		}
	}
}

// isZone reports whether a name is an IANA zone, as far as that can be told.
func (r *icsReader) isZone(name string) bool {
	if r.opts.CheckZone != nil {
		return r.opts.CheckZone(name) == nil
	}
	area, _, slash := strings.Cut(name, "/")
	return slash && zoneSpelling.MatchString(name) && slices.Contains(zoneAreas, area)
}

// zoneAreas are the first components of IANA names.
var zoneAreas = []string{"Africa", "America", "Antarctica", "Arctic", "Asia", "Atlantic", "Australia", "Brazil", "Canada",
	"Chile", "Etc", "Europe", "Indian", "Mexico", "Pacific", "US"}

//go:generate go run ./internal/windowsgen -cldr 41 -to zwindows.go

// zoneOf gives the IANA name for a TZID. Ids that begin with a slash are globally unique names of some registry
// (RFC 5545 §3.2.19); they usually end in the IANA name, which is taken when it is one. Programs that live on Windows
// write its names ("W. Europe Standard Time"), which CLDR translates.
func (r *icsReader) zoneOf(id text) string {
	if name, known := r.zones[id.s]; known {
		return name
	}
	name := strings.TrimSpace(id.s)
	if iana := windowsZones[name]; iana != "" && !r.isZone(name) {
		name = iana
	}
	if !r.isZone(name) {
		name = ""
		for rest := id.s; strings.HasPrefix(id.s, "/") && rest != "" && name == ""; {
			_, rest, _ = strings.Cut(rest, "/")
			if r.isZone(rest) {
				name = rest
			}
		}
	}
	if name == "" {
		r.fail(CodeZone, id.all(), "write TZID= with an IANA name, such as TZID=Europe/Lisbon, in every property", "TZID %q is not an IANA time zone name", id.s)
	}
	r.zones[id.s] = name
	return name
}

// utcNames are IANA's names of UTC: times with such a TZID are UTC times, whatever the plan's zone.
var utcNames = map[string]bool{"UTC": true, "Etc/UTC": true, "Etc/UCT": true, "UCT": true, "Zulu": true, "Etc/Zulu": true,
	"GMT": true, "Etc/GMT": true, "Universal": true, "Etc/Universal": true}

// chooseZone finds the plan's one zone: that of the events, else the calendar's, else UTC when all events are in UTC.
func (r *icsReader) chooseZone() {
	floating := icsLine{}
	starts := 0
	for _, c := range r.cal.children {
		for _, l := range c.all("DTSTART") {
			if c.name != "VEVENT" {
				continue
			}
			starts++
			if id, ok := l.param("TZID"); ok && !utcNames[id.s] {
				r.plan.Zone, r.plan.Where.Zone = r.zoneOf(id), r.ix.pos(id.all())
				return
			}
			_, form, err := parseBasic(strings.TrimSpace(l.value.s))
			_, zoned := l.param("TZID")
			if err == nil && form != UTC && !zoned && floating.name == "" {
				floating = l
			}
		}
	}
	if l, ok := r.one(r.cal, "X-WR-TIMEZONE"); ok {
		v := unescapeText(l.value).trim()
		r.plan.Where.Zone = r.ix.pos(v.all())
		if windowsZones[v.s] != "" {
			r.plan.Zone = r.zoneOf(v)
		} else {
			r.plan.Zone = r.zone(v)
		}
		return
	}
	switch {
	case floating.name != "":
		r.fail(CodeZone, floating.value.all(), "add X-WR-TIMEZONE:Europe/Lisbon at the top of the calendar, or DTSTART;TZID=Europe/Lisbon", "a time without zone: nothing says in which zone the feeder stands")
	case starts > 0:
		r.plan.Zone = "Etc/UTC"
	}
}
