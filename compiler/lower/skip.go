package lower

import (
	"slices"

	"mealtab/compiler/plan"
	"mealtab/compiler/table"
)

// SKIP (RFC 7529 §4.1) moves a date that does not exist to the last day before or the first day after. In the
// Gregorian calendar that is always a month end or a month start, so that each move is a rule of its own:
//
//	wanted   lacking in                    BACKWARD               FORWARD
//	 31      Feb Apr Jun Sep Nov           last of that month     1st of the next
//	 30      Feb                           last of February       1 March
//	 29      Feb of common years           last of February       1 March of common years
//	-31      Feb Apr Jun Sep Nov           last of the one before 1st of that month
//	-30      Feb                           last of January        1 February
//	-29      Feb of common years           31 Jan, common years   1 February
const (
	months30   = 1<<(4-1) | 1<<(6-1) | 1<<(9-1) | 1<<(11-1)
	february   = 1 << (2 - 1)
	allMonths  = 1<<12 - 1
	lastDay    = -1
	firstMarch = 60 // day of a common year; from the end of one, 31 January is -335
	endJanuary = -335
)

// lacking is the mask of months that lack day n in some year, and whether only common years do.
func lacking(n int) (months uint16, commonOnly bool) {
	switch max(n, -n) {
	case 31:
		return months30 | february, false
	case 30:
		return february, false
	case 29:
		return february, true
	}
	return 0, false
}

// skipMonthDays completes a MONTHLY or YEARLY rule with its days of the month (nil: all) and the moves.
func skipMonthDays(base table.Rule, days []int, r *plan.Rule) (rules []table.Rule, ok bool) {
	plain := base
	plain.MonthDays = monthDays(days)
	rules = some(plain)
	if r.Skip == plan.Omit {
		return rules, true
	}
	for _, n := range days {
		if moved, ok := move(base, n, r.Skip); ok {
			rules = append(rules, moved)
		}
	}
	return rules, len(rules) == 1 || r.BySetPos == nil
}

// move is the rule for the dates to which day n moves where it is lacking; false: it never is.
func move(base table.Rule, n int, skip plan.Skip) (table.Rule, bool) {
	lack, commonOnly := lacking(n)
	if base.Months != 0 {
		lack &= base.Months
	}
	if lack == 0 {
		return base, false
	}
	toLast := skip == plan.Backward
	switch step := step(n, skip); step {
	case 1:
		shift(&base, lack<<1, 1)
	case -1:
		shift(&base, lack>>1, -1)
	default:
		base.Months = lack
		commonOnly = false // in a leap year the end of the month is the day itself
	}
	base.MonthDays = monthDays([]int{1})
	if toLast {
		base.MonthDays = monthDays([]int{lastDay})
	}
	if commonOnly {
		base.YearDays = []int{firstMarch}
		if toLast {
			base.YearDays = []int{endJanuary}
		}
	}
	return base, true
}

// step is how many months a missing day n moves: a day beyond the end of its month goes forward into the next, one
// before its start goes backward into the previous.
func step(n int, skip plan.Skip) int {
	switch {
	case n > 0 && skip == plan.Forward:
		return 1
	case n < 0 && skip == plan.Backward:
		return -1
	}
	return 0
}

// shift says the same of the neighbouring month. No month that lacks a day is first or last of its year.
func shift(base *table.Rule, months uint16, by int) {
	base.Months = months
	if e := &base.EveryMonth; e.N > 0 {
		e.Phase = uint32(floorMod(int(e.Phase)+by, int(e.N)))
	}
}

// skipYearDays completes a YEARLY rule with its days of the year. Day 366 lies in no month of a common year, so
// beside BYMONTH or BYMONTHDAY there is nothing to move.
func skipYearDays(base table.Rule, r *plan.Rule) (rules []table.Rule, ok bool) {
	base.MonthDays = monthDays(r.ByMonthDay)
	plain := base
	plain.YearDays = r.ByYearDay
	rules = some(plain)
	if r.Skip == plan.Omit || r.ByMonth != nil || r.ByMonthDay != nil {
		return rules, true
	}
	for _, n := range []int{366, -366} {
		if slices.Contains(r.ByYearDay, n) {
			rules = append(rules, moveYearDay(base, n, r.Skip)...)
		}
	}
	return rules, len(rules) == 1 || r.BySetPos == nil
}

// moveYearDay: within the year the move is its last or first day, which day 366 is itself in leap years. Into
// the neighbouring year it happens after common years only, which the four-year cycle of 2000 to 2099 picks.
func moveYearDay(base table.Rule, n int, skip plan.Skip) (rules []table.Rule) {
	by := step(n, skip)
	day := 1
	if skip == plan.Backward {
		day = lastDay
	}
	base.YearDays = []int{day}
	if by == 0 {
		return []table.Rule{base}
	}
	for year := 2000; year < 2004; year++ {
		if source := year - by; source%4 != 0 {
			if moved, ok := inYears(base, source, by); ok {
				rules = append(rules, moved)
			}
		}
	}
	if by < 0 && yearActive(base.EveryYears, 2100) {
		last := base // 2100 is a common year, against the cycle
		last.EveryYears, last.YearDays, last.Dates = table.Every{}, nil, []table.Day{table.MaxDay}
		rules = append(rules, last)
	}
	return rules
}

func yearActive(e table.Every, year int) bool {
	return e.N == 0 || floorMod(year-2000, int(e.N)) == int(e.Phase)
}

// inYears restricts a rule to the years that follow (by = 1) or precede (-1) active years congruent to source modulo 4.
func inYears(base table.Rule, source, by int) (table.Rule, bool) {
	n := int(max(base.EveryYears.N, 1))
	for year := source; year < source+4*n; year += 4 {
		if yearActive(base.EveryYears, year) {
			period := 4 * n / int(gcd(4, int64(n)))
			base.EveryYears = every(period, year+by-2000, 1, beyond)
			return base, true
		}
	}
	return base, false
}
