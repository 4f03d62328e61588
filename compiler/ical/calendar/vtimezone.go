package calendar

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/ical"
	"mealtab/compiler/plan"
	"mealtab/compiler/source"
	"mealtab/compiler/zone/names"
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
func (r *reader) definedZone(id source.Text) string {
	const hint = "write TZID= with an IANA name, such as TZID=Europe/Lisbon, in every property"
	c := r.defined[id.S]
	if c == nil || r.zones == nil {
		r.Fail(plan.CodeZone, id.All(), hint, "TZID %q is not an IANA time zone name", id.S)
		return ""
	}
	from, to := r.years()
	changes, err := r.changes(c, to)
	if err != nil {
		r.Fail(plan.CodeZone, id.All(), hint, "TZID %q is not an IANA time zone name, and its VTIMEZONE cannot be read: %v", id.S, err)
		return ""
	}
	first, end := plan.Local{Year: from, Month: 1, Day: 1}, plan.Local{Year: to + 1, Month: 1, Day: 1}
	fit := r.zones.Match(changes, first, end)
	if len(fit) == 0 {
		r.Fail(plan.CodeZone, id.All(), hint, "TZID %q is not an IANA time zone name, and no IANA zone has the rules of its VTIMEZONE from %d to %d", id.S, from, to)
		return ""
	}
	if slices.Contains(fit, r.Plan.Zone) {
		return r.Plan.Zone
	}
	name := likeliest(fit, id.S+" "+strings.Join(r.comments(c), " "))
	others := "it is the only IANA zone with"
	if len(fit) > 1 {
		others = fmt.Sprintf("it is one of %d IANA zones with", len(fit))
	}
	r.Warn(plan.CodeZone, id.All(), "where the feeder stands in another of them, name it: clocks may part later",
		"TZID %q is read as %s: %s the rules of its VTIMEZONE from %d to %d", id.S, name, others, from, to)
	return name
}

// comments are what a VTIMEZONE says about where it is.
func (r *reader) comments(c *ical.Component) (list []string) {
	for _, l := range c.Lines {
		list = append(list, l.Value.S)
	}
	return list
}

// likeliest chooses among zones with the same rules: one whose city the calendar names, else one that CLDR takes for a whole
// region, else the first.
func likeliest(fit []string, about string) string {
	about = strings.ToLower(strings.ReplaceAll(about, "_", " "))
	rank := func(name string) int {
		city := strings.ToLower(names.City(name))
		switch {
		case len(city) > 3 && strings.Contains(about, city):
			return 0
		case names.Regional(name):
			return 1
		case names.InArea(name):
			return 2
		}
		return 3
	}
	return slices.MinFunc(fit, func(a, b string) int { return rank(a) - rank(b) })
}

// years are the first and the last in which an event of the calendar may be.
func (r *reader) years() (first, last int) {
	first, last = plan.LastYear, plan.FirstYear
	for _, c := range r.cal.Children {
		if c.Name != "VEVENT" {
			continue
		}
		start, end := 0, 0
		for _, l := range c.All("DTSTART") {
			if v, _, err := plan.ParseBasic(l.Value.Trim().S); err == nil {
				start, end = v.Year, v.Year
			}
		}
		for _, l := range slices.Concat(c.All("RDATE"), c.All("RECURRENCE-ID")) {
			for _, t := range l.Value.Split(',') {
				if v, _, err := plan.ParseBasic(clip(t.Trim().S, 15)); err == nil {
					end = max(end, v.Year)
				}
			}
		}
		for _, l := range c.All("RRULE") {
			if rule, errs := plan.ParseRule(l.Value.S); errs == nil && rule.Until != nil {
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
func (r *reader) changes(zone *ical.Component, LastYear int) (list []Change, err error) {
	for _, c := range zone.Children {
		if c.Name != "STANDARD" && c.Name != "DAYLIGHT" {
			continue
		}
		o, err := r.observance(c, LastYear)
		if err != nil {
			return nil, fmt.Errorf("%s on line %d: %w", c.Name, r.Line(c.Begin.Whole.All()), err)
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
func (r *reader) observance(c *ical.Component, LastYear int) (list []Change, err error) {
	offsets := map[string]int{}
	for _, name := range []string{"TZOFFSETFROM", "TZOFFSETTO"} {
		lines := c.All(name)
		if len(lines) != 1 {
			return nil, fmt.Errorf("%s is missing or given twice", name)
		}
		if offsets[name], err = ical.Offset(lines[0].Value.Trim().S); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
	}
	add := func(local plan.Local) {
		from, to := offsets["TZOFFSETFROM"], offsets["TZOFFSETTO"]
		list = append(list, Change{local.AddSeconds(-from), from, to})
	}
	set := plan.Recurrence{Form: plan.UTC}
	for _, l := range slices.Concat(c.All("DTSTART"), c.All("RDATE")) {
		for _, t := range l.Value.Split(',') {
			local, form, bad := plan.ParseBasic(t.Trim().S)
			if bad != nil || form == plan.Date {
				return nil, fmt.Errorf("%s %s %s", l.Name, t.S, cmp.Or(badMessage(bad), "has no time"))
			}
			if l.Name == "DTSTART" {
				set.Start = local
			}
			add(local)
		}
	}
	if set.Start.IsZero() {
		return nil, fmt.Errorf("DTSTART is missing")
	}
	for _, l := range c.All("RRULE") {
		rule, errs := plan.ParseRule(l.Value.S)
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
		err := r.zones.Walk("Etc/UTC", plan.GapShift, set, func(nominal, _ plan.Local) bool {
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

func clip(s string, n int) string { return s[:min(n, len(s))] }
