package rulegen

import (
	"fmt"
	"strconv"
	"strings"

	"mealtab/compiler/plan"
)

var (
	freqNames    = [...]string{"SECONDLY", "MINUTELY", "HOURLY", "DAILY", "WEEKLY", "MONTHLY", "YEARLY"}
	weekdayNames = [...]string{"MO", "TU", "WE", "TH", "FR", "SA", "SU"}
	skipNames    = [...]string{"OMIT", "BACKWARD", "FORWARD"}
)

// Text renders a rule as a RECUR value (RFC 5545 §3.3.10).
func Text(r *plan.Rule) string {
	var parts []string
	add := func(name, value string) { parts = append(parts, name+"="+value) }
	numbers := func(name string, list []int) {
		if len(list) > 0 {
			add(name, join(list, strconv.Itoa))
		}
	}
	if r.Skip != plan.Omit {
		add("RSCALE", "GREGORIAN")
	}
	add("FREQ", freqNames[r.Freq])
	if r.Interval > 1 {
		add("INTERVAL", strconv.Itoa(r.Interval))
	}
	if r.WeekStart != plan.Monday {
		add("WKST", weekdayNames[r.WeekStart])
	}
	numbers("BYMONTH", r.ByMonth)
	numbers("BYWEEKNO", r.ByWeekNo)
	numbers("BYYEARDAY", r.ByYearDay)
	numbers("BYMONTHDAY", r.ByMonthDay)
	if len(r.ByDay) > 0 {
		add("BYDAY", join(r.ByDay, weekdayText))
	}
	numbers("BYHOUR", r.ByHour)
	numbers("BYMINUTE", r.ByMinute)
	numbers("BYSECOND", r.BySecond)
	numbers("BYSETPOS", r.BySetPos)
	if r.Skip != plan.Omit {
		add("SKIP", skipNames[r.Skip])
	}
	if r.Count > 0 {
		add("COUNT", strconv.Itoa(r.Count))
	}
	if r.Until != nil {
		add("UNTIL", untilText(r.Until))
	}
	return strings.Join(parts, ";")
}

func join[T any](list []T, text func(T) string) string {
	out := make([]string, len(list))
	for i, v := range list {
		out[i] = text(v)
	}
	return strings.Join(out, ",")
}

func weekdayText(w plan.WeekdayNum) string {
	if w.N == 0 {
		return weekdayNames[w.Day]
	}
	return strconv.Itoa(w.N) + weekdayNames[w.Day]
}

func untilText(u *plan.Until) string {
	l := u.Local
	date := fmt.Sprintf("%04d%02d%02d", l.Year, l.Month, l.Day)
	switch u.Form {
	case plan.Date:
		return date
	case plan.UTC:
		return date + timeText(l) + "Z"
	}
	return date + timeText(l)
}

// timeText is the time of day in iCalendar's form (RFC 5545 §3.3.12), with its T.
func timeText(l plan.Local) string { return fmt.Sprintf("T%02d%02d%02d", l.Hour, l.Minute, l.Second) }
