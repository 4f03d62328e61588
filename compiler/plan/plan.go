// Package plan is the model of an owner's meal plan: meals with their recurrence sets, portions, presets, the wheel and the button.
//
// In: nothing of a file, which package reader reads by way of package draft; the text of a recurrence rule (RFC 5545, RFC 7529). Out: a [Plan] with local times
// as written, masses in milligrams, durations in minutes; the rule, or what is wrong with it; [Diagnostics] and how they are shown. The
// package expands nothing: what a recurrence rule means is the business of packages recur (the referee) and lower (the compiler).
package plan

import (
	"fmt"
	"slices"

	"mealtab/compiler/units"
)

// Local is a nominal date and time of day as written in a plan, without zone. The zero Local is "absent".
// Month and Day count from 1. Second is 0 to 59: RFC 5545 §3.3.12 lets 60 be read as 59.
type Local struct {
	Year                             int
	Month, Day, Hour, Minute, Second int
}

// IsZero reports whether l is absent.
func (l Local) IsZero() bool { return l == Local{} }

// String gives the RFC 3339 form without offset, "2026-12-01T07:00:00".
func (l Local) String() string {
	return fmt.Sprintf("%04d-%02d-%02dT%02d:%02d:%02d", l.Year, l.Month, l.Day, l.Hour, l.Minute, l.Second)
}

// Form says which of RFC 5545's kinds of date-time a value is (§3.3.5 forms 1 to 3, and §3.3.4).
type Form int

const (
	// Zoned is local time in the plan's zone: TOML local date-times, TZID in iCalendar, and floating
	// iCalendar times, which a plan reads in its own zone.
	Zoned Form = iota
	// UTC is a time written with Z: its rule is expanded in UTC and does not follow daylight saving.
	UTC
	// Date is a date without time of day; times come from BYHOUR or from at.
	Date
)

// Freq is RFC 5545's FREQ, from the shortest period to the longest.
type Freq int

// The seven frequencies of RFC 5545 §3.3.10.
const (
	Secondly Freq = iota
	Minutely
	Hourly
	Daily
	Weekly
	Monthly
	Yearly
)

// Weekday counts from Monday = 0, the default week start of RFC 5545.
type Weekday int

// The days of the week in RFC 5545's default order.
const (
	Monday Weekday = iota
	Tuesday
	Wednesday
	Thursday
	Friday
	Saturday
	Sunday
)

// WeekdayNum is one entry of BYDAY: the N-th Day of the month or year, from the end if negative; N = 0 means every.
type WeekdayNum struct {
	N   int
	Day Weekday
}

// Skip is RFC 7529's SKIP.
type Skip int

// The values of SKIP (RFC 7529 §4.1); Omit is the default.
const (
	Omit Skip = iota
	Backward
	Forward
)

// Until is the inclusive end of a rule.
type Until struct {
	Form  Form // Zoned: local time; UTC: an instant; Date: the whole day belongs to the rule
	Local Local
}

// Rule is a parsed and range-checked RECUR value (RFC 5545 §3.3.10, RFC 7529 §4.1). Lists are sorted and
// free of repetitions; an absent part is nil. Seconds of 60 are stored as 59.
type Rule struct {
	Text       string // as written, upper case, white space removed: what the referee parses for itself
	Freq       Freq
	Interval   int // at least 1
	Count      int // 0: absent
	Until      *Until
	WeekStart  Weekday
	BySecond   []int
	ByMinute   []int
	ByHour     []int
	ByDay      []WeekdayNum
	ByMonthDay []int
	ByYearDay  []int
	ByWeekNo   []int
	ByMonth    []int
	BySetPos   []int
	Skip       Skip
}

// Recurrence is a meal's recurrence set as written: DTSTART, RRULE, RDATE, EXDATE (RFC 5545 §3.8.5), and the
// plan language's own "at".
type Recurrence struct {
	Form  Form  // of Start; RDate and ExDate are converted to it where they were written differently
	Start Local // DTSTART; its time is 00:00:00 when Form is Date
	Rule  *Rule // nil: Start is the only instance besides RDate
	// At lists minutes of the day (0 to 1439), ascending. When not empty the rule has FREQ=DAILY or longer and
	// none of BYHOUR, BYMINUTE, BYSECOND, and At stands for its times of day: COUNT and BYSETPOS count
	// date-times, day by day in time order. An instance before Start is not in the set.
	At     []int
	RDate  []Local // ascending, no repetitions
	ExDate []Local // ascending, no repetitions; a value matches by nominal local time
	// Last is the nominal time of the rule's last instance, where COUNT ends it and [Options].Walk could say: for words, it
	// changes nothing.
	Last Local
	// ExDays are EXDATE;VALUE=DATE values: every instance on that nominal local date is excluded.
	ExDays []Local
}

// TimesOfDay lists the times of day, in seconds, of a set whose rule is of FREQ=DAILY or longer.
func (r *Recurrence) TimesOfDay() []int {
	if len(r.At) > 0 {
		out := make([]int, len(r.At))
		for i, m := range r.At {
			out[i] = m * 60
		}
		return out
	}
	or := func(list []int, otherwise int) []int {
		if len(list) > 0 {
			return list
		}
		return []int{otherwise}
	}
	var out []int
	for _, h := range or(r.Rule.ByHour, r.Start.Hour) {
		for _, m := range or(r.Rule.ByMinute, r.Start.Minute) {
			for _, s := range or(r.Rule.BySecond, r.Start.Second) {
				out = append(out, h*3600+m*60+s)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Gap says what becomes of an instance whose local time does not exist.
type Gap int

const (
	// GapShift uses the offset in force before the gap (RFC 5545 §3.3.5): the default, no meal is skipped.
	GapShift Gap = iota
	// GapOmit drops the instance (the other reading of RFC 5545 §3.3.10); COUNT is not consumed by it.
	// Explicit values (RDATE, and DTSTART without a rule) are never dropped.
	GapOmit
)

// Portion is a meal's amount: exactly one of the fields is positive.
type Portion struct {
	Milligrams int64
	Pockets    int
}

// Meal is one [[meal]] table or one VEVENT.
type Meal struct {
	Name    string
	Portion Portion
	Set     Recurrence
	// Presets has bit i set when the meal belongs to Plan.Presets[i]; 0 when the plan has no presets, or
	// when the meal belongs to all.
	Presets uint8
	Pos     Pos // of the meal's heading
	Where   MealPlaces
}

// MealPlaces says where the parts of a meal stand in the source; zero where a part was not written.
type MealPlaces struct {
	Name, Portion, Start, Rule, At Pos
	RDate, ExDate, ExDays          []Pos // parallel to the lists of Recurrence
}

// Wheel is the [wheel] table, from weighing.
type Wheel struct {
	PocketMilligrams int64 // 0: unknown
	TurnMillis       int   // time for one pocket; 0: the board's default
	TrimMicros       int   // added to the servo's stop pulse
}

// Button is the [button] table: what the feed-now button may do.
type Button struct {
	Portion Portion // of one press; both fields 0 disables the button
	PerHour int     // presses served in an hour
	PerDay  int     // in a day; 0: as many as the feeder allows by itself
}

// Plan is a whole checked plan.
type Plan struct {
	Name    string
	Zone    string // IANA name
	Gap     Gap
	Late    int      // minutes, 0 to 1440: a serving missed in a power cut is still given if at most this late; absent: 120
	Board   string   // name of a board profile, or path of a TOML file; "": the caller's default
	Presets []string // at most 8, in order of first mention; nil: none
	// PresetUntil is the date from whose 00:00 on the first preset is in force again, whichever was before; zero: none ends by itself.
	PresetUntil Local
	Wheel       *Wheel
	Hopper      int64   // milligrams it holds; 0: unknown
	Button      *Button // nil: the defaults of the table format
	Pets        []Pet   // who eats; for the ration only
	Food        map[string]Value
	Meals       []Meal // at most 64
	Source      *Source
	Where       Places
}

// Places says where the parts of a plan stand in the source; zero where a part was not written.
type Places struct{ Zone, Late, Gap, Board, Wheel, Hopper, Button, PresetUntil Pos }

// Pos is a place in a source: line and column count from 1, columns in characters (not bytes); Len is the length of
// the span in characters, at least 1. The zero Pos is "nowhere in particular".
type Pos struct{ Line, Col, Len int }

// Source is the text a plan was read from, for showing lines with a caret.
type Source struct {
	Name  string // file name as given, "-" for standard input
	Lines []string
}

// Pet is one [[pet]] table: who eats what the plan feeds. The values are kept as written, a number or true and false as
// its token; package ration reads them, and reports at their places.
type Pet struct {
	Keys map[string]Value
	Pos  Pos // of the heading
}

// Value is a value as written, with its place.
type Value struct {
	Text string
	Pos  Pos
}

// Texts are the keys with their texts alone.
func (p Pet) Texts() map[string]string { return texts(p.Keys) }

func texts(keys map[string]Value) map[string]string {
	m := make(map[string]string, len(keys))
	for k, v := range keys {
		m[k] = v.Text
	}
	return m
}

// String is the portion as a plan writes it: "18 g" or "3 pockets".
func (p Portion) String() string {
	switch {
	case p.Milligrams > 0:
		return units.Milligrams(p.Milligrams).InGrams()
	case p.Pockets == 1:
		return "1 pocket"
	}
	return fmt.Sprintf("%d pockets", p.Pockets)
}
