package table

import "math"

// Version is the newest version of the format, OldestVersion the oldest one that is read; see [Table.Version]. Both sides refuse any other.
const (
	Version       = 3
	OldestVersion = 2
)

// Sizes and places in bytes. All numbers of more than one byte are little-endian.
const (
	offVersionLength = 0 // version in bits 7-4, bits 11-8 of the length in bits 3-0
	offLengthLow     = 1
	offBoard         = 2
	offSequence      = 3
	offFlags         = 4
	offStart         = 5
	offZone          = 7
	headerSize       = 8
	crcSize          = 2
	// MaxSize is the longest table the length field can frame.
	MaxSize = 1<<12 - 1
	minSize = headerSize + 4 + crcSize // the wheel takes a byte for each of its numbers at least
)

// The flags say which sections follow the header, in this order.
const (
	flagDST = 1 << iota
	flagOverrides
	flagThrough
	flagLate
	flagButton
	flagPresets
	flagRules
	flagGapOmit // no section: instances in a gap are dropped
)

// presetsUntil is the bit of the PRESETS section that says that a date follows, in version 3.
const presetsUntil = 0x80

// What a table without the section means.
const (
	DefaultLate    = 120 // minutes
	DefaultPerHour = 2   // presses of the feed-now button, one pocket each
	DefaultPerDay  = 6
)

// Limits.
const (
	MaxLate    = 1440
	MaxMeals   = 64
	MaxRules   = 127
	MaxPresets = 8
	// MaxListTimes is how many times of day a list holds; steps and grids may have more.
	MaxListTimes = 255
	// MaxPeriod is the longest period of a day rule as it is written: of days, of 7 times the weeks, of months, of 12 times the years.
	MaxPeriod = math.MaxUint16
	// MaxCycle is the longest period of times of day, in minutes.
	MaxCycle = 1 << 28
	// MaxNumber is the largest number in groups of seven bits.
	MaxNumber = 1<<31 - 1
	// MinTurn is the shortest turn time of a pocket that is not the board's own, MaxTurn the longest, in ms.
	MinTurn, MaxTurn = 20, 60_000
	// MaxTrim is how far the stop pulse is moved either way, in µs.
	MaxTrim = 500
	// MaxPocketUnits and MaxPortionUnits are the most mass units of a pocket and of a portion: twelve times a portion and ten times a pocket
	// stay within 32 bits together.
	MaxPocketUnits  = 1_000_000
	MaxPortionUnits = 300_000_000
	// MaxMealPockets is the largest portion, in pockets.
	MaxMealPockets = 800
	// MaxGroups is the most groups of override spans.
	MaxGroups = 4
	// MinSpanDistance is the least time before each span of a group, in units of the section: five days of hours, thirty hours of quarters.
	MinSpanDistance = 120
	// MaxSpanUnits is what the sum of the distances and lengths of a group stays below.
	MaxSpanUnits = 1 << 24
)

// A feeder's search for its next serving takes less than a second at 8 MHz if the work of the rules with positions is at most
// MaxSearchWork, all together. The work of one is the bytes from its weekdays to the operand of SET_POS that names the period, times the weeks of
// that: at a turn of the period the rule is read for each date of two of them. Calibrated on the firmware's machine code.
const (
	MaxSearchWork = 1_400
	workMonth     = 5
	workYear      = 53
)

// The largest entry of each list, as it is written.
const (
	maxMonthDay   = 2 * 31
	maxYearDay    = 2 * 366
	maxNthOfMonth = 2*5<<nthShift | 7
	maxNthOfYear  = 2*53<<nthShift | 7
	maxWeek       = 2 * 53
	maxPosition   = 2 * 366
)

// A day rule is the weekdays, one bit higher than in [Rule], and its terms. Bit 0 of the weekdays and of each opcode says that
// another term follows. Terms stand in ascending order, each at most once; those behind SET_POS are none that positions see.
// Bits 2-1 of a term that is a place in a period are that period.
const (
	RuleMore = 0x01

	opEveryDays  = 0x02
	opEveryWeeks = 0x04
	opEveryMonth = 0x06
	opEveryYears = 0x08
	opDayMask    = 0x0A
	opMonths     = 0x0C
	opDayList    = 0x12
	opYearDays   = 0x14
	opNthOfMonth = 0x1A
	opNthOfYear  = 0x1C
	opWeeks      = 0x1E
	opSetPos     = 0x20
	opFrom       = 0x22
	opUntil      = 0x24
	opExcept     = 0x26
	opUTC        = 0x40
	opDates      = 0x80

	periodShift    = 1
	weekStartShift = 3
	nthShift       = 3
)

// Day rules count days, months and years from 1998-01-01, so that no number of the calendar is negative in a week or a
// week-numbering year that reaches into 2000.
const (
	epochDays   = 730
	epochYears  = 2
	epochMonths = 12 * epochYears
)

// Head byte of a part.
const (
	headRuleMask   = 0x07
	headRuleEscape = 0x07
	headFormShift  = 3
	headFormMask   = 0x07
	headPresets    = 0x40
	headMore       = 0x80
)

// Forms of the times of a part: 0 to 3 is a list of one to four times.
const (
	formList  = 4
	formSteps = 5
	formGrid  = 6
	formCycle = 7
)

// Time of day: numbers below 96 are quarter hours, others minutes and 96.
const (
	quarterMinutes = 15
	quarters       = 96
)

// Field describes one piece of the format, for the specification and for the C header.
type Field struct {
	Name    string // Go and C name, without prefix
	Value   int    // offset, bit or code
	Width   string // bytes on storage
	Unit    string
	Range   string
	Meaning string
}

// Header lists the fixed head of a table.
func Header() []Field {
	return []Field{
		{"VERSION_LENGTH", offVersionLength, "1", "", "20 to 3F", "bits 7-4: format version, 2 or 3; bits 3-0: bits 11-8 of the length"},
		{"LENGTH_LOW", offLengthLow, "1", "bytes", "length 14 to 4095", "bits 7-0 of the length of the whole table, check included"},
		{"BOARD", offBoard, "1", "", "0 to 255", "code of the board profile"},
		{"SEQUENCE", offSequence, "1", "", "0 to 255", "which bank is newer: the one whose difference to the other, modulo 256, is 1 to 127"},
		{"FLAGS", offFlags, "1", "", "0 to 255", "which sections follow, one bit each"},
		{"START", offStart, "2", "days", "0 to 36524", "u16: first local date served, days since 2000-01-01"},
		{"ZONE", offZone, "1", "quarter hours", "-64 to 63", "quarters: standard offset east of UTC"},
	}
}

// Sections lists the optional sections in the order in which they stand. Value is the flag bit; the last flag has no section.
func Sections() []Field {
	return []Field{
		{"DST", flagDST, "7", "quarter hours; minutes", "", "shift (quarters, -64 to 63), start, end: see Transitions"},
		{"OVERRIDES", flagOverrides, "varies", "units of quarter hours", "", "spans in which another offset holds: see Overrides"},
		{"THROUGH", flagThrough, "2", "days", "START to 36524", "u16: last local date for which the table is right, days since 2000-01-01; absent: 2099-12-31"},
		{"LATE", flagLate, "1-2", "minutes", "0 to 1440", "number: how late a missed serving may still be given; absent: 120"},
		{"BUTTON", flagButton, "2-5", "mass units; presses", "", "number: portion of one press (0: disabled); u8: presses served, bits 3-0 in an hour (a feeder allows 8 at most), bits 7-4 in 24 hours from the first, 0: 6; absent: one pocket, 2, 6"},
		{"PRESETS", flagPresets, "1, 3", "", "2 to 8", "u8: number of presets; version 3: and 80, if it ends by itself; then UNTIL, a u16, see Presets"},
		{"RULES", flagRules, "varies", "", "1 to 127", "u8: number of day rules, then the rules"},
		{"GAP_OMIT", flagGapOmit, "0", "", "", "instances in a gap are dropped"},
	}
}

// Op describes one term of a day rule.
type Op struct {
	Name     string
	Code     int
	Operands []Operand // as they stand
	Holds    string    // for which dates
}

// Ops lists the terms of day rules in order of code.
func Ops() []Op { return ops }

var ops = []Op{
	{"EVERY_DAYS", opEveryDays, period("n - 1"), "(day number + shift) mod n = 0"},
	{"EVERY_WEEKS", opEveryWeeks, period("7n - 1"), "(day number + shift) mod 7n < 7"},
	{"EVERY_MONTHS", opEveryMonth, period("n - 1"), "(months since January 1998 + shift) mod n = 0"},
	{"EVERY_YEARS", opEveryYears, period("12n - 1"), "(months since January 1998 + shift) mod 12n < 12; the shift is a multiple of 12"},
	{"DAY_MASK", opDayMask, []Operand{{"days", EncodingMask, 1, 1<<31 - 1}}, "bit (day of the month - 1) is set"},
	{"MONTHS", opMonths, []Operand{{"months", EncodingMask, 1, 1<<12 - 1}}, "bit (month - 1) is set, January 1"},
	{"DAY_LIST", opDayList, []Operand{{"places", EncodingList, 1, maxMonthDay}}, "the place of the date in its month is one of them"},
	{"YEAR_DAYS", opYearDays, []Operand{{"places", EncodingList, 1, maxYearDay}}, "the place of the date in its year is one of them"},
	{"NTH_OF_MONTH", opNthOfMonth, []Operand{{"weekdays", EncodingList, 1, maxNthOfMonth}}, "the date is one of those weekdays of its month"},
	{"NTH_OF_YEAR", opNthOfYear, []Operand{{"weekdays", EncodingList, 1, maxNthOfYear}}, "the date is one of those weekdays of its year"},
	{"WEEKS", opWeeks, append([]Operand{{"weekstart", EncodingU8, 0, 6 << weekStartShift}}, append(period("n - 1"), Operand{"places", EncodingList, 1, maxWeek})...), "(week-numbering year - 1998 + shift) mod n = 0, and the place of the week in it is one of them"},
	{"SET_POS", opSetPos, []Operand{{"weekstart, period", EncodingU8, 0, 6<<weekStartShift | 6}, {"places", EncodingList, 1, maxPosition}}, "the place of the date among the dates of its period on which the weekdays and the terms before this one hold is one of them"},
	{"FROM", opFrom, []Operand{{"day", EncodingDay, epochDays, epochDays + int(MaxDay)}}, "date >= day"},
	{"UNTIL", opUntil, []Operand{{"day", EncodingDay, epochDays + 1, epochDays + 1 + int(MaxDay)}}, "date < day"},
	{"EXCEPT", opExcept, []Operand{{"days", EncodingList, epochDays, epochDays + int(MaxDay)}}, "the date is none of them"},
	{"UTC", opUTC, nil, "always; dates and times of the parts are UTC"},
	{"DATES", opDates, []Operand{{"days", EncodingList, epochDays, epochDays + int(MaxDay)}}, "the date is one of them"},
}

// period is a period as it is written, and a shift, which is below it.
func period(name string) []Operand {
	return []Operand{{name, EncodingNumber, 0, MaxPeriod - 1}, {"shift", EncodingNumber, 0, MaxPeriod - 1}}
}

// opOf returns the term of a code, or nil.
func opOf(code int) *Op {
	for i := range ops {
		if ops[i].Code == code {
			return &ops[i]
		}
	}
	return nil
}

// Form describes one form of the times of a part.
type Form struct {
	Name     string
	Code     int       // in bits 5-3 of the head byte
	Operands []Operand // before the times, if there are any
	Meaning  string
}

// Forms lists the forms of the times of a part.
func Forms() []Form { return forms[:] }

var forms = [...]Form{
	{"TIMES", 0, nil, "so many times as the code and 1; the codes are 0 to 3"},
	{"LIST", formList, []Operand{{"count", EncodingNumber, 1, MaxListTimes}}, "so many times"},
	{"STEPS", formSteps, []Operand{{"count", EncodingNumber, 1, MinutesPerDay}, {"step", EncodingTime, 1, MinutesPerDay - 1}, {"first", EncodingTime, 0, MinutesPerDay - 1}}, "times of day at equal distances; the last is below 1440"},
	{"GRID", formGrid, []Operand{{"hours left out", EncodingMask, 0, int(AllHours) - 1}, {"count", EncodingNumber, 1, MaxListTimes}}, "so many times, below 60, in every hour but those: bit h is the hour from h:00"},
	{"CYCLE", formCycle, []Operand{{"period - 1", EncodingNumber, 0, MaxCycle - 1}, {"shift", EncodingNumber, 0, MaxCycle - 1}, {"hours left out", EncodingMask, 0, int(AllHours) - 1}}, "the nominal minutes since 1998-01-01T00:00 of which the sum with the shift and 1 is a multiple of the period, but not in those hours; the shift is below the period"},
}

// formOf returns the form of a code.
func formOf(code int) *Form { return &forms[max(0, code-formList+1)] }

// Values of the head and of sections that are one number.
var (
	wheelOperands = []Operand{
		{"turn", EncodingNumber, 0, MaxTurn},
		{"pocket", EncodingNumber, 1, MaxPocketUnits},
		{"unit", EncodingNumber, 0, MaxNumber},
		{"trim", EncodingSigned, -MaxTrim, MaxTrim},
	}
	offsetOperand  = Operand{"offset", EncodingQuarters, -64, 63}
	throughOperand = Operand{"THROUGH", EncodingU16, 0, int(MaxDay)}
	lateOperand    = Operand{"LATE", EncodingNumber, 0, MaxLate}
	presetsOperand = Operand{"PRESETS", EncodingU8, 2, MaxPresets}
	untilOperand   = Operand{"PRESETS UNTIL", EncodingU16, 1, int(MaxDay)}
	rulesOperand   = Operand{"RULES", EncodingU8, 1, MaxRules}
	groupsOperand  = Operand{"groups", EncodingU8, 1, MaxGroups}
	portionOperand = Operand{"portion", EncodingNumber, 0, MaxNumber}
	ruleOperand    = Operand{"rule number", EncodingNumber, headRuleEscape, MaxRules}
)

// WheelOperands lists the four numbers behind the fixed head.
func WheelOperands() []Operand { return wheelOperands }
