package reader

import (
	"slices"
	"strings"

	"mealtab/compiler/plan"
)

// vtimezones notes the IANA names that some programs put beside their own TZIDs.
func (r *icsReader) vtimezones() {
	for _, c := range r.cal.children {
		if c.name != "VTIMEZONE" {
			continue
		}
		id, location := c.all("TZID"), c.all("X-LIC-LOCATION")
		if len(id) > 0 && r.defined[id[0].value.s] == nil {
			r.defined[id[0].value.s] = c
		}
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

// countryAreas are those whose names are no cities: "US/Eastern".
var countryAreas = []string{"Brazil", "Canada", "Chile", "Etc", "Mexico", "US"}

//go:generate go run ./internal/windowsgen -cldr 41 -to zwindows.go

// zoneOf gives the IANA name for a TZID. Ids that begin with a slash are globally unique names of some registry
// (RFC 5545 §3.2.19); they usually end in the IANA name, which is taken when it is one. Programs that live on Windows
// write its names ("W. Europe Standard Time"), which CLDR translates. Of any other the file itself has the rules.
func (r *icsReader) zoneOf(id text) string {
	name, known := r.zones[id.s]
	if !known {
		name = r.findZone(id)
		r.zones[id.s] = name
	}
	return name
}

func (r *icsReader) findZone(id text) string {
	name := strings.TrimSpace(id.s)
	if len(name) > maxZoneLength {
		r.fail(plan.CodeZone, id.all(), "write TZID= with an IANA name, such as TZID=Europe/Lisbon, in every property", "the name of the time zone is longer than %d characters", maxZoneLength)
		return ""
	}
	if r.isZone(name) {
		return name
	}
	if iana := windowsZones[name]; iana != "" {
		return iana
	}
	for rest, slash := name, true; slash; {
		if _, rest, slash = strings.Cut(rest, "/"); slash && r.isZone(rest) {
			return rest
		}
	}
	return r.definedZone(id)
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
			_, form, err := plan.ParseBasic(strings.TrimSpace(l.value.s))
			_, zoned := l.param("TZID")
			if err == nil && form != plan.UTC && !zoned && floating.name == "" {
				floating = l
			}
		}
	}
	if l, ok := r.one(r.cal, "X-WR-TIMEZONE"); ok {
		v := unescapeText(l.value).trim()
		r.plan.Where.Zone = r.ix.pos(v.all())
		if windowsZones[v.s] != "" || r.defined[v.s] != nil {
			r.plan.Zone = r.zoneOf(v)
		} else {
			r.plan.Zone = r.zone(v)
		}
		return
	}
	switch {
	case floating.name != "":
		r.fail(plan.CodeZone, floating.value.all(), "add X-WR-TIMEZONE:Europe/Lisbon at the top of the calendar, or DTSTART;TZID=Europe/Lisbon", "a time without zone: nothing says in which zone the feeder stands")
	case starts > 0:
		r.plan.Zone = "Etc/UTC"
	}
}
