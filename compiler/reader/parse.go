// Package reader reads an owner's meal plan and turns it into a [plan.Plan] whose every value has been checked.
//
// In: TOML (the project's own plan language, property names from RFC 5545) or iCalendar (RFC 5545), and a database of zones. Out: a plan,
// or a list of diagnostics with line and column. What stands in a file is found by two packages that know nothing of each other, toml and
// ical/calendar; both put it into a builder of package draft, which checks it. They ask for zones and instances through [Zones]; [With]
// answers from the IANA data and from package recur.
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
// LATE, BOARD, GAP, BUTTON, BUTTON-PER-HOUR and BUTTON-PER-DAY in the calendar; NAME, PRESETS and AT in an event. Events with
// RECURRENCE-ID replace an instance of their series; cancelled events are left out.
package reader

import (
	"bytes"
	"fmt"
	"path"
	"strings"

	"mealtab/compiler/draft"
	"mealtab/compiler/ical/calendar"
	"mealtab/compiler/plan"
	"mealtab/compiler/reader/toml"
	"mealtab/compiler/source"
)

// Options are what a parse needs from outside. The zero Options check zone names by their spelling only, and keep to no limits.
type Options struct {
	Zones  calendar.Zones
	Limits draft.Limits
}

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
	src = bytes.TrimPrefix(src, source.ByteOrderMark)
	b := draft.New(name, src, o.Zones, o.Limits)
	switch {
	case isUTF16(src): // which some editors call "Unicode"; TOML and iCalendar are written in UTF-8
		b.FailWhole(plan.CodeSyntax, "save it as UTF-8", "the file is UTF-16, not UTF-8")
	case IsCalendar(name, src):
		calendar.Read(b, o.Zones) // checks the encoding after unfolding: a fold may split a character
	case checkEncoding(b, src):
		toml.Read(b)
	}
	return b.Result()
}

// MaxBytes is the length of the longest plan that is read: some thousand events, more than a table can hold.
const MaxBytes = 1_000_000

// IsCalendar reports whether a file is read as iCalendar.
func IsCalendar(name string, src []byte) bool {
	const begin = "BEGIN:VCALENDAR"
	head := bytes.TrimLeft(src, " \t\r\n")
	return strings.EqualFold(path.Ext(name), ".ics") || len(head) >= len(begin) && strings.EqualFold(string(head[:len(begin)]), begin)
}

func isUTF16(src []byte) bool {
	return bytes.HasPrefix(src, []byte("\xFF\xFE")) || bytes.HasPrefix(src, []byte("\xFE\xFF"))
}

// checkEncoding refuses what is not UTF-8.
func checkEncoding(b *draft.Builder, src []byte) bool {
	i := source.InvalidUTF8(string(src))
	if i >= 0 {
		b.Fail(plan.CodeSyntax, source.Span{From: i, To: i + 1}, "save the file as UTF-8", "byte 0x%02X is not UTF-8", src[i])
	}
	return i < 0
}
