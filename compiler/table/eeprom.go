package table

//go:generate go run mealtab/cmd/formatgen

// The AVR's EEPROM: two banks for tables, the journal (which holds the settings too) and a small history. Every other place in
// Go and C that needs an offset takes it from here; the C header is generated.

// Sizes of the EEPROM's parts in bytes.
const (
	BankCount       = 2
	bankHead        = 1 // the commit byte stands before the table
	JournalSlotSize = 39
	HistorySize     = 8
	ClockSetSize    = 7
	// ClockHistorySlots is the number of history records in the 4096-byte memory beside the clock chip. It is odd
	// and one less than fits, so that the eight-bit sequence numbers break where the ring does.
	ClockHistorySlots = 511
)

// Map places the parts in an EEPROM of one size.
type Map struct {
	Size         int // bytes
	BankSize     int // bytes, commit byte included
	JournalSlots int
	HistorySlots int
}

// Maps lists the sizes of EEPROM that boards have. The smallest has no history: its journal shows the last records.
func Maps() []Map {
	return []Map{
		{Size: 512, BankSize: 192, JournalSlots: 3, HistorySlots: 0},
		{Size: 1024, BankSize: 416, JournalSlots: 4, HistorySlots: 3},
	}
}

// MapFor returns the map of an EEPROM of size bytes; ok is false if no board has that size.
func MapFor(size int) (m Map, ok bool) {
	for _, m := range Maps() {
		if m.Size == size {
			return m, true
		}
	}
	return Map{}, false
}

// Bank is the offset of a bank's commit byte; the table follows it.
func (m Map) Bank(i int) int { return i * m.BankSize }

// TableOffset is where the table of a bank begins.
func (m Map) TableOffset(bank int) int { return m.Bank(bank) + bankHead }

// TableRoom is the longest table that a bank holds.
func (m Map) TableRoom() int { return m.BankSize - bankHead }

// Journal is the offset of the first slot.
func (m Map) Journal() int { return BankCount * m.BankSize }

// History is the offset of the first record.
func (m Map) History() int { return m.Journal() + m.JournalSlots*JournalSlotSize }

// ClockSet is the offset of a note of the last setting of the clock: the CLOCK_SET request as it came over the line, without its code. It
// is sequence number (1), seconds since 2000-01-01T00:00Z (4) and check (2). A note that does not match its check means never.
func (m Map) ClockSet() int { return m.History() + m.HistorySlots*HistorySize }

// Used is the number of bytes in use; the rest is spare.
func (m Map) Used() int { return m.ClockSet() + ClockSetSize }

// PartHead lists the constants of the head byte of a part and of times of day.
func PartHead() []Field {
	return []Field{
		{"HEAD_RULE_MASK", headRuleMask, "", "", "", "bits of the head of a part: number of the day rule, 0 is every day"},
		{"HEAD_RULE_ESCAPE", headRuleEscape, "", "", "", "rule numbers from this one on follow as a number"},
		{"HEAD_FORM_SHIFT", headFormShift, "", "", "", "the form of the times stands above this bit"},
		{"HEAD_FORM_MASK", headFormMask, "", "", "", "and has these bits"},
		{"HEAD_PRESETS", headPresets, "", "", "", "a mask of presets follows (first part of a meal only)"},
		{"HEAD_MORE", headMore, "", "", "", "another part of the same meal follows"},
		{"TIME_QUARTERS", quarters, "", "", "", "time of day: a number below this counts quarter hours, others are larger by this than the minute"},
	}
}

// Limits lists the ranges that the reader relies on.
func Limits() []Field {
	return []Field{
		{"VERSION", Version, "", "", "", "newest version of the format"},
		{"OLDEST_VERSION", OldestVersion, "", "", "", "oldest version that is read"},
		{"MIN_SIZE", minSize, "", "bytes", "", "shortest table"},
		{"MAX_SIZE", MaxSize, "", "bytes", "", "longest table the head can frame"},
		{"CRC_SIZE", crcSize, "", "bytes", "", "at the end of the table"},
		{"MAX_DAY", int(MaxDay), "", "days", "", "2099-12-31"},
		{"MAX_RULES", MaxRules, "", "", "", "day rules"},
		{"MAX_MEALS", MaxMeals, "", "", "", "meals"},
		{"MAX_PRESETS", MaxPresets, "", "", "", "presets"},
		{"PRESETS_UNTIL", presetsUntil, "", "", "", "bit of the PRESETS section: a date follows"},
		{"MAX_LATE", MaxLate, "", "minutes", "", "of the policy for missed servings"},
		{"DEFAULT_LATE", DefaultLate, "", "minutes", "", "without the section"},
		{"DEFAULT_PER_HOUR", DefaultPerHour, "", "presses", "", "without the section"},
		{"DEFAULT_PER_DAY", DefaultPerDay, "", "presses", "", "where the table does not say"},
		{"MAX_PER_HOUR", MaxPerHour, "", "presses", "", "whatever the table says"},
		{"MAX_NUMBER", MaxNumber, "", "", "", "largest number in groups of seven bits"},
		{"MIN_TURN", MinTurn, "", "ms", "", "shortest turn time of a pocket that is not the board's own"},
		{"MAX_TURN", MaxTurn, "", "ms", "", "longest turn time of a pocket"},
		{"MAX_TRIM", MaxTrim, "", "µs", "", "of the stop pulse, either way"},
		{"MAX_POCKET_UNITS", MaxPocketUnits, "", "mass units", "", "in one pocket"},
		{"MAX_PORTION_UNITS", MaxPortionUnits, "", "mass units", "", "in one portion"},
		{"MAX_MEAL_POCKETS", MaxMealPockets, "", "pockets", "", "in one portion"},
		{"MAX_GROUPS", MaxGroups, "", "", "", "groups of override spans"},
		{"MIN_SPAN_DISTANCE", MinSpanDistance, "", "units", "", "before each override span"},
		{"MAX_SPAN_UNITS", MaxSpanUnits, "", "", "", "what the sum of the distances and lengths of a group is below"},
		{"MAX_PERIOD", MaxPeriod, "", "", "", "longest period of a term, as it is written"},
		{"MAX_CYCLE", MaxCycle, "", "minutes", "", "longest period of times of day"},
		{"MAX_LIST_TIMES", MaxListTimes, "", "", "", "times of day in a list"},
		{"ALL_HOURS", int(AllHours), "", "", "", "mask of all 24 hours"},
		{"ALL_DAYS", 1<<31 - 1, "", "", "", "mask of all 31 days of a month"},
		{"ALL_MONTHS", 1<<12 - 1, "", "", "", "mask of all 12 months"},
		{"MAX_MONTH_DAY", maxMonthDay, "", "", "", "largest entry of DAY_LIST"},
		{"MAX_YEAR_DAY", maxYearDay, "", "", "", "largest entry of YEAR_DAYS"},
		{"MAX_NTH_OF_MONTH", maxNthOfMonth, "", "", "", "largest entry of NTH_OF_MONTH"},
		{"MAX_NTH_OF_YEAR", maxNthOfYear, "", "", "", "largest entry of NTH_OF_YEAR"},
		{"MAX_WEEK", maxWeek, "", "", "", "largest entry of WEEKS"},
		{"MAX_POSITION", maxPosition, "", "", "", "largest entry of SET_POS"},
		{"MAX_SEARCH_WORK", MaxSearchWork, "", "", "", "of the rules with positions, see above"},
		{"WORK_MONTH", workMonth, "", "weeks", "", "counted for a month"},
		{"WORK_YEAR", workYear, "", "weeks", "", "counted for a year and a week-numbering year"},
	}
}

// Periods lists what positions are counted in.
func Periods() []Field {
	return []Field{
		{"WEEK", int(PeriodWeek) << periodShift, "", "", "", "weeks from the week start"},
		{"MONTH", int(PeriodMonth) << periodShift, "", "", "", "calendar months"},
		{"YEAR", int(PeriodYear) << periodShift, "", "", "", "calendar years"},
		{"WEEK_YEAR", int(PeriodWeekYear) << periodShift, "", "", "", "week-numbering years"},
	}
}

// What the firmware answers when it has checked a table.
const (
	FaultGood = iota
	FaultVersion
	FaultLength
	FaultCRC
	FaultSection
	FaultMeal
	FaultBoard
)

// Faults lists the firmware's answers to a table.
func Faults() []Field {
	return []Field{
		{"GOOD", FaultGood, "", "", "", "the table is well formed"},
		{"BAD_VERSION", FaultVersion, "", "", "", "another format version, or no table"},
		{"BAD_LENGTH", FaultLength, "", "", "", "the framed length does not fit the bank"},
		{"BAD_CRC", FaultCRC, "", "", "", "the check does not match"},
		{"BAD_SECTION", FaultSection, "", "", "", "the head, a section or a day rule is malformed"},
		{"BAD_MEAL", FaultMeal, "", "", "", "a meal is malformed"},
		{"BAD_BOARD", FaultBoard, "", "", "", "made for another board"},
	}
}
