// Package reader reads an owner's meal plan and turns it into a [plan.Plan] whose every value has been checked.
//
// In: TOML (the project's own plan language, property names from RFC 5545) or iCalendar (RFC 5545), and a database of zones. Out: a plan,
// or a list of diagnostics with line and column. Parsing itself asks for zones and instances through [Options]; [With] answers from the
// IANA data and from package recur.
//
// # The plan language
//
//	plan, zone, late, board, gap         at the top; only zone is needed
//	[wheel]  pocket, turn, trim          pocket is needed where a portion is a weight
//	[hopper] holds
//	[button] portion, per-hour, per-day
//	[[pet]]  name, species, weight, …     who eats, for the ration; see package ration
//	[food]   energy, opened, …            what is in the hopper, likewise
//	[[meal]] name, portion, dtstart, rrule, at, exdate, rdate, presets
//
// Weights are in g, kg, mg, oz or lb and rounded to the milligram, portions also in pockets; late in min, h or d, up
// to 24 h; turn in ms or s; trim in us or ms. A number may have a decimal point.
//
// A TOML local date-time is in the plan's zone; one with Z is UTC: rule and at are then read in UTC and do not follow
// daylight saving. Other offsets are refused. Without rrule a meal is daily; with rdate alone it has those dates only. dtstart may be
// left out where the rule takes nothing from it (no INTERVAL or COUNT, days and times given): such a meal has always
// been, from 2000-01-01. A dtstart that is a date begins the meal on that day. UNTIL may be UTC, local, or a date,
// whose day then belongs to the rule. An exdate that is a date takes the whole day out.
//
// # iCalendar
//
// Each VEVENT is a meal, its SUMMARY ends with the portion. TZID, or X-WR-TIMEZONE for floating times, names the zone;
// VTIMEZONE is not needed. What iCalendar has no words for stands in X-MEALTAB- properties: POCKET, TURN, TRIM, HOLDS,
// LATE, BOARD, GAP, BUTTON and BUTTON-PER-HOUR in the calendar; NAME, PRESETS and AT in an event. Events with
// RECURRENCE-ID replace an instance of their series; cancelled events are left out.
package reader

import (
	"bytes"
	"fmt"
	"math"
	"path"
	"strings"

	"mealtab/compiler/advice"
	"mealtab/compiler/plan"
)

// Options are what a parse needs from outside. The zero Options check zone names by their spelling only.
type Options struct {
	// CheckZone says whether a name is an IANA time zone. The error's text becomes the message; an error with a
	// method Hint() string gives the hint too.
	CheckZone func(name string) error
	// Convert gives a time of the form from in the form to (Zoned or UTC), for the zone. Without it, RDATE and EXDATE
	// must be of the same form as DTSTART.
	Convert func(zone string, l plan.Local, from, to plan.Form) (plan.Local, error)
	// Walk visits the instances of a set in order of their nominal times, until visit returns false. It fails where
	// that takes too long. Without it, what an iCalendar file says of single instances is taken to be true.
	Walk func(zone string, gap plan.Gap, r plan.Recurrence, visit func(nominal, utc plan.Local) bool) error
	// MatchZones names the IANA zones, the likeliest first, that have the offsets of the changes at every instant from <= t < to. Without it, a time
	// zone that an iCalendar file defines itself cannot be read.
	MatchZones func(changes []Change, from, to plan.Local) []string
	Limits     Limits
}

// Limits are those of the table and of the feeder, which a plan must keep to. They stand in package table; 0 is no limit.
type Limits struct {
	Meals, Presets   int
	Late             int // minutes
	MinTurn, MaxTurn int // ms
	Trim             int // µs either way
	MealPockets      int // pockets of one portion
	Asked            int // pockets of one press
	PerHour, PerDay  int // presses
}

// orNone replaces limits that are not given.
func (l Limits) orNone() Limits {
	for _, n := range []*int{&l.Meals, &l.Presets, &l.Late, &l.MaxTurn, &l.Trim, &l.MealPockets, &l.Asked, &l.PerHour, &l.PerDay} {
		if *n == 0 {
			*n = math.MaxInt32
		}
	}
	l.Presets = min(l.Presets, presetBits)
	return l
}

// presetBits is how many presets a mask of them can name.
const presetBits = 8

// Parse is Options.Parse with the zero Options.
func Parse(name string, src []byte) (*plan.Plan, plan.Diagnostics) { return Options{}.Parse(name, src) }

// Parse reads a plan. It is iCalendar when the name ends in .ics or the text begins with BEGIN:VCALENDAR, else TOML.
// The plan is nil when there are errors; warnings come with a plan. The diagnostics are sorted by position.
func (o Options) Parse(name string, src []byte) (*plan.Plan, plan.Diagnostics) {
	if len(src) > MaxBytes {
		return nil, plan.Diagnostics{{Code: plan.CodeLimit, Severity: plan.Error, Source: &plan.Source{Name: name},
			Message: fmt.Sprintf("the file has %d bytes; a plan has at most %d", len(src), MaxBytes),
			Hint:    "64 meals need a hundredth of that; of a big calendar, export only the part with the meals"}}
	}
	src = bytes.TrimPrefix(src, plan.ByteOrderMark)
	b := &builder{src: src, ix: newIndex(src), opts: o, limits: o.Limits.orNone(), plan: &plan.Plan{Source: plan.NewSource(name, src)}}
	switch {
	case b.isUTF16():
	case isICS(name, src):
		b.icsPlan() // checks the encoding after unfolding: a fold may split a character
	case b.checkEncoding():
		b.tomlPlan(b.readTOML())
	}
	b.ds = b.ds.Sort()
	if b.dropped {
		b.ds = append(b.ds, plan.Diagnostic{Code: plan.CodeLimit, Severity: plan.Warning, Source: b.plan.Source,
			Message: fmt.Sprintf("there is more to say; only %d diagnostics are shown", plan.MaxDiagnostics)})
		if b.errorCount > 0 {
			b.ds[len(b.ds)-1].Severity = plan.Error
		}
	}
	if b.ds.HasErrors() {
		return nil, b.ds
	}
	return b.plan, b.ds
}

// MaxBytes is the length of the longest plan that is read: some thousand events, more than a table can hold.
const MaxBytes = 1_000_000

func isICS(name string, src []byte) bool {
	const begin = "BEGIN:VCALENDAR"
	head := bytes.TrimLeft(src, " \t\r\n")
	return strings.EqualFold(path.Ext(name), ".ics") || len(head) >= len(begin) && strings.EqualFold(string(head[:len(begin)]), begin)
}

// builder collects the plan and what is to be said about it.
type builder struct {
	src    []byte
	ix     *index
	opts   Options
	limits Limits
	plan   *plan.Plan
	ds     plan.Diagnostics
	ics    bool // the source is iCalendar
	// errorCount counts the errors, also those that are not kept.
	errorCount int
	dropped    bool // there were more than maxDiagnostics
	// mealCount counts the meals of the source, also those beyond what a table holds.
	mealCount int
	// pocketBroken says that the pocket's weight is there but could not be read.
	pocketBroken bool
	daily        int  // servings a day so far, at most
	buttonAt     span // where the button's portion stands
}

func (b *builder) report(sev plan.Severity, code plan.Code, at span, hint, format string, args ...any) {
	if sev == plan.Error {
		b.errorCount++
	}
	if len(b.ds) >= plan.MaxDiagnostics {
		b.dropped = true
		return
	}
	b.ds = append(b.ds, plan.Diagnostic{Code: code, Severity: sev, Source: b.plan.Source, Pos: b.ix.pos(at),
		Message: fmt.Sprintf(format, advice.Shorten(args)...), Hint: hint})
}

func (b *builder) fail(code plan.Code, at span, hint, format string, args ...any) {
	b.report(plan.Error, code, at, hint, format, args...)
}

func (b *builder) warn(code plan.Code, at span, hint, format string, args ...any) {
	b.report(plan.Warning, code, at, hint, format, args...)
}

// failWhole reports what concerns no single place.
func (b *builder) failWhole(code plan.Code, hint, format string, args ...any) {
	b.errorCount++
	b.ds = append(b.ds, plan.Diagnostic{Code: code, Severity: plan.Error, Source: b.plan.Source,
		Message: fmt.Sprintf(format, advice.Shorten(args)...), Hint: hint})
}

// isUTF16 refuses the encoding that some editors call "Unicode"; TOML and iCalendar are written in UTF-8.
func (b *builder) isUTF16() bool {
	if !bytes.HasPrefix(b.src, []byte("\xFF\xFE")) && !bytes.HasPrefix(b.src, []byte("\xFE\xFF")) {
		return false
	}
	b.failWhole(plan.CodeSyntax, "save it as UTF-8", "the file is UTF-16, not UTF-8")
	return true
}

// checkEncoding refuses what is not UTF-8.
func (b *builder) checkEncoding() bool {
	i := invalidUTF8(string(b.src))
	if i >= 0 {
		b.fail(plan.CodeSyntax, span{i, i + 1}, "save the file as UTF-8", "byte 0x%02X is not UTF-8", b.src[i])
	}
	return i < 0
}
