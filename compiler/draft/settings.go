package draft

import (
	"cmp"
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"mealtab/compiler/advice"
	"mealtab/compiler/plan"
	"mealtab/compiler/source"
	"mealtab/compiler/zone/names"
)

// Bounds of what a feeder of this kind can mean; beyond them a unit is wrong.
const (
	maxPortion = 5_000_000  // mg: 5 kg
	maxPocket  = 1_000_000  // mg: 1 kg
	maxHopper  = 50_000_000 // mg: 50 kg
)

// What is meant where the plan does not say. The grace for a missed serving is short enough not to run into the next meal of a usual day,
// long enough for most power cuts. Common practice, no source.
const (
	defaultLate    = 120 // minutes
	defaultPerHour = 2
)

// MaxName is how many characters a name may have.
const MaxName = 60

// Setting is a value that a plan has once.
type Setting int

// The settings whose text is checked here.
const (
	Zone Setting = iota
	Late
	Gap
	Board
	Pocket
	Turn
	Trim
	Hopper
	ButtonPortion
)

// Set reads a setting and puts it into the plan. at is the place that the plan remembers: of the value, or of the table that it stands in.
func (b *Builder) Set(s Setting, t source.Text, at source.Span) {
	p, pos := b.Plan, b.Pos(at)
	switch s {
	case Zone:
		p.Where.Zone, p.Zone = pos, b.zone(t)
	case Late:
		p.Where.Late, p.Late = pos, b.late(t)
	case Gap:
		p.Where.Gap, p.Gap = pos, b.gap(t)
	case Board:
		p.Where.Board, p.Board = pos, b.board(t)
	case Pocket:
		b.Wheel(at).PocketMilligrams = b.mass(t, pocketAmount)
		b.pocketBroken = p.Wheel.PocketMilligrams == 0
	case Turn:
		b.Wheel(at).TurnMillis = b.turn(t)
	case Trim:
		b.Wheel(at).TrimMicros = b.trim(t)
	case Hopper:
		p.Where.Hopper, p.Hopper = pos, b.mass(t, hopperAmount)
	case ButtonPortion:
		b.Button(at).Portion, b.buttonAt = b.portion(t, true), t.All()
	}
}

// SetPresetUntil takes the date on which the first preset is in force again.
func (b *Builder) SetPresetUntil(s Stamp) {
	if s.Form != plan.Date {
		b.Fail(plan.CodeType, s.Span, "write the date alone: "+dashed(s.Local), "a preset ends as its last day ends: a date without a time of day is wanted")
		return
	}
	b.Plan.PresetUntil, b.Plan.Where.PresetUntil = s.Local, b.Pos(s.Span)
	b.untilAt = s.Span
}

// BrokenPocket notes that the weight of a pocket is there, with a fault that has been reported.
func (b *Builder) BrokenPocket() { b.pocketBroken = true }

// Wheel is the plan's wheel, which is there from now on.
func (b *Builder) Wheel(at source.Span) *plan.Wheel {
	if b.Plan.Wheel == nil {
		b.Plan.Wheel, b.Plan.Where.Wheel = &plan.Wheel{}, b.Pos(at)
	}
	return b.Plan.Wheel
}

// Button is the plan's button, which is there from now on: it gives one pocket where nothing else is said.
func (b *Builder) Button(at source.Span) *plan.Button {
	if b.Plan.Button == nil {
		b.Plan.Button, b.Plan.Where.Button = &plan.Button{PerHour: defaultPerHour, Portion: plan.Portion{Pockets: 1}}, b.Pos(at)
	}
	return b.Plan.Button
}

// KnowsZone reports whether a name is an IANA zone, as far as that can be told.
func (b *Builder) KnowsZone(name string) bool {
	if b.zones != nil {
		return b.zones.Check(name) == nil
	}
	return names.Spelled(name) && names.InArea(name)
}

// zone checks the name of the plan's time zone.
func (b *Builder) zone(t source.Text) string {
	name := strings.TrimSpace(t.S)
	if len(name) > names.MaxLength {
		b.Fail(plan.CodeZone, t.All(), `IANA names look like "Europe/Lisbon" or "America/New_York"`, "the name of the time zone is longer than %d characters", names.MaxLength)
		return ""
	}
	if b.zones == nil {
		if !names.Spelled(name) {
			b.Fail(plan.CodeZone, t.All(), cmp.Or(windowsHint(name), `IANA names look like "Europe/Lisbon" or "America/New_York"`), "%q is not an IANA time zone name", t.S)
			return ""
		}
		return name
	}
	if err := b.zones.Check(name); err != nil {
		problem, hint := advice.Apart(err)
		b.Fail(plan.CodeZone, t.All(), cmp.Or(windowsHint(name), hint), "%s", problem)
		return ""
	}
	return name
}

// windowsHint knows the IANA name for one of Windows; "" for every other name. Only calendars are translated without
// asking: what an owner writes by hand can name the place.
func windowsHint(name string) string {
	if iana := names.OfWindows(name); iana != "" {
		return fmt.Sprintf("Windows calls it that; write %q, or a city nearer to you with the same time", iana)
	}
	return ""
}

func (b *Builder) gap(t source.Text) plan.Gap {
	switch strings.ToLower(strings.TrimSpace(t.S)) {
	case "shift":
		return plan.GapShift
	case "omit":
		return plan.GapOmit
	}
	b.Fail(plan.CodeUnknown, t.All(), `"shift" serves at the time after the change (the default), "omit" leaves the serving out`,
		"gap %q does not exist", t.S)
	return plan.GapShift
}

// boardSpelling is the spelling of a profile's name. A path ends in .toml.
var boardSpelling = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

func (b *Builder) board(t source.Text) string {
	name := strings.TrimSpace(t.S)
	if strings.HasSuffix(strings.ToLower(name), ".toml") || boardSpelling.MatchString(name) {
		return name
	}
	hint := `profiles have names such as "m328-mains"; a path ends in .toml`
	if lower := strings.ToLower(strings.ReplaceAll(strings.ReplaceAll(name, " ", "-"), "_", "-")); boardSpelling.MatchString(lower) {
		hint = fmt.Sprintf("did you mean %q?", lower)
	}
	b.Fail(plan.CodeName, t.All(), hint, "%q is neither the name of a board profile nor the path of one", t.S)
	return ""
}

// ProperName checks a name that will be shown on one line.
func (b *Builder) ProperName(what string, t source.Text, at source.Span) string {
	name := strings.TrimSpace(t.S)
	switch {
	case name == "":
		b.Fail(plan.CodeName, at, "", "%s is empty", what)
	case strings.ContainsFunc(name, unicode.IsControl):
		b.Fail(plan.CodeName, at, "write it on one line", "%s has control characters", what)
	case utf8.RuneCountInString(name) > MaxName:
		b.Fail(plan.CodeName, at, "", "%s is longer than %d characters", what, MaxName)
	default:
		return name
	}
	return ""
}
