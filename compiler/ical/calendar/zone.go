package calendar

import (
	"strings"

	"mealtab/compiler/draft"
	"mealtab/compiler/ical"
	"mealtab/compiler/plan"
	"mealtab/compiler/source"
	"mealtab/compiler/zone/names"
)

// vtimezones notes the IANA names that some programs put beside their own TZIDs.
func (r *reader) vtimezones() {
	for _, c := range r.cal.Children {
		if c.Name != "VTIMEZONE" {
			continue
		}
		id, location := c.All("TZID"), c.All("X-LIC-LOCATION")
		if len(id) > 0 && r.defined[id[0].Value.S] == nil {
			r.defined[id[0].Value.S] = c
		}
		if len(id) > 0 && len(location) > 0 && !r.KnowsZone(strings.TrimSpace(id[0].Value.S)) {
			if name := strings.TrimSpace(location[0].Value.S); r.KnowsZone(name) {
				r.named[id[0].Value.S] = name
			}
		}
	}
}

// zoneOf gives the IANA name for a TZID. Ids that begin with a slash are globally unique names of some registry
// (RFC 5545 §3.2.19); they usually end in the IANA name, which is taken when it is one. Programs that live on Windows
// write its names ("W. Europe Standard Time"), which CLDR translates. Of any other the file itself has the rules.
func (r *reader) zoneOf(id source.Text) string {
	name, known := r.named[id.S]
	if !known {
		name = r.findZone(id)
		r.named[id.S] = name
	}
	return name
}

func (r *reader) findZone(id source.Text) string {
	name := strings.TrimSpace(id.S)
	if len(name) > names.MaxLength {
		r.Fail(plan.CodeZone, id.All(), "write TZID= with an IANA name, such as TZID=Europe/Lisbon, in every property", "the name of the time zone is longer than %d characters", names.MaxLength)
		return ""
	}
	if r.KnowsZone(name) {
		return name
	}
	if iana := names.OfWindows(name); iana != "" {
		return iana
	}
	for rest, slash := name, true; slash; {
		if _, rest, slash = strings.Cut(rest, "/"); slash && r.KnowsZone(rest) {
			return rest
		}
	}
	return r.definedZone(id)
}

// utcNames are IANA's names of UTC: times with such a TZID are UTC times, whatever the plan's zone.
var utcNames = map[string]bool{"UTC": true, "Etc/UTC": true, "Etc/UCT": true, "UCT": true, "Zulu": true, "Etc/Zulu": true,
	"GMT": true, "Etc/GMT": true, "Universal": true, "Etc/Universal": true}

// chooseZone finds the plan's one zone: that of the events, else the calendar's, else UTC when all events are in UTC.
func (r *reader) chooseZone() {
	floating := ical.Line{}
	starts := 0
	for _, c := range r.cal.Children {
		for _, l := range c.All("DTSTART") {
			if c.Name != "VEVENT" {
				continue
			}
			starts++
			if id, ok := l.Param("TZID"); ok && !utcNames[id.S] {
				r.Plan.Zone, r.Plan.Where.Zone = r.zoneOf(id), r.Pos(id.All())
				return
			}
			_, form, err := plan.ParseBasic(strings.TrimSpace(l.Value.S))
			_, zoned := l.Param("TZID")
			if err == nil && form != plan.UTC && !zoned && floating.Name == "" {
				floating = l
			}
		}
	}
	if l, ok := r.one(r.cal, "X-WR-TIMEZONE"); ok {
		v := ical.UnescapeText(l.Value).Trim()
		if names.OfWindows(v.S) != "" || r.defined[v.S] != nil {
			r.Plan.Zone, r.Plan.Where.Zone = r.zoneOf(v), r.Pos(v.All())
		} else {
			r.Set(draft.Zone, v, v.All())
		}
		return
	}
	switch {
	case floating.Name != "":
		r.Fail(plan.CodeZone, floating.Value.All(), "add X-WR-TIMEZONE:Europe/Lisbon at the top of the calendar, or DTSTART;TZID=Europe/Lisbon", "a time without zone: nothing says in which zone the feeder stands")
	case starts > 0:
		r.Plan.Zone = "Etc/UTC"
	}
}
