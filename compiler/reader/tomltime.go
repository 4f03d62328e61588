package reader

import (
	"fmt"
	"strings"

	"mealtab/compiler/plan"
)

// parseExtended reads TOML's dates: "2026-12-01", "2026-12-01T07:00:00" (a space may stand for T, seconds and their
// fraction may be left out), with Z for UTC. Other offsets are refused with the local time to write instead.
func parseExtended(s string) (plan.Local, plan.Form, *plan.ValueError) {
	bad := func() (plan.Local, plan.Form, *plan.ValueError) {
		return plan.Local{}, 0, plan.DateError("write 2026-12-31T18:00:00", "is not a date-time")
	}
	if len(s) < 10 || s[4] != '-' || s[7] != '-' || !plan.AllDigits(s[:4]) || !plan.AllDigits(s[5:7]) || !plan.AllDigits(s[8:10]) {
		return bad()
	}
	l := plan.Local{Year: atoi(s[:4]), Month: atoi(s[5:7]), Day: atoi(s[8:10])}
	if len(s) == 10 {
		return l, plan.Date, l.Check()
	}
	clock, offset := s[11:], ""
	if i := strings.IndexAny(clock, "Zz+-"); i >= 0 {
		clock, offset = clock[:i], clock[i:]
	}
	form := plan.Zoned
	switch {
	case strings.EqualFold(offset, "Z"):
		form = plan.UTC
	case offset != "":
		return plan.Local{}, 0, plan.DateError(fmt.Sprintf("write the local time in the plan's zone, without offset: %s", s[:11]+clock),
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
		if len(f) != 2 || !plan.AllDigits(f) {
			return 0, 0, 0, false
		}
		n[i] = atoi(f)
	}
	return n[0], n[1], plan.Leap(n[2]), true
}

// parseTimeOfDay reads "07:00" as minutes of the day.
func parseTimeOfDay(s string) (int, *plan.ValueError) {
	hour, minute, second, ok := parseClock(s)
	switch {
	case !ok:
		return 0, plan.DateError(timeHint(s), "is not a time of day")
	case hour > 23:
		return 0, plan.DateError("the day runs from 00:00 to 23:59", "has no hour %d", hour)
	case minute > 59:
		return 0, plan.DateError("minutes run from 00 to 59", "has no minute %d", minute)
	case second != 0:
		return 0, &plan.ValueError{Code: plan.CodeSeconds, Message: "is not on a whole minute", Hint: "meals are served on whole minutes"}
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
	if !plan.AllDigits(h) || !plan.AllDigits(m) || len(h) > 2 || len(m) != 2 {
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
