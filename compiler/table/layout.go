package table

// Version is the version of the format. Both sides refuse any other.
const Version = 1

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
	minSize = headerSize + crcSize
)

// The flags say which sections follow the header, in this order.
const (
	flagDST = 1 << iota
	flagOverrides
	flagThrough
	flagLate
	flagButton
	flagWheel
	flagPresets
	flagRules
)

// What a table without the section means.
const (
	DefaultLate    = 120 // minutes
	DefaultPerHour = 2   // presses of the feed-now button, one pocket each
)

// Limits.
const (
	MaxLate    = 1440
	MaxMeals   = 64
	MaxRules   = 127
	MaxPresets = 8
	// MaxListTimes is how many times of day a list holds; steps and grids may have more.
	MaxListTimes = 255
	maxVarint    = 1<<28 - 1
)

// Zone byte.
const (
	zoneGapOmit    = 0x80
	zoneOffsetMask = 0x7F
)

// Opcodes of day rules. A rule's terms stand in ascending order, each at most once; a byte from 80 on is the
// weekday mask and ends the rule.
const (
	opUTC        = 0x01
	opFrom       = 0x02
	opUntil      = 0x03
	opEveryDays  = 0x04
	opEveryWeeks = 0x05
	opEveryMonth = 0x06
	opEveryYears = 0x07
	opMonths     = 0x08
	opDayList    = 0x09
	opDayMask    = 0x0A
	opDayMasks   = 0x0B
	opNthOfMonth = 0x0C
	opNthOfYear  = 0x0D
	opYearDays   = 0x0E
	opWeeks      = 0x0F
	opSetPos     = 0x10
	opDates      = 0x11
	opExcept     = 0x12
	opEnd        = 0x80
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

// Time of day: below 96 quarter hours in one byte, else 80 | high byte, low byte of the minute.
const (
	quarterMinutes = 15
	quarters       = 96
	longTime       = 0x80
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
		{"VERSION_LENGTH", offVersionLength, "1", "", "10 to 1F", "bits 7-4: format version, 1; bits 3-0: bits 11-8 of the length"},
		{"LENGTH_LOW", offLengthLow, "1", "bytes", "length 10 to 4095", "bits 7-0 of the length of the whole table, check included"},
		{"BOARD", offBoard, "1", "", "0 to 255", "code of the board profile"},
		{"SEQUENCE", offSequence, "1", "", "0 to 255", "which bank is newer: the one whose difference to the other, modulo 256, is 1 to 127"},
		{"FLAGS", offFlags, "1", "", "0 to 255", "which sections follow, one bit each"},
		{"START", offStart, "2", "days", "0 to 36524", "first local date served, days since 2000-01-01"},
		{"ZONE", offZone, "1", "quarter hours", "-64 to 63", "bits 6-0: standard offset east of UTC, two's complement; bit 7: instances in a gap are dropped"},
	}
}

// Sections lists the optional sections in the order in which they stand. Value is the flag bit.
func Sections() []Field {
	return []Field{
		{"DST", flagDST, "7", "quarter hours; minutes", "", "shift (signed byte), start, end: three bytes each, see Transitions"},
		{"OVERRIDES", flagOverrides, "varies", "units of quarter hours", "", "unit (byte: 1, 2 or 4), number of groups; each group: offset (signed byte), number of spans, each span: distance from the end of the one before in the group (the first: from 2000-01-01T00:00Z), length"},
		{"THROUGH", flagThrough, "2", "days", "START to 36524", "last local date for which the table is right; absent: 2099-12-31"},
		{"LATE", flagLate, "1-2", "minutes", "0 to 1440", "how late a missed serving may still be given; absent: 120"},
		{"BUTTON", flagButton, "2-5", "mass units; presses", "", "portion of one press (0: disabled), presses served in any hour (byte); absent: one pocket, 2"},
		{"WHEEL", flagWheel, "4-16", "ms, mass units, mg, us", "", "turn time of a pocket (0: the board's), mass units in a pocket (at least 1), milligrams in a unit (0: unknown), trim of the stop pulse (signed number); absent: 0, 1, 0, 0"},
		{"PRESETS", flagPresets, "1", "", "2 to 8", "number of presets"},
		{"RULES", flagRules, "varies", "", "1 to 127", "number of day rules (byte), then the rules"},
	}
}

// Op describes one term of a day rule.
type Op struct {
	Name     string
	Code     int
	Operands string // as they stand
	Holds    string // bytes → dates
}

// Ops lists the terms of day rules in order of code.
func Ops() []Op {
	return []Op{
		{"UTC", opUTC, "", "always; dates and times of the parts with this rule are UTC"},
		{"FROM", opFrom, "day:u16", "date >= day"},
		{"UNTIL", opUntil, "day:u16", "date <= day"},
		{"EVERY_DAYS", opEveryDays, "n, phase", "day number mod n = phase"},
		{"EVERY_WEEKS", opEveryWeeks, "n, phase", "(day number - phase) mod 7n < 7"},
		{"EVERY_MONTHS", opEveryMonth, "n, phase", "months since January 2000 mod n = phase"},
		{"EVERY_YEARS", opEveryYears, "n, phase", "(year - 2000) mod n = phase"},
		{"MONTHS", opMonths, "mask:u16", "bit (month - 1) is set"},
		{"DAY_LIST", opDayList, "count:u8, day:i8 each", "day of the month is one of them, negative from the end"},
		{"DAY_MASK", opDayMask, "mask:u32", "bit (day of the month - 1) is set"},
		{"DAY_MASKS", opDayMasks, "start:u32, end:u32", "bit (day - 1) of start, or bit (days left in the month) of end, is set"},
		{"NTH_OF_MONTH", opNthOfMonth, "count:u8, ((n + 5) << 3 | weekday):u8 each", "the n-th such weekday of its month for one of them; n = 0: any"},
		{"NTH_OF_YEAR", opNthOfYear, "count:u8, (n:i8, weekday:u8) each", "the n-th such weekday of its year for one of them; n = 0: any"},
		{"YEAR_DAYS", opYearDays, "count:u8, day:i16 each", "day of the year is one of them, negative from the end"},
		{"WEEKS", opWeeks, "weekstart:u8, n, phase, count:u8, week:i8 each", "(week year - 2000) mod n = phase, and the week number is one of them, negative from the end"},
		{"SET_POS", opSetPos, "(period << 4 | weekstart):u8, count:u8, position:signed each", "position of the date among the dates of its period that satisfy the other terms but FROM, UNTIL, DATES, EXCEPT, is one of them, negative from the end"},
		{"DATES", opDates, "count, first:u16, step each", "date is one of them; each step is the distance from the one before"},
		{"EXCEPT", opExcept, "count, first:u16, step each", "date is none of them"},
		{"END", opEnd, "", "the low seven bits are the weekday mask, bit 0 Monday: date's weekday is in it; ends the rule"},
	}
}

// Forms lists the forms of the times of a part. Value is the code in bits 5-3 of the head byte.
func Forms() []Field {
	return []Field{
		{"TIMES", 0, "1-8", "times of day", "codes 0 to 3", "code + 1 times"},
		{"LIST", formList, "varies", "times of day", "", "count (byte), times"},
		{"STEPS", formSteps, "3-5", "time of day, minutes", "", "first time, step, count: an arithmetic progression within the day"},
		{"GRID", formGrid, "varies", "hours, minutes", "", "mask of hours (3 bytes), count (byte), minutes of the hour (bytes): every such minute of every such hour"},
		{"CYCLE", formCycle, "3-11", "minutes", "", "period, phase, restricted (byte 0 or 1; 1: a mask of hours follows, 3 bytes): nominal local minutes since 2000-01-01T00:00 that are phase modulo period, in those hours"},
	}
}
