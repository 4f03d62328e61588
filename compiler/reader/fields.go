package reader

import (
	"cmp"
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2/unstable"

	"mealtab/compiler/advice"
	"mealtab/compiler/plan"
)

// Bounds of what a feeder of this kind can mean; beyond them a unit is wrong.
const (
	maxPortion     = 5_000_000  // mg: 5 kg
	maxPocket      = 1_000_000  // mg: 1 kg
	maxHopper      = 50_000_000 // mg: 50 kg
	defaultPerHour = 2
	maxNameLength  = 60
	maxZoneLength  = 64 // characters of a time zone's name; IANA's longest has 32, the longest of other registries are no longer than this
)

// zone checks the name of the plan's time zone.
func (b *builder) zone(t text) string {
	name := strings.TrimSpace(t.s)
	if len(name) > maxZoneLength {
		b.fail(plan.CodeZone, t.all(), `IANA names look like "Europe/Lisbon" or "America/New_York"`, "the name of the time zone is longer than %d characters", maxZoneLength)
		return ""
	}
	if b.opts.CheckZone == nil {
		if !zoneSpelling.MatchString(name) {
			b.fail(plan.CodeZone, t.all(), cmp.Or(windowsHint(name), `IANA names look like "Europe/Lisbon" or "America/New_York"`), "%q is not an IANA time zone name", t.s)
			return ""
		}
		return name
	}
	if err := b.opts.CheckZone(name); err != nil {
		problem, hint := advice.Apart(err)
		b.fail(plan.CodeZone, t.all(), cmp.Or(windowsHint(name), hint), "%s", problem)
		return ""
	}
	return name
}

// windowsHint knows the IANA name for one of Windows; "" for every other name. Only calendars are translated without
// asking: what an owner writes by hand can name the place.
func windowsHint(name string) string {
	if iana := windowsZones[name]; iana != "" {
		return fmt.Sprintf("Windows calls it that; write %q, or a city nearer to you with the same time", iana)
	}
	return ""
}

// zoneSpelling is the spelling of IANA names: components of letters, digits and _ - +.
var zoneSpelling = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_+-]*(/[A-Za-z0-9_+-]+){0,3}$`)

func (b *builder) gap(t text) plan.Gap {
	switch strings.ToLower(strings.TrimSpace(t.s)) {
	case "shift":
		return plan.GapShift
	case "omit":
		return plan.GapOmit
	}
	b.fail(plan.CodeUnknown, t.all(), `"shift" serves at the time after the change (the default), "omit" leaves the serving out`,
		"gap %q does not exist", t.s)
	return plan.GapShift
}

// boardSpelling is the spelling of a profile's name. A path has a slash or ends in .toml.
var boardSpelling = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

func (b *builder) board(t text) string {
	name := strings.TrimSpace(t.s)
	isPath := strings.ContainsAny(name, `/\`) || strings.HasSuffix(strings.ToLower(name), ".toml")
	if isPath && strings.HasSuffix(strings.ToLower(name), ".toml") || boardSpelling.MatchString(name) {
		return name
	}
	hint := `profiles have names such as "m328-mains"; a path ends in .toml`
	if lower := strings.ToLower(strings.ReplaceAll(strings.ReplaceAll(name, " ", "-"), "_", "-")); boardSpelling.MatchString(lower) {
		hint = fmt.Sprintf("did you mean %q?", lower)
	}
	b.fail(plan.CodeName, t.all(), hint, "%q is neither the name of a board profile nor the path of one", t.s)
	return ""
}

// properName checks a name that will be shown on one line.
func (b *builder) properName(what string, t text, at span) string {
	name := strings.TrimSpace(t.s)
	switch {
	case name == "":
		b.fail(plan.CodeName, at, "", "%s is empty", what)
	case strings.ContainsFunc(name, unicode.IsControl):
		b.fail(plan.CodeName, at, "write it on one line", "%s has control characters", what)
	case utf8.RuneCountInString(name) > maxNameLength:
		b.fail(plan.CodeName, at, "", "%s is longer than %d characters", what, maxNameLength)
	default:
		return name
	}
	return ""
}

// times reads at, in ascending order; nil after a fault.
func (b *builder) times(list []text, spans []span) []int {
	var minutes []int
	seen := map[int]bool{}
	faults := false
	for i, t := range list {
		minute, err := parseTimeOfDay(t.s)
		switch {
		case err != nil:
			b.fail(err.Code, spans[i], err.Hint, "%q %s", t.s, err.Message)
			faults = true
		case seen[minute]:
			b.fail(plan.CodeDuplicate, spans[i], "remove one of them", "%q is given twice", t.s)
			faults = true
		default:
			seen[minute] = true
			minutes = append(minutes, minute)
		}
	}
	if faults {
		return nil
	}
	return sortedInts(minutes)
}

// rule parses a rule and reports its faults at their places; nil when there are any.
func (b *builder) rule(t text) *plan.Rule {
	r, errs := plan.ParseRule(t.s)
	for _, e := range errs {
		at := t.span(e.From, e.To)
		if e.From == e.To {
			at = t.all()
		}
		b.fail(e.Code, at, e.Hint, "%s", e.Message)
	}
	return r
}

// stamp is a date or date-time with its place.
type stamp struct {
	local plan.Local
	form  plan.Form
	span  span
	shown string // as written
	key   string // property, where it is not the usual one
}

// stamp reads a TOML date or date-time.
func (b *builder) stamp(v tomlValue, example string) (stamp, bool) {
	switch v.kind {
	case unstable.LocalDateTime, unstable.LocalDate, unstable.DateTime:
	case unstable.Invalid:
		return stamp{}, false
	case unstable.String:
		hint := "write it without quotes: " + example
		if _, _, err := parseExtended(v.text.s); err == nil {
			hint = "write it without quotes: " + v.text.s
		}
		b.fail(plan.CodeType, v.span, hint, "a string stands where a date-time is wanted")
		return stamp{}, false
	default:
		b.fail(plan.CodeType, v.span, "write "+example, "%s stands where a date-time is wanted", kindName(v.kind))
		return stamp{}, false
	}
	l, form, err := parseExtended(v.text.s)
	if err == nil {
		err = l.InCalendar()
	}
	if err != nil {
		b.fail(err.Code, v.span, err.Hint, "%s %s", v.text.s, err.Message)
		return stamp{}, false
	}
	return stamp{local: l, form: form, span: v.span, shown: v.text.s}, true
}

// stamps reads a list of dates and date-times; ok is false after a fault, true when the key is absent.
func (b *builder) stamps(t *tomlTable, key, example string) (list []stamp, ok bool) {
	e := b.take(t, key)
	if e == nil {
		return nil, true
	}
	if e.value.kind != unstable.Array {
		b.wrongType(e, "a list", example)
		return nil, false
	}
	ok = true
	for _, item := range e.value.items {
		s, good := b.stamp(item, example)
		ok = ok && good
		if good {
			list = append(list, s)
		}
	}
	return list, ok
}
