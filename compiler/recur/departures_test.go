package recur

import (
	"slices"
	"time"

	"mealtab/compiler/plan"
)

// The known departures of other implementations, each with who is right and why. A difference that none of them
// explains fails the comparison, and so does a departure that explains nothing.

func mixesPlainAndNumeric(r *plan.Rule, _ plan.Local) bool {
	return slices.ContainsFunc(r.ByDay, func(w plan.WeekdayNum) bool { return w.N == 0 }) &&
		slices.ContainsFunc(r.ByDay, func(w plan.WeekdayNum) bool { return w.N != 0 })
}

func startWeekday(l plan.Local) plan.Weekday {
	return plan.Weekday((int(time.Date(l.Year, time.Month(l.Month), l.Day, 0, 0, 0, 0, time.UTC).Weekday()) + 6) % 7)
}

func setPosFromMidWeek(r *plan.Rule, start plan.Local) bool {
	return r.Freq == plan.Weekly && len(r.BySetPos) > 0 && startWeekday(start) != r.WeekStart
}

func weekNoWithoutDays(r *plan.Rule, _ plan.Local) bool {
	return len(r.ByWeekNo) > 0 && len(r.ByDay)+len(r.ByMonthDay)+len(r.ByYearDay) == 0
}

// weekNoAtTurn holds where a listed week, or that of DTSTART, can lie in two calendar years.
func weekNoAtTurn(r *plan.Rule, start plan.Local) bool {
	if len(r.ByWeekNo) > 0 && r.Interval > 1 && (start.Month == 1 && start.Day < 7 || start.Month == 12 && start.Day > 25) {
		return true
	}
	return slices.ContainsFunc(r.ByWeekNo, func(n int) bool { return n == 1 || n >= 52 || n == -1 || n <= -52 })
}

var dateutilDepartures = []departure{
	{"mixed BYDAY", "a list of plain and numeric weekdays is a union (§3.3.10: each value says which weekdays); dateutil wants a day to be in both halves of the list", mixesPlainAndNumeric, false},
	{"WEEKLY;BYSETPOS from mid-week", "positions count in the whole week (§3.3.10: the set of one interval of the rule); dateutil's first week begins with DTSTART", setPosFromMidWeek, false},
	{"BYWEEKNO alone", "what the rule leaves open is taken from DTSTART (§3.3.10), so the weekday is; dateutil takes all seven days", weekNoWithoutDays, false},
	{"weeks across the turn of the year", "open in the RFC: week numbers belong to a week-numbering year, whose weeks INTERVAL and BYSETPOS count together (§3.3.10, BYWEEKNO); dateutil takes the days of the listed weeks that lie in a calendar year", weekNoAtTurn, false},
}

func negative(list []int) bool { return slices.ContainsFunc(list, func(n int) bool { return n < 0 }) }

// setPosShort holds where BYSETPOS picks from a week, a day or less.
func setPosShort(r *plan.Rule, _ plan.Local) bool {
	return len(r.BySetPos) > 0 && r.Freq <= plan.Weekly
}

// setPosTimes holds where a month's or year's set has several times a day.
func setPosTimes(r *plan.Rule, _ plan.Local) bool {
	return len(r.BySetPos) > 0 && len(r.ByHour)+len(r.ByMinute)+len(r.BySecond) > 0
}

func limitedFromEnd(r *plan.Rule, _ plan.Local) bool {
	return r.Freq <= plan.Daily && (negative(r.ByMonthDay) || negative(r.ByYearDay))
}

// timesLimit holds where BYHOUR, BYMINUTE or BYSECOND filters the periods.
func timesLimit(r *plan.Rule, _ plan.Local) bool {
	return r.Freq <= plan.Hourly && len(r.ByHour) > 0 || r.Freq <= plan.Minutely && len(r.ByMinute) > 0 ||
		r.Freq == plan.Secondly && len(r.BySecond) > 0
}

func intervalOver16Bits(r *plan.Rule, _ plan.Local) bool { return r.Interval > 32767 }

func weekNoFromEndWithWkst(r *plan.Rule, _ plan.Local) bool {
	return negative(r.ByWeekNo) && r.WeekStart != plan.Monday
}

func weeklyWkst(r *plan.Rule, _ plan.Local) bool {
	return r.Freq == plan.Weekly && r.Interval > 1 && r.WeekStart != plan.Monday && len(r.ByDay) > 1
}

func skipAndByDay(r *plan.Rule, _ plan.Local) bool {
	return r.Skip != plan.Omit && r.Freq >= plan.Monthly && len(r.ByDay) > 0 && len(r.ByMonthDay)+len(r.ByYearDay) > 0
}

func skipAndWeekdays(r *plan.Rule, _ plan.Local) bool {
	return r.Skip != plan.Omit && r.Freq >= plan.Monthly && len(r.ByDay) > 0 && len(r.ByMonthDay) == 0
}

func skipOntoStart(r *plan.Rule, start plan.Local) bool {
	return r.Skip == plan.Forward && r.Freq >= plan.Monthly && r.Interval == 1 && start.Day == 1
}

// setPosDaysFromEnd holds where libical may see one day as two members of a set.
func setPosDaysFromEnd(r *plan.Rule, _ plan.Local) bool {
	return len(r.BySetPos) > 0 && (r.Skip != plan.Omit || negative(r.ByMonthDay) || negative(r.ByYearDay))
}

func skipAndMonthlyByMonth(r *plan.Rule, _ plan.Local) bool {
	return r.Skip != plan.Omit && r.Freq == plan.Monthly && len(r.ByMonth) > 0
}

func yearlyMonthDays(r *plan.Rule, _ plan.Local) bool {
	return r.Freq == plan.Yearly && len(r.ByMonthDay) > 0 && len(r.ByMonth) == 0
}

func crossedDayParts(r *plan.Rule, _ plan.Local) bool {
	n := 0
	for _, list := range [][]int{r.ByWeekNo, r.ByYearDay, r.ByMonthDay} {
		if len(list) > 0 {
			n++
		}
	}
	return r.Freq == plan.Yearly && (n > 1 || n > 0 && len(r.ByMonth) > 0 && len(r.ByMonthDay) == 0)
}

var libicalDepartures = []departure{
	{"filters from the end", "a negative day filters like a positive one (§3.3.10, BYMONTHDAY, BYYEARDAY); libical finds no instance for " +
		"DAILY and shorter, and searches to the year 2582", limitedFromEnd, true},
	{"several times of day with BYSETPOS", "positions count date-times of the set (§3.3.10, BYSETPOS); libical counts days and repeats or drops times", setPosTimes, true},
	{"BYSETPOS in weeks, days and shorter", "BYSETPOS limits with every FREQ (§3.3.10, table); libical ignores it below MONTHLY", setPosShort, false},
	{"BYHOUR, BYMINUTE, BYSECOND as filters", "they limit where the FREQ is as short (§3.3.10, table), so only times that INTERVAL reaches from DTSTART remain; libical steps " +
		"from one listed value to the next and leaves INTERVAL out, or gives DTSTART twice", timesLimit, false},
	{"BYSETPOS with SKIP or days from the end", "a set holds a day once (§3.8.5.3), and a moved day belongs to the set it came from (RFC 7529 §4.1: BYSETPOS comes after SKIP); " +
		"libical counts a day listed from both ends twice, and loses moved days", setPosDaysFromEnd, true},
	{"a day moved onto DTSTART", "open in RFC 7529: where the period before DTSTART's moves a day forward onto DTSTART, DTSTART fits its rule and is served; libical begins with DTSTART's own period", skipOntoStart, false},
	{"YEARLY;BYMONTHDAY without BYMONTH", "open in the RFC: the table says expand, so every month; libical takes DTSTART's month only", yearlyMonthDays, true},
	{"BYWEEKNO alone", "what the rule leaves open is taken from DTSTART (§3.3.10), so the weekday is; libical's iterator gives other dates from run to run, " +
		"fails or crashes, though its own test data agrees with ours", weekNoWithoutDays, true},
	{"BYWEEKNO from the end with WKST", "the number of weeks of a year depends on WKST (§3.3.10, BYWEEKNO); libical counts those of Monday weeks", weekNoFromEndWithWkst, false},
	{"BYWEEKNO, BYYEARDAY, BYMONTHDAY, BYMONTH crossed", "the table allows them together; libical calls such a rule malformed", crossedDayParts, false},
	{"WEEKLY;INTERVAL;WKST", "the active weeks are counted from the one that holds DTSTART (§3.3.10, WKST); libical drops DTSTART and takes other weeks " +
		"where a listed day of DTSTART's week lies before it", weeklyWkst, false},
	{"INTERVAL over 16 bits", "INTERVAL is any positive integer (§3.3.10); libical keeps it in 16 bits with sign", intervalOver16Bits, false},
	{"BYDAY after SKIP", "days are moved after BYMONTHDAY and before BYDAY (RFC 7529 §4.1); libical tests BYDAY before the move", skipAndByDay, false},
	{"SKIP beside BYDAY alone", "only a day of the month or year that does not exist is moved (RFC 7529 §4.1); libical also puts a date in the place of a fifth or sixth " +
		"weekday that the month does not have", skipAndWeekdays, false},
	{"weeks across the turn of the year", "a listed week belongs whole to its week-numbering year (§3.3.10, BYWEEKNO); libical loses its days in the neighbouring calendar year", weekNoAtTurn, false},
	{"MONTHLY;BYMONTH with SKIP", "BYMONTH comes before the move and is not tested again (RFC 7529 §4.1); libical does so for YEARLY, but for MONTHLY tests " +
		"the day moved to", skipAndMonthlyByMonth, false},
}

// numberBeyondMonth holds for an nth weekday that no month has.
func numberBeyondMonth(r *plan.Rule, _ plan.Local) bool {
	return slices.ContainsFunc(r.ByDay, func(w plan.WeekdayNum) bool {
		return (w.N > 5 || w.N < -5) && (r.Freq == plan.Monthly || len(r.ByMonth) > 0)
	})
}

func timesLimitAndInterval(r *plan.Rule, start plan.Local) bool {
	return r.Interval > 1 && timesLimit(r, start)
}

var rruleGoDepartures = []departure{
	{"times that INTERVAL never reaches", "such a rule is empty (§3.3.10: BYHOUR and the like limit); rrule-go's search never returns", timesLimitAndInterval, true},
	{"sixth weekday of a month", "what does not exist is ignored (§3.3.10); rrule-go writes beyond its arrays and panics, or marks a day of another month", numberBeyondMonth, false},
	{"mixed BYDAY", "a list of plain and numeric weekdays is a union (§3.3.10: each value says which weekdays); rrule-go wants a day to be in both halves of the list", mixesPlainAndNumeric, false},
	{"WEEKLY;BYSETPOS from mid-week", "positions count in the whole week (§3.3.10: the set of one interval of the rule); rrule-go's first week begins with DTSTART", setPosFromMidWeek, false},
	{"BYWEEKNO alone", "what the rule leaves open is taken from DTSTART (§3.3.10), so the weekday is; rrule-go takes all seven days", weekNoWithoutDays, false},
	{"weeks across the turn of the year", "open in the RFC: week numbers belong to a week-numbering year, whose weeks INTERVAL and BYSETPOS count together (§3.3.10, BYWEEKNO); " +
		"rrule-go takes the days of the listed weeks that lie in a calendar year, and not always those", weekNoAtTurn, false},
}
