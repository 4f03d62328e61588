package units

import (
	"fmt"
	"strconv"
	"time"
)

// Count is "1 warning", "2 warnings", "1,400 warnings".
func Count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%s %ss", Thousands(n), what)
}

// Thousands groups digits: "81,034".
func Thousands(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// Span is a length of time in its two largest units: "23 days 9 h", "1 h 5 min", "2 min 10 s", "1.4 s", "12 ms".
func Span(d time.Duration) string {
	const day = 24 * time.Hour
	switch d = d.Abs(); {
	case d >= 2*day-time.Hour/2:
		return two(d.Round(time.Hour), day, "days", time.Hour, "h")
	case d >= time.Hour-30*time.Second:
		return two(d.Round(time.Minute), time.Hour, "h", time.Minute, "min")
	case d >= time.Minute-500*time.Millisecond:
		return two(d.Round(time.Second), time.Minute, "min", time.Second, "s")
	case d >= 9950*time.Millisecond:
		return fmt.Sprintf("%d s", d.Round(time.Second)/time.Second)
	case d >= time.Second-500*time.Microsecond:
		return fmt.Sprintf("%.1f s", d.Seconds())
	}
	return fmt.Sprintf("%d ms", d.Round(time.Millisecond)/time.Millisecond)
}

func two(d, unit time.Duration, name string, part time.Duration, partName string) string {
	rest := d % unit / part
	if rest == 0 {
		return fmt.Sprintf("%d %s", d/unit, name)
	}
	return fmt.Sprintf("%d %s %d %s", d/unit, name, rest, partName)
}
