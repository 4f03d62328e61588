// Package moment reads the times people give on a command line.
//
// In: words such as 2027-03-28, 2027-03-28T03:30 or "tomorrow", and a zone. Out: minutes of UTC since 2000
// ([table.Minute]), or local dates ([table.Day]). Local times that the clocks skip or repeat are read as in a plan
// (RFC 5545 §3.3.5).
package moment

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// Forms says what is accepted, for messages and help.
const Forms = "a date (2027-03-28), a local time (2027-03-28T03:30), a time in UTC (2027-03-28T02:30Z), today, tomorrow or now"

// Clock gives local time.
type Clock interface {
	At(unix int64) zone.Offset
	Resolve(nominal int64) (unix int64, kind zone.Kind)
}

// Moment is a time that was given: an instant, or a whole local date.
type Moment struct {
	At    table.Minute // the instant, of a date its local midnight
	End   table.Minute // of a date the next local midnight, else At
	Whole bool         // a date
}

// layouts of local times; RFC 3339 times with an offset come first.
var layouts = []struct {
	layout string
	zoned  bool
}{
	{"2006-01-02T15:04:05Z07:00", true},
	{"2006-01-02T15:04Z07:00", true},
	{"2006-01-02T15:04:05", false},
	{"2006-01-02T15:04", false},
}

// Parse reads a time; now is the present. Seconds are dropped: the table counts minutes.
func Parse(text string, c Clock, now time.Time) (Moment, error) {
	text = strings.TrimSpace(text)
	switch strings.ToLower(text) {
	case "now":
		at := Minute(now)
		return Moment{At: at, End: at}, inCalendar(text, now)
	case "today":
		return day(text, localDate(c, now), c)
	case "tomorrow":
		return day(text, localDate(c, now).AddDate(0, 0, 1), c)
	}
	if d, err := time.Parse(time.DateOnly, text); err == nil {
		return day(text, d, c)
	}
	for _, l := range layouts {
		t, err := time.Parse(l.layout, strings.Replace(strings.ToUpper(text), " ", "T", 1))
		if err != nil {
			continue
		}
		if !l.zoned {
			unix, _ := c.Resolve(t.Unix())
			t = time.Unix(unix, 0).UTC()
		}
		at := Minute(t)
		return Moment{At: at, End: at}, inCalendar(text, t)
	}
	if err := noSuchDay(text); err != nil {
		return Moment{}, err
	}
	return Moment{}, fmt.Errorf("%q is not a time; give %s", text, Forms)
}

// Date reads a date alone.
func Date(text string) (table.Day, error) {
	d, err := time.Parse(time.DateOnly, strings.TrimSpace(text))
	if err != nil {
		if err := noSuchDay(text); err != nil {
			return 0, err
		}
		return 0, fmt.Errorf("%q is not a date; give one such as 2027-01-01", text)
	}
	if err := inCalendar(text, d); err != nil {
		return 0, err
	}
	return table.Day((d.Unix() - table.Epoch) / 86400), nil
}

// spelledDate is how a date, or one with a time, begins.
var spelledDate = regexp.MustCompile(`^(\d{4})-(\d\d)-(\d\d)(?:$|[Tt ])`)

// noSuchDay says what is wrong with a date that is spelled well and is not in the calendar; nil for all others.
func noSuchDay(text string) error {
	m := spelledDate.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return nil
	}
	year, _ := strconv.Atoi(m[1]) // digits, by the expression
	month, _ := strconv.Atoi(m[2])
	day, _ := strconv.Atoi(m[3])
	if month < 1 || month > 12 {
		return fmt.Errorf("%q is not a date: months run from 01 to 12", text)
	}
	if last := time.Date(year, time.Month(month)+1, 0, 0, 0, 0, 0, time.UTC); day < 1 || day > last.Day() {
		return fmt.Errorf("%q is not a date: %s has %d days", text, last.Format("January 2006"), last.Day())
	}
	return nil
}

// Minute is the minute of an instant, rounded down.
func Minute(t time.Time) table.Minute {
	s := t.Unix() - table.Epoch
	if s < 0 {
		s -= 59
	}
	return table.Minute(s / 60)
}

func localDate(c Clock, now time.Time) time.Time {
	local := time.Unix(now.Unix()+int64(c.At(now.Unix()).Seconds), 0).UTC()
	return time.Date(local.Year(), local.Month(), local.Day(), 0, 0, 0, 0, time.UTC)
}

func day(text string, d time.Time, c Clock) (Moment, error) {
	if err := inCalendar(text, d); err != nil {
		return Moment{}, err
	}
	from, _ := c.Resolve(d.Unix())
	to, _ := c.Resolve(d.AddDate(0, 0, 1).Unix())
	return Moment{At: Minute(time.Unix(from, 0)), End: Minute(time.Unix(to, 0)), Whole: true}, nil
}

// inCalendar wants the years of the clock chip's calendar.
func inCalendar(text string, t time.Time) error {
	if y := t.Year(); y < 2000 || y > 2099 {
		return fmt.Errorf("%s is outside the feeder's calendar, 2000 to 2099", text)
	}
	return nil
}
