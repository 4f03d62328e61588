package scenario

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"

	"github.com/pelletier/go-toml/v2"
)

// moment reads a time of a script.
func moment(v any, start time.Time, l replay.Clock) (time.Time, error) {
	switch t := v.(type) {
	case time.Time:
		return t.UTC(), nil
	case toml.LocalDateTime:
		nominal := time.Date(t.Year, time.Month(t.Month), t.Day, t.Hour, t.Minute, t.Second, t.Nanosecond, time.UTC)
		return resolve(l, nominal), nil
	case toml.LocalDate:
		return resolve(l, time.Date(t.Year, time.Month(t.Month), t.Day, 0, 0, 0, 0, time.UTC)), nil
	case string:
		d, err := duration(t)
		if err != nil {
			return time.Time{}, err
		}
		return start.Add(d), nil
	}
	return time.Time{}, fmt.Errorf("%v is not a time: give 2027-03-28T07:00:00 (local), 2027-03-28T07:00:00Z (UTC) or \"90m\" (after the start)", v)
}

// resolve is the instant of a local time that is written as if it were UTC.
func resolve(l replay.Clock, nominal time.Time) time.Time {
	minute := table.MinuteOf(nominal.Unix())
	at, _ := l.Resolve(minute)
	return at.Time().Add(nominal.Sub(minute.Time()))
}

// duration reads "36h", "90 m", "1h30m", "3d".
func duration(text string) (time.Duration, error) {
	compact := strings.ReplaceAll(text, " ", "")
	days := time.Duration(0)
	if before, after, found := strings.Cut(compact, "d"); found {
		n, err := strconv.Atoi(before)
		if err != nil {
			return 0, fmt.Errorf("%q is not a duration, such as \"36h\" or \"3d\"", text)
		}
		days, compact = time.Duration(n)*24*time.Hour, after
	}
	if compact == "" && days > 0 {
		return days, nil
	}
	d, err := time.ParseDuration(compact)
	if err != nil || d < 0 {
		return 0, fmt.Errorf("%q is not a duration, such as \"36h\", \"1h30m\", \"200 ms\" or \"3d\"", text)
	}
	return days + d, nil
}

// quantity reads a number with its unit: "20 ppm".
func quantity(text, unit string) (float64, error) {
	number, found := strings.CutSuffix(strings.TrimSpace(text), unit)
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if !found || err != nil {
		return 0, fmt.Errorf("%q is not a quantity in %s, such as \"20 %s\"", text, unit, unit)
	}
	return v, nil
}

// clockStep reads a duration that may go back: "-3h", "90s".
func clockStep(text string) (time.Duration, error) {
	forward, back := strings.CutPrefix(strings.TrimSpace(text), "-")
	d, err := duration(strings.TrimPrefix(forward, "+"))
	if err != nil || text == "" {
		return 0, fmt.Errorf("by is %q; give a step of the clock, such as \"-3h\" or \"90 s\"", text)
	}
	if back {
		d = -d
	}
	return d, nil
}
