// Package table is the alarm table: the bytes that a feeder carries instead of a plan.
//
// In: a [Table] (zone, wheel, day rules, meals), from package lower. Out: a few dozen bytes, and back.
// The package knows nothing of plans or recurrence rules and imports the standard library only.
//
// # The machine the table runs on
//
// The reader has a clock that counts minutes of UTC since 2000-01-01T00:00Z ([Minute]) and a calendar of local
// dates ([Day], days since 2000-01-01). For each local date it asks every day rule "is it today?". A rule is a
// conjunction: all of its terms must hold. Each meal has one or more parts, each a rule with times of day; a
// date that passes the rule gives one nominal local time for each time of the part. A nominal time becomes an
// instant by the table's zone. Instants of one meal that coincide count once; portions of different meals at
// the same instant add up. A portion is an amount in the table's own mass unit; the wheel turns whole
// pockets, and the remainder is carried to the next serving.
//
// FORMAT.md beside this file specifies every bit.
package table

// Day is a date: days since 2000-01-01 in the proleptic Gregorian calendar.
type Day uint16

// MaxDay is 2099-12-31, the last day of the clock chip's calendar.
const MaxDay Day = 36524

// Minute is an instant or a nominal local time: minutes since 2000-01-01T00:00, UTC or local as the context says.
type Minute int32

// MinutesPerDay is the length of every nominal day.
const MinutesPerDay = 1440

// Table is a decoded table.
type Table struct {
	Board    uint8 // code of the board profile the table was made for
	Sequence uint8 // which bank is newer; set by the uploader
	Start    Day   // first local date on which anything is served
	Through  Day   // last local date for which the table is right; MaxDay unless explicit dates ran out
	Zone     Zone
	Late     int // minutes, 0 to MaxLate: a missed serving is still given if at most this late
	Button   Button
	Wheel    Wheel
	Presets  int // 0: the plan has none; else 2 to 8
	// PresetUntil is the local date, after Start and at most Through, at whose 00:00 the first preset is in force again, once; 0: none.
	PresetUntil Day
	Rules       []Rule
	Meals       []Meal
}

// Version is the version of the format that says all of t: the oldest one that can, so that older readers read whatever they understand.
func (t *Table) Version() int {
	if t.PresetUntil != 0 {
		return 3
	}
	return OldestVersion
}

// Needs says what in t needs a newer version than the oldest, and what works without; "" if nothing does.
func (t *Table) Needs() (what, instead string) {
	if t.PresetUntil != 0 {
		return "a preset that ends by itself", "leave the date out; the plan button, or mealtab preset, puts the first preset in force again"
	}
	return "", ""
}

// Zone gives the local time: a standard offset, a yearly daylight-saving rule, and spans that override both.
// Offsets are quarter hours east of UTC.
type Zone struct {
	Standard int8 // -64 to 63
	DST      *DST // nil: none
	// Overrides lists spans of UTC time in which a fixed offset holds instead. Those of a group ascend and are at least thirty hours apart;
	// where spans of two groups overlap, the first group holds.
	Overrides []OverrideGroup
	GapOmit   bool // an instance in a gap is dropped instead of shifted (dates given explicitly are not)
}

// DST is a POSIX daylight-saving rule of two "M" transitions.
type DST struct {
	Shift      int8 // -64 to 63 quarter hours, added to Standard; negative where "summer time" is the earlier one
	Start, End Transition
}

// Transition is the Week-th Weekday of Month (Week 5: the last), Minutes after 00:00 of that date, by the wall
// clock in force before the change.
type Transition struct {
	Month   int // 1 to 12
	Week    int // 1 to 5
	Weekday int // 0 = Monday
	Minutes int // -4096 to 4095
}

// OverrideGroup is a set of spans that share an offset.
type OverrideGroup struct {
	Offset int8 // quarter hours, -64 to 63
	Spans  []Span
}

// Span is the UTC time Start <= t < End, both multiples of 15 minutes; Start may lie in 1998 and 1999.
type Span struct{ Start, End Minute }

// Button is what the feed-now button may do.
type Button struct {
	Portion uint32 // mass units; 0 disables the button
	PerHour int    // presses served in an hour, 0 to 15; the feeder allows MaxPerHour at most
	PerDay  int    // in 24 hours from the first, 1 to 15; 0: DefaultPerDay
}

// Daily is how many presses are served in 24 hours.
func (b Button) Daily() int {
	if b.PerDay == 0 {
		return DefaultPerDay
	}
	return b.PerDay
}

// Wheel is the calibration.
type Wheel struct {
	PocketUnits uint32 // mass units in one pocket, at least 1; 1 when UnitMilligrams is 0
	UnitMg      uint32 // milligrams in one mass unit; 0: unknown, portions are counted in pockets
	TurnMillis  uint32 // for one pocket; 0: the board's default
	TrimMicros  int32  // added to the stop pulse
}

// PocketMg is what a pocket holds, in milligrams; 0: unknown.
func (w Wheel) PocketMg() int64 { return int64(w.PocketUnits) * int64(w.UnitMg) }

// Meal is one meal of the plan.
type Meal struct {
	Portion uint32 // mass units, at least 1
	Presets uint8  // bit i: served in preset i; 0: in all
	Parts   []Part // at least one
}

// Part is a day rule with its times of day.
type Part struct {
	Rule  int // 0: every day; else Table.Rules[Rule-1]
	Times Times
}

// Times lists the times of day of a part: List, or the steps of Cycle.
type Times struct {
	List  []uint16 // minutes of the day, ascending
	Cycle *Cycle
}

// Cycle steps through nominal local time: the nominal minutes m with m mod Period = Phase whose hour is in Hours.
type Cycle struct {
	Period, Phase uint32 // minutes; Phase < Period
	Hours         uint32 // bit h: hour h counts; AllHours: every hour
}

// AllHours is the mask of all 24 hours.
const AllHours uint32 = 1<<24 - 1

// AnyWeekday is the mask of all seven weekdays; bit 0 is Monday.
const AnyWeekday uint8 = 0x7F

// Rule is a day rule: the dates on which every term holds. A zero field is an absent term, but Weekdays is
// never zero. Lists of places are encoded in the order -1, 1, -2, 2, each number once, and so decoded.
type Rule struct {
	UTC        bool // dates and times of the parts are UTC, not local
	From       Day  // 0: absent
	Until      Day  // inclusive; HasUntil says whether present
	HasUntil   bool
	EveryDays  Every // unit: days since 2000-01-01
	EveryWeeks Every // N weeks; Phase is the day number (0 to 7N-1) on which an active week starts
	EveryMonth Every // unit: months since January 2000
	EveryYears Every // unit: years since 2000
	Months     uint16
	MonthDays  MonthDays
	NthOfMonth []Nth // any of them
	NthOfYear  []Nth // any of them
	YearDays   []int // any of them: 1 to 366, or -366 to -1 from the end
	Weeks      *Weeks
	SetPos     *SetPos
	Dates      []Day // ascending; any of them
	Except     []Day // ascending; none of them
	Weekdays   uint8 // bit 0 = Monday
}

// Every holds for the units u with u mod N = Phase; N = 0: absent.
type Every struct{ N, Phase uint32 }

// MonthDays is a set of days of the month: bit n-1 is day n, counted from the start and from the end.
// Both masks zero: absent.
type MonthDays struct{ FromStart, FromEnd uint32 }

// Nth is the N-th Weekday of a month or year, from the end if negative; N = 0 is every such weekday.
type Nth struct {
	N       int
	Weekday int // 0 = Monday
}

// Weeks is a set of week numbers in week-numbering years whose weeks start on WeekStart; week 1 is the first with
// at least four days in the calendar year (ISO 8601 when WeekStart is Monday).
type Weeks struct {
	WeekStart int
	Every     Every // of week-numbering years since 2000; N = 1: all
	Numbers   []int // 1 to 53, or -53 to -1 from the end
}

// Period is what the positions of a [SetPos] are counted in.
type Period uint8

// The periods of SETPOS.
const (
	PeriodWeek Period = iota
	PeriodMonth
	PeriodYear
	PeriodWeekYear
)

// SetPos keeps the dates at certain positions among the dates of one period that satisfy all other terms
// except From, Until, Dates and Except.
type SetPos struct {
	Period    Period
	WeekStart int
	Positions []int // 1 is the first, -1 the last
}

// Everyday is the rule with no condition.
func Everyday() Rule { return Rule{Weekdays: AnyWeekday} }
