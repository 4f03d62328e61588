package plan

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// The calendar of the table, that of the clock chip.
const (
	FirstYear = 2000
	LastYear  = 2099
)

// valueError says what is wrong with a value and what would be right. The message continues the value:
// "… is not a date".
type valueError struct{ code, message, hint string }

func dateError(hint, format string, args ...any) *valueError {
	return &valueError{string(CodeDate), fmt.Sprintf(format, args...), hint}
}

// daysIn is the number of days of a month in the proleptic Gregorian calendar.
func daysIn(year, month int) int {
	switch month {
	case 2:
		if isLeap(year) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}

func isLeap(year int) bool { return year%4 == 0 && (year%100 != 0 || year%400 == 0) }

// Compare orders two Locals.
func (l Local) Compare(m Local) int {
	a := [...]int{l.Year, l.Month, l.Day, l.Hour, l.Minute, l.Second}
	b := [...]int{m.Year, m.Month, m.Day, m.Hour, m.Minute, m.Second}
	for i := range a {
		if a[i] != b[i] {
			if a[i] < b[i] {
				return -1
			}
			return 1
		}
	}
	return 0
}

// date is l at midnight.
func (l Local) date() Local { return Local{Year: l.Year, Month: l.Month, Day: l.Day} }

// addDays is l some days later, or earlier.
func (l Local) addDays(n int) Local {
	for l.Day += n; l.Day < 1; l.Day += daysIn(l.Year, l.Month) {
		if l.Month--; l.Month < 1 {
			l.Year, l.Month = l.Year-1, 12
		}
	}
	for l.Day > daysIn(l.Year, l.Month) {
		l.Day -= daysIn(l.Year, l.Month)
		if l.Month++; l.Month > 12 {
			l.Year, l.Month = l.Year+1, 1
		}
	}
	return l
}

// dayNumber counts the days of the proleptic Gregorian calendar.
func (l Local) dayNumber() int {
	y := l.Year - 1
	n := y*365 + y/4 - y/100 + y/400 + l.Day
	for month := 1; month < l.Month; month++ {
		n += daysIn(l.Year, month)
	}
	return n
}

// addSeconds is l some seconds later, or earlier.
func (l Local) addSeconds(n int) Local {
	n += (l.Hour*60+l.Minute)*60 + l.Second
	days := n / 86400
	if n %= 86400; n < 0 {
		n, days = n+86400, days-1
	}
	l.Hour, l.Minute, l.Second = n/3600, n/60%60, n%60
	return l.addDays(days)
}

// minuteOfDay is the time of l in minutes.
func (l Local) minuteOfDay() int { return l.Hour*60 + l.Minute }

// check refuses dates and times that do not exist. A second of 60 has become 59 before.
func (l Local) check() *valueError {
	switch {
	case l.Month < 1 || l.Month > 12:
		return dateError("months run from 01 to 12", "has no month %d", l.Month)
	case l.Day < 1 || l.Day > 31:
		return dateError("", "has no day %d", l.Day)
	case l.Day > daysIn(l.Year, l.Month):
		hint := fmt.Sprintf("%s %d has %d days", time.Month(l.Month), l.Year, daysIn(l.Year, l.Month))
		return dateError(hint, "does not exist")
	case l.Hour > 23:
		return dateError("hours run from 00 to 23", "has no hour %d", l.Hour)
	case l.Minute > 59:
		return dateError("minutes run from 00 to 59", "has no minute %d", l.Minute)
	case l.Second > 59:
		return dateError("seconds run from 00 to 59", "has no second %d", l.Second)
	}
	return nil
}

// inCalendar refuses years that the table cannot hold.
func (l Local) inCalendar() *valueError {
	if l.Year < FirstYear || l.Year > LastYear {
		return &valueError{string(CodeRange), fmt.Sprintf("is outside %d to %d", FirstYear, LastYear),
			"the clock chip's calendar runs from 2000-01-01 to 2099-12-31"}
	}
	return nil
}

// parseBasic reads RFC 5545's DATE ("20261201") or DATE-TIME ("20261201T070000", with Z for UTC).
func parseBasic(s string) (Local, Form, *valueError) {
	bad := func() (Local, Form, *valueError) {
		return Local{}, 0, dateError("write 20261231 or 20261231T180000, with Z for UTC", "is not a date or date-time")
	}
	upper := strings.ToUpper(s)
	digits, form := strings.TrimSuffix(upper, "Z"), Zoned
	switch {
	case len(digits) == 8:
		form = Date
	case len(digits) != 15 || digits[8] != 'T':
		return bad()
	case len(digits) < len(upper):
		form = UTC
	}
	if form == Date && len(upper) != 8 || !allDigits(digits[:8]) || form != Date && !allDigits(digits[9:]) {
		return bad()
	}
	l := Local{Year: atoi(digits[0:4]), Month: atoi(digits[4:6]), Day: atoi(digits[6:8])}
	if form != Date {
		l.Hour, l.Minute, l.Second = atoi(digits[9:11]), atoi(digits[11:13]), leap(atoi(digits[13:15]))
	}
	return l, form, l.check()
}

// leap reads second 60 as 59 (RFC 5545 §3.3.12).
func leap(sec int) int {
	if sec == 60 {
		return 59
	}
	return sec
}

// atoi reads what allDigits has accepted.
func atoi(digits string) int {
	n, _ := strconv.Atoi(digits)
	return n
}

// Basic writes a date or a date-time as RFC 5545 does: "20261201", "20261201T070000", with Z for UTC.
func (l Local) Basic(form Form) string {
	date := fmt.Sprintf("%04d%02d%02d", l.Year, l.Month, l.Day)
	if form == Date {
		return date
	}
	date += fmt.Sprintf("T%02d%02d%02d", l.Hour, l.Minute, l.Second)
	if form == UTC {
		date += "Z"
	}
	return date
}

// parseExtended reads TOML's dates: "2026-12-01", "2026-12-01T07:00:00" (a space may stand for T, seconds and their
// fraction may be left out), with Z for UTC. Other offsets are refused with the local time to write instead.
func parseExtended(s string) (Local, Form, *valueError) {
	bad := func() (Local, Form, *valueError) {
		return Local{}, 0, dateError("write 2026-12-31T18:00:00", "is not a date-time")
	}
	if len(s) < 10 || s[4] != '-' || s[7] != '-' || !allDigits(s[:4]) || !allDigits(s[5:7]) || !allDigits(s[8:10]) {
		return bad()
	}
	l := Local{Year: atoi(s[:4]), Month: atoi(s[5:7]), Day: atoi(s[8:10])}
	if len(s) == 10 {
		return l, Date, l.check()
	}
	clock, offset := s[11:], ""
	if i := strings.IndexAny(clock, "Zz+-"); i >= 0 {
		clock, offset = clock[:i], clock[i:]
	}
	form := Zoned
	switch {
	case strings.EqualFold(offset, "Z"):
		form = UTC
	case offset != "":
		return Local{}, 0, dateError(fmt.Sprintf("write the local time in the plan's zone, without offset: %s", s[:11]+clock),
			"has an offset")
	}
	var ok bool
	if l.Hour, l.Minute, l.Second, ok = parseClock(clock); !ok {
		return bad()
	}
	return l, form, l.check()
}

// parseClock reads "07:00", "07:00:00" or "07:00:00.0"; a fraction other than zero is refused.
func parseClock(s string) (hour, minute, second int, ok bool) {
	s, fraction, _ := strings.Cut(s, ".")
	if strings.Trim(fraction, "0") != "" {
		return 0, 0, 0, false
	}
	fields := strings.Split(s, ":")
	if len(fields) < 2 || len(fields) > 3 {
		return 0, 0, 0, false
	}
	var n [3]int
	for i, f := range fields {
		if len(f) != 2 || !allDigits(f) {
			return 0, 0, 0, false
		}
		n[i] = atoi(f)
	}
	return n[0], n[1], leap(n[2]), true
}

// parseTimeOfDay reads "07:00" as minutes of the day.
func parseTimeOfDay(s string) (int, *valueError) {
	hour, minute, second, ok := parseClock(s)
	switch {
	case !ok:
		return 0, dateError(timeHint(s), "is not a time of day")
	case hour > 23:
		return 0, dateError("the day runs from 00:00 to 23:59", "has no hour %d", hour)
	case minute > 59:
		return 0, dateError("minutes run from 00 to 59", "has no minute %d", minute)
	case second != 0:
		return 0, &valueError{string(CodeSeconds), "is not on a whole minute", "meals are served on whole minutes"}
	}
	return hour*60 + minute, nil
}

// timeHint guesses what "7:00", "7.30" or "6:30 pm" should have been.
func timeHint(s string) string {
	const plain = `write hours and minutes of the 24-hour clock, such as "07:00" or "18:30"`
	word := strings.ToLower(strings.ReplaceAll(s, " ", ""))
	pm := strings.HasSuffix(word, "pm")
	am := strings.HasSuffix(word, "am")
	if pm || am {
		word = word[:len(word)-2]
	}
	h, m, _ := strings.Cut(strings.ReplaceAll(strings.ReplaceAll(word, ".", ":"), "h", ":"), ":")
	if m == "" {
		m = "00"
	}
	if !allDigits(h) || !allDigits(m) || len(h) > 2 || len(m) != 2 {
		return plain
	}
	hour := atoi(h)
	if pm && hour < 12 {
		hour += 12
	} else if am && hour == 12 {
		hour = 0
	}
	if hour > 23 || atoi(m) > 59 {
		return plain
	}
	return fmt.Sprintf("write %q", fmt.Sprintf("%02d:%s", hour, m))
}
