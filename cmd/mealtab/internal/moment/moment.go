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
const Forms = "a date (2027-03-28), a local time (2027-03-28T03:30), a time in UTC (2027-03-28T02:30Z), now, today, tomorrow or a weekday (friday), and after such a day a time if you like (\"tomorrow 18:30\")"

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
	if strings.EqualFold(text, "now") {
		at := Minute(now)
		return Moment{At: at, End: at}, inCalendar(text, now)
	}
	if word, clock, timed := strings.Cut(text, " "); timed && IsDayWord(word) {
		m, err := Parse(word, c, now)
		if err != nil {
			return m, err
		}
		return m.Time(clock, c)
	}
	if IsDayWord(text) {
		return day(text, wordDate(strings.ToLower(text), localDate(c, now)), c)
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

// IsDayWord reports whether a text is a word for a day: today, tomorrow, or a weekday, whole or its first three letters.
func IsDayWord(text string) bool {
	text = strings.ToLower(text)
	return text == "today" || text == "tomorrow" || weekday(text) >= 0
}

func weekday(text string) time.Weekday {
	for d := time.Sunday; d <= time.Saturday; d++ {
		if name := strings.ToLower(d.String()); text == name || text == name[:3] {
			return d
		}
	}
	return -1
}

// wordDate is the date that a word means: of a weekday the next such, today included.
func wordDate(word string, today time.Time) time.Time {
	switch word {
	case "today":
		return today
	case "tomorrow":
		return today.AddDate(0, 0, 1)
	}
	return today.AddDate(0, 0, int(weekday(word)-today.Weekday()+7)%7)
}

// clockForm is a time of day.
var clockForm = regexp.MustCompile(`^([01]?\d|2[0-3]):([0-5]\d)$`)

// IsTime reports whether a text is a time of day, such as 18:30.
func IsTime(text string) bool { return clockForm.MatchString(strings.TrimSpace(text)) }

// Time is a time of day on the local date of a moment.
func (m Moment) Time(text string, c Clock) (Moment, error) {
	f := clockForm.FindStringSubmatch(strings.TrimSpace(text))
	if f == nil {
		return Moment{}, fmt.Errorf("%q is not a time of day; give one such as 18:30", text)
	}
	hour, _ := strconv.Atoi(f[1]) // digits, by the expression
	minute, _ := strconv.Atoi(f[2])
	date := localDate(c, m.At.Time())
	unix, _ := c.Resolve(date.Unix() + int64(hour*3600+minute*60))
	at := Minute(time.Unix(unix, 0))
	return Moment{At: at, End: at}, nil
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
