package plan

import (
	"fmt"
	"strconv"
	"strings"
)

// String renders the rule in RFC 5545 syntax, parts in a fixed order, defaults left out. ParseRule of it gives the
// same rule. The library that package recur parses rules with cannot print them: it writes UNTIL=20261231 as UNTIL=20261231T000000Z, and
// leaves out RSCALE and SKIP.
func (r *Rule) String() string {
	var parts []string
	add := func(name, value string) {
		if value != "" {
			parts = append(parts, name+"="+value)
		}
	}
	if r.Skip != Omit {
		add("RSCALE", "GREGORIAN")
	}
	add("FREQ", FreqNames[r.Freq])
	if r.Interval > 1 {
		add("INTERVAL", strconv.Itoa(r.Interval))
	}
	if r.Count > 0 {
		add("COUNT", strconv.Itoa(r.Count))
	}
	if r.Until != nil {
		add("UNTIL", r.Until.Local.Basic(r.Until.Form))
	}
	if r.WeekStart != Monday {
		add("WKST", DayNames[r.WeekStart])
	}
	add("BYMONTH", joinInts(r.ByMonth))
	add("BYWEEKNO", joinInts(r.ByWeekNo))
	add("BYYEARDAY", joinInts(r.ByYearDay))
	add("BYMONTHDAY", joinInts(r.ByMonthDay))
	add("BYDAY", joinDays(r.ByDay))
	add("BYHOUR", joinInts(r.ByHour))
	add("BYMINUTE", joinInts(r.ByMinute))
	add("BYSECOND", joinInts(r.BySecond))
	add("BYSETPOS", joinInts(r.BySetPos))
	if r.Skip != Omit {
		add("SKIP", skipNames[r.Skip])
	}
	return strings.Join(parts, ";")
}

func joinInts(list []int) string {
	words := make([]string, len(list))
	for i, n := range list {
		words[i] = strconv.Itoa(n)
	}
	return strings.Join(words, ",")
}

func joinDays(list []WeekdayNum) string {
	words := make([]string, len(list))
	for i, d := range list {
		words[i] = DayNames[d.Day]
		if d.N != 0 {
			words[i] = fmt.Sprintf("%d%s", d.N, DayNames[d.Day])
		}
	}
	return strings.Join(words, ",")
}
