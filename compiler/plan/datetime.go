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

// ValueError says what is wrong with a value and what would be right. The message continues the value:
// "… is not a date".
type ValueError struct {
	Code          Code
	Message, Hint string
}

// dateError is about a date: its code is [CodeDate].
func dateError(hint, format string, args ...any) *ValueError {
	return &ValueError{CodeDate, fmt.Sprintf(format, args...), hint}
}

// DaysIn is the number of days of a month in the proleptic Gregorian calendar.
func DaysIn(year, month int) int {
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

// Date is l at midnight.
func (l Local) Date() Local { return Local{Year: l.Year, Month: l.Month, Day: l.Day} }

// AddDays is l some days later, or earlier.
func (l Local) AddDays(n int) Local {
	for l.Day += n; l.Day < 1; l.Day += DaysIn(l.Year, l.Month) {
		if l.Month--; l.Month < 1 {
			l.Year, l.Month = l.Year-1, 12
		}
	}
	for l.Day > DaysIn(l.Year, l.Month) {
		l.Day -= DaysIn(l.Year, l.Month)
		if l.Month++; l.Month > 12 {
			l.Year, l.Month = l.Year+1, 1
		}
	}
	return l
}

// DayNumber counts the days of the proleptic Gregorian calendar.
func (l Local) DayNumber() int {
	y := l.Year - 1
	n := y*365 + y/4 - y/100 + y/400 + l.Day
	for month := 1; month < l.Month; month++ {
		n += DaysIn(l.Year, month)
	}
	return n
}

// AddSeconds is l some seconds later, or earlier.
func (l Local) AddSeconds(n int) Local {
	n += (l.Hour*60+l.Minute)*60 + l.Second
	days := n / 86400
	if n %= 86400; n < 0 {
		n, days = n+86400, days-1
	}
	l.Hour, l.Minute, l.Second = n/3600, n/60%60, n%60
	return l.AddDays(days)
}

// Unix counts the seconds to l from 1970 on a clock that is never set; in UTC that is Unix time.
func (l Local) Unix() int64 {
	return time.Date(l.Year, time.Month(l.Month), l.Day, l.Hour, l.Minute, l.Second, 0, time.UTC).Unix()
}

// AtUnix is what such a clock shows after so many seconds.
func AtUnix(seconds int64) Local {
	t := time.Unix(seconds, 0).UTC()
	return Local{Year: t.Year(), Month: int(t.Month()), Day: t.Day(), Hour: t.Hour(), Minute: t.Minute(), Second: t.Second()}
}

// MinuteOfDay is the time of l in minutes.
func (l Local) MinuteOfDay() int { return l.Hour*60 + l.Minute }

// Check refuses dates and times that do not exist. A second of 60 has become 59 before.
func (l Local) Check() *ValueError {
	switch {
	case l.Month < 1 || l.Month > 12:
		return dateError("months run from 01 to 12", "has no month %d", l.Month)
	case l.Day < 1 || l.Day > 31:
		return dateError("", "has no day %d", l.Day)
	case l.Day > DaysIn(l.Year, l.Month):
		hint := fmt.Sprintf("%s %d has %d days", time.Month(l.Month), l.Year, DaysIn(l.Year, l.Month))
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

// InCalendar refuses years that the table cannot hold.
func (l Local) InCalendar() *ValueError {
	if l.Year < FirstYear || l.Year > LastYear {
		return &ValueError{CodeRange, fmt.Sprintf("is outside %d to %d", FirstYear, LastYear),
			"the clock chip's calendar runs from 2000-01-01 to 2099-12-31"}
	}
	return nil
}

// ParseBasic reads RFC 5545's DATE ("20261201") or DATE-TIME ("20261201T070000", with Z for UTC).
func ParseBasic(s string) (Local, Form, *ValueError) {
	bad := func() (Local, Form, *ValueError) {
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
	return l, form, l.Check()
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
