package reader

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/plan"
)

// Change is a change of a clock at an instant, from one offset to another. Offsets are seconds east of UTC.
type Change struct {
	At            plan.Local // UTC
	Before, After int
}

// endlessYears is how far the rules of a zone are compared for a meal without end: governments seldom leave them alone for longer.
const endlessYears = 10

// definedZone finds the IANA zone of a TZID whose rules the file itself gives (RFC 5545 §3.6.5). The table is made from IANA's data, so
// a zone is needed that has the same offsets in all the years of the plan.
func (r *icsReader) definedZone(id text) string {
	const hint = "write TZID= with an IANA name, such as TZID=Europe/Lisbon, in every property"
	c := r.defined[id.s]
	if c == nil || r.opts.MatchZones == nil {
		r.fail(plan.CodeZone, id.all(), hint, "TZID %q is not an IANA time zone name", id.s)
		return ""
	}
	from, to := r.years()
	changes, err := r.changes(c, to)
	if err != nil {
		r.fail(plan.CodeZone, id.all(), hint, "TZID %q is not an IANA time zone name, and its VTIMEZONE cannot be read: %v", id.s, err)
		return ""
	}
	first, end := plan.Local{Year: from, Month: 1, Day: 1}, plan.Local{Year: to + 1, Month: 1, Day: 1}
	names := r.opts.MatchZones(changes, first, end)
	if len(names) == 0 {
		r.fail(plan.CodeZone, id.all(), hint, "TZID %q is not an IANA time zone name, and no IANA zone has the rules of its VTIMEZONE from %d to %d", id.s, from, to)
		return ""
	}
	if slices.Contains(names, r.plan.Zone) {
		return r.plan.Zone
	}
	name := r.likeliest(names, id.s+" "+strings.Join(r.comments(c), " "))
	others := "it is the only IANA zone with"
	if len(names) > 1 {
		others = fmt.Sprintf("it is one of %d IANA zones with", len(names))
	}
	r.warn(plan.CodeZone, id.all(), "where the feeder stands in another of them, name it: clocks may part later",
		"TZID %q is read as %s: %s the rules of its VTIMEZONE from %d to %d", id.s, name, others, from, to)
	return name
}

// comments are what a VTIMEZONE says about where it is.
func (r *icsReader) comments(c *icsComponent) (list []string) {
	for _, l := range c.lines {
		list = append(list, l.value.s)
	}
	return list
}

// likeliest chooses among zones with the same rules: one whose city the calendar names, else one that CLDR takes for a whole
// region, else the first.
func (r *icsReader) likeliest(names []string, about string) string {
	regional := map[string]bool{}
	for windows, name := range windowsZones {
		regional[name] = !strings.HasPrefix(windows, "US ") // "US Eastern" is the part that once had rules of its own
	}
	about = strings.ToLower(strings.ReplaceAll(about, "_", " "))
	rank := func(name string) int {
		area, _, _ := strings.Cut(name, "/")
		city := strings.ToLower(strings.ReplaceAll(name[strings.LastIndexByte(name, '/')+1:], "_", " "))
		switch {
		case slices.Contains(zoneAreas, area) && !slices.Contains(countryAreas, area) && len(city) > 3 && strings.Contains(about, city):
			return 0
		case regional[name]:
			return 1
		case slices.Contains(zoneAreas, area):
			return 2
		}
		return 3
	}
	return slices.MinFunc(names, func(a, b string) int { return rank(a) - rank(b) })
}

// years are the first and the last in which an event of the calendar may be.
func (r *icsReader) years() (first, last int) {
	first, last = plan.LastYear, plan.FirstYear
	for _, c := range r.cal.children {
		if c.name != "VEVENT" {
			continue
		}
		start, end := 0, 0
		for _, l := range c.all("DTSTART") {
			if v, _, err := plan.ParseBasic(l.value.trim().s); err == nil {
				start, end = v.Year, v.Year
			}
		}
		for _, l := range slices.Concat(c.all("RDATE"), c.all("RECURRENCE-ID")) {
			for _, t := range l.value.split(',') {
				if v, _, err := plan.ParseBasic(clip(t.trim().s, 15)); err == nil {
					end = max(end, v.Year)
				}
			}
		}
		for _, l := range c.all("RRULE") {
			if rule, errs := plan.ParseRule(l.value.s); errs == nil && rule.Until != nil {
				end = max(end, rule.Until.Local.Year)
			} else {
				end = max(end, start+endlessYears)
			}
		}
		if start > 0 {
			first, last = min(first, start), max(last, end)
		}
	}
	first = min(max(first, plan.FirstYear), plan.LastYear)
	return first, min(max(first, last), plan.LastYear)
}

// changes are the onsets of a VTIMEZONE up to the end of a year, in order.
func (r *icsReader) changes(zone *icsComponent, LastYear int) (list []Change, err error) {
	for _, c := range zone.children {
		if c.name != "STANDARD" && c.name != "DAYLIGHT" {
			continue
		}
		o, err := r.observance(c, LastYear)
		if err != nil {
			return nil, fmt.Errorf("%s on line %d: %w", c.name, r.ix.line(c.begin.whole.off[0]), err)
		}
		list = append(list, o...)
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("it has neither STANDARD nor DAYLIGHT")
	}
	slices.SortStableFunc(list, func(a, b Change) int { return a.At.Compare(b.At) })
	return list, nil
}

// maxOnsets bounds what one observance may have: once a year since the first zones, many times over.
const maxOnsets = 2000

// observance are the onsets of one STANDARD or DAYLIGHT. Its times are local at TZOFFSETFROM (RFC 5545 §3.6.5), which makes
// them a series in a zone of that one offset.
func (r *icsReader) observance(c *icsComponent, LastYear int) (list []Change, err error) {
	offsets := map[string]int{}
	for _, name := range []string{"TZOFFSETFROM", "TZOFFSETTO"} {
		lines := c.all(name)
		if len(lines) != 1 {
			return nil, fmt.Errorf("%s is missing or given twice", name)
		}
		if offsets[name], err = utcOffset(lines[0].value.trim().s); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
	}
	add := func(local plan.Local) {
		from, to := offsets["TZOFFSETFROM"], offsets["TZOFFSETTO"]
		list = append(list, Change{local.AddSeconds(-from), from, to})
	}
	set := plan.Recurrence{Form: plan.UTC}
	for _, l := range slices.Concat(c.all("DTSTART"), c.all("RDATE")) {
		for _, t := range l.value.split(',') {
			local, form, bad := plan.ParseBasic(t.trim().s)
			if bad != nil || form == plan.Date {
				return nil, fmt.Errorf("%s %s %s", l.name, t.s, cmp.Or(badMessage(bad), "has no time"))
			}
			if l.name == "DTSTART" {
				set.Start = local
			}
			add(local)
		}
	}
	if set.Start.IsZero() {
		return nil, fmt.Errorf("DTSTART is missing")
	}
	for _, l := range c.all("RRULE") {
		rule, errs := plan.ParseRule(l.value.s)
		if errs != nil {
			return nil, fmt.Errorf("RRULE: %w", errs[0])
		}
		if u := rule.Until; u != nil && u.Form == plan.UTC { // the series is in local time here
			until := *u
			until.Local = u.Local.AddSeconds(offsets["TZOFFSETFROM"])
			rule.Until = &until
			rule.Text = rule.String()
		}
		set.Rule = rule
		err := r.opts.Walk("Etc/UTC", plan.GapShift, set, func(nominal, _ plan.Local) bool {
			add(nominal)
			return nominal.Year <= LastYear && len(list) < maxOnsets
		})
		if err != nil {
			return nil, fmt.Errorf("RRULE: %w", err)
		}
	}
	return list, nil
}

func badMessage(err *plan.ValueError) string {
	if err == nil {
		return ""
	}
	return err.Message
}

// utcOffset reads a UTC-OFFSET value (RFC 5545 §3.3.14), "+0100" or "-003000", as seconds east.
func utcOffset(s string) (int, error) {
	sign, digits := 1, ""
	if s != "" {
		digits = s[1:]
	}
	switch {
	case strings.HasPrefix(s, "-"):
		sign = -1
	case !strings.HasPrefix(s, "+"):
		return 0, fmt.Errorf("%q is not an offset; +0100 is one", clip(s, 12))
	}
	if len(digits) != 4 && len(digits) != 6 || !plan.AllDigits(digits) {
		return 0, fmt.Errorf("%q is not an offset; +0100 is one", clip(s, 12))
	}
	digits += "00"
	hours, minutes, seconds := atoi(digits[:2]), atoi(digits[2:4]), atoi(digits[4:6])
	if hours > 23 || minutes > 59 || seconds > 59 {
		return 0, fmt.Errorf("%q is not an offset; +0100 is one", clip(s, 12))
	}
	return sign * (hours*3600 + minutes*60 + seconds), nil
}
