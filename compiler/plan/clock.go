package plan

import (
	"fmt"
	"strings"
)

// ParseExtended reads TOML's dates: "2026-12-01", "2026-12-01T07:00:00" (a space may stand for T, seconds and their
// fraction may be left out), with Z for UTC. Other offsets are refused with the local time to write instead.
func ParseExtended(s string) (Local, Form, *ValueError) {
	bad := func() (Local, Form, *ValueError) {
		return Local{}, 0, dateError("write 2026-12-31T18:00:00", "is not a date-time")
	}
	if len(s) < 10 || s[4] != '-' || s[7] != '-' || !allDigits(s[:4]) || !allDigits(s[5:7]) || !allDigits(s[8:10]) {
		return bad()
	}
	l := Local{Year: atoi(s[:4]), Month: atoi(s[5:7]), Day: atoi(s[8:10])}
	if len(s) == 10 {
		return l, Date, l.Check()
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
	return l, form, l.Check()
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

// ParseTimeOfDay reads "07:00" as minutes of the day.
func ParseTimeOfDay(s string) (int, *ValueError) {
	hour, minute, second, ok := parseClock(s)
	switch {
	case !ok:
		return 0, dateError(timeHint(s), "is not a time of day")
	case hour > 23:
		return 0, dateError("the day runs from 00:00 to 23:59", "has no hour %d", hour)
	case minute > 59:
		return 0, dateError("minutes run from 00 to 59", "has no minute %d", minute)
	case second != 0:
		return 0, &ValueError{Code: CodeSeconds, Message: "is not on a whole minute", Hint: "meals are served on whole minutes"}
	}
	return hour*60 + minute, nil
}

// timeHint guesses what "7:00", "7.30" or "6:30 pm" should have been.
func timeHint(s string) string {
	const usual = `write hours and minutes of the 24-hour clock, such as "07:00" or "18:30"`
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
		return usual
	}
	hour := atoi(h)
	if pm && hour < 12 {
		hour += 12
	} else if am && hour == 12 {
		hour = 0
	}
	if hour > 23 || atoi(m) > 59 {
		return usual
	}
	return fmt.Sprintf("write %q", fmt.Sprintf("%02d:%s", hour, m))
}
