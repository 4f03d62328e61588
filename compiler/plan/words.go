package plan

import (
	"fmt"
	"time"
)

// Ordinal is "1st", "2nd", "3rd", "11th" for a positive number.
func Ordinal(n int) string {
	suffix := "th"
	if n%100/10 != 1 {
		switch n % 10 {
		case 1:
			suffix = "st"
		case 2:
			suffix = "nd"
		case 3:
			suffix = "rd"
		}
	}
	return fmt.Sprintf("%d%s", n, suffix)
}

// Name is "Monday".
func (d Weekday) Name() string { return time.Weekday((d + 1) % 7).String() }

// Period is what positions (BYSETPOS) are counted in: "a week".
func (f Freq) Period() string {
	return []string{"a second", "a minute", "an hour", "a day", "a week", "a month", "a year"}[f]
}

// DayInWords is "1 December 2026".
func (l Local) DayInWords() string {
	return fmt.Sprintf("%d %s %d", l.Day, time.Month(l.Month), l.Year)
}

// InWords is "1 December 2026 at 07:00", with "UTC" where the form says so.
func (l Local) InWords(form Form) string {
	s := l.DayInWords() + " at " + ClockTime(l.Hour*3600+l.Minute*60+l.Second)
	if form == UTC {
		s += " UTC"
	}
	return s
}

// ClockTime writes seconds of the day, "07:00", or "07:00:30" where there are seconds.
func ClockTime(sec int) string {
	s := fmt.Sprintf("%02d:%02d", sec/3600, sec/60%60)
	if sec%60 != 0 {
		s += fmt.Sprintf(":%02d", sec%60)
	}
	return s
}
