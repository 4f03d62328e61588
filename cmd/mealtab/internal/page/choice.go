package page

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"mealtab/compiler/plan"
)

// Kinds of repetition that can be chosen without knowing RRULE.
const (
	kindDaily   = "daily"
	kindWeekly  = "weekly"
	kindDates   = "monthdays" // days of the month
	kindNth     = "nth"       // second Tuesday, last Friday
	kindHours   = "hours"
	kindMinutes = "minutes"
	kindSingle  = "single" // only the dates in rdate
	kindTyped   = "typed"  // a rule that only its text says
)

// Choice is a rule as it is put together on the page.
type Choice struct {
	Kind      string `json:"kind"`
	Interval  int    `json:"interval"`  // 0: not given
	Days      []int  `json:"days"`      // 0 = Monday; none of them may be ticked
	MonthDays string `json:"monthDays"` // "1, 15, last", or what was typed
	Nth       int    `json:"nth"`       // 1 to 5, -1 = last
	Weekday   int    `json:"weekday"`   // 0 = Monday
	Months    []int  `json:"months"`    // 1 to 12; none: all
	Until     string `json:"until"`     // date, or empty
	Count     int    `json:"count"`     // 0: without end
}

// dayCodes are RFC 5545's.
var dayCodes = []string{"MO", "TU", "WE", "TH", "FR", "SA", "SU"}

// choiceOf finds the choice that a rule is; kindTyped where there is none. A rule may leave the weekday or the day of the
// month to its start.
func choiceOf(r *plan.Rule, start plan.Local) Choice {
	c := Choice{Kind: kindTyped, Interval: 1, Nth: 1, Days: []int{}, Months: []int{}}
	if r == nil {
		return c
	}
	c.Interval, c.Count = r.Interval, r.Count
	if r.Until != nil {
		if r.Until.Form != plan.Date {
			return c
		}
		c.Until = r.Until.Local.String()[:10]
	}
	c.Months = append(c.Months, r.ByMonth...)
	if len(r.BySecond)+len(r.ByMinute)+len(r.ByHour)+len(r.ByYearDay)+len(r.ByWeekNo)+len(r.BySetPos) > 0 || r.Skip != plan.Omit || r.WeekStart != plan.Monday {
		return c
	}
	c.Kind = c.kindOf(r, start)
	return c
}

// Parts of a rule that a choice may leave open, with something that can be read in their place.
var openParts = []struct{ name, any string }{{"INTERVAL", "1"}, {"BYDAY", "MO"}, {"BYMONTHDAY", "1"}}

// choiceOfText finds the choice that the text of a rule is, also where one of its parts is empty or is being typed: that choice stays on
// the page as it was made, with what is wrong beside it.
func choiceOfText(text string, start plan.Local) Choice {
	r, errs := plan.ParseRule(text)
	if len(errs) == 0 {
		return choiceOf(r, start)
	}
	parts := strings.Split(text, ";")
	raw := map[string]string{}
	for i, p := range parts {
		name, value, _ := strings.Cut(p, "=")
		for _, open := range openParts {
			if name == open.name && (value == "" || name == "BYMONTHDAY") {
				raw[name], parts[i] = value, name+"="+open.any
			}
		}
	}
	r, errs = plan.ParseRule(strings.Join(parts, ";"))
	if len(raw) == 0 || len(errs) > 0 {
		return choiceOf(nil, start)
	}
	c := choiceOf(r, start)
	if _, ok := raw["INTERVAL"]; ok {
		c.Interval = 0
	}
	if _, ok := raw["BYDAY"]; ok {
		if c.Kind != kindWeekly {
			return choiceOf(nil, start)
		}
		c.Days = []int{}
	}
	if v, ok := raw["BYMONTHDAY"]; ok {
		if c.Kind != kindDates {
			return choiceOf(nil, start)
		}
		c.MonthDays = strings.ReplaceAll(v, ",", ", ")
	}
	return c
}

func (c *Choice) kindOf(r *plan.Rule, start plan.Local) string {
	plain := len(r.ByMonthDay) == 0
	switch {
	case r.Freq == plan.Daily && plain && len(r.ByDay) == 0:
		return kindDaily
	case r.Freq == plan.Weekly && plain, r.Freq == plan.Daily && plain && r.Interval == 1 && !numbered(r):
		for _, d := range r.ByDay {
			c.Days = append(c.Days, int(d.Day))
		}
		if len(r.ByDay) == 0 {
			c.Days = append(c.Days, weekday(start))
		}
		return kindWeekly
	case r.Freq == plan.Monthly && plain && len(r.ByDay) == 1 && r.ByDay[0].N != 0 && r.ByDay[0].N <= 5 && r.ByDay[0].N >= -1:
		c.Nth, c.Weekday = r.ByDay[0].N, int(r.ByDay[0].Day)
		return kindNth
	case r.Freq == plan.Monthly && len(r.ByDay) == 0:
		c.MonthDays = monthDayWords(r.ByMonthDay, start)
		return kindDates
	case r.Freq == plan.Hourly && plain && len(r.ByDay)+len(r.ByMonth) == 0:
		return kindHours
	case r.Freq == plan.Minutely && plain && len(r.ByDay)+len(r.ByMonth) == 0:
		return kindMinutes
	}
	return kindTyped
}

func numbered(r *plan.Rule) bool {
	return slices.ContainsFunc(r.ByDay, func(d plan.WeekdayNum) bool { return d.N != 0 })
}

func weekday(l plan.Local) int {
	return int(time.Date(l.Year, time.Month(l.Month), l.Day, 0, 0, 0, 0, time.UTC).Weekday()+6) % 7
}

const lastWord = "last"

// monthDayWords is "1, 15, last"; days counted from the end beyond the last stay numbers.
func monthDayWords(days []int, start plan.Local) string {
	if len(days) == 0 {
		return strconv.Itoa(start.Day)
	}
	days = slices.Clone(days)
	slices.SortFunc(days, func(a, b int) int { return cmp.Compare((a+99)%99, (b+99)%99) }) // from the end after from the start
	words := make([]string, len(days))
	for i, d := range days {
		words[i] = strconv.Itoa(d)
		if d == -1 {
			words[i] = lastWord
		}
	}
	return strings.Join(words, ", ")
}

// rule writes the choice as RFC 5545 has it.
func (c Choice) rule() string {
	parts := []string{"FREQ=" + map[string]string{
		kindDaily: "DAILY", kindWeekly: "WEEKLY", kindDates: "MONTHLY", kindNth: "MONTHLY", kindHours: "HOURLY", kindMinutes: "MINUTELY",
	}[c.Kind]}
	add := func(name, value string) {
		if value != "" {
			parts = append(parts, name+"="+value)
		}
	}
	switch {
	case c.Interval < 1: // an empty value is an error, which says what is missing
		parts = append(parts, "INTERVAL=")
	case c.Interval > 1:
		add("INTERVAL", strconv.Itoa(c.Interval))
	}
	if c.Count > 0 {
		add("COUNT", strconv.Itoa(c.Count))
	} else if c.Until != "" {
		add("UNTIL", strings.ReplaceAll(c.Until, "-", ""))
	}
	if c.Kind != kindHours && c.Kind != kindMinutes {
		add("BYMONTH", numbers(slices.Sorted(slices.Values(c.Months))))
	}
	switch c.Kind {
	case kindWeekly:
		parts = append(parts, "BYDAY="+c.dayList())
	case kindNth:
		add("BYDAY", fmt.Sprintf("%d%s", c.Nth, dayCodes[(c.Weekday+7)%7]))
	case kindDates:
		parts = append(parts, "BYMONTHDAY="+c.monthDayList())
	}
	return strings.Join(parts, ";")
}

func numbers(list []int) string {
	words := make([]string, len(list))
	for i, n := range list {
		words[i] = strconv.Itoa(n)
	}
	return strings.Join(words, ",")
}

func (c Choice) dayList() string {
	var words []string
	for i, code := range dayCodes {
		if slices.Contains(c.Days, i) {
			words = append(words, code)
		}
	}
	return strings.Join(words, ",")
}

// monthDayList keeps what it does not understand: the reader of rules says what is wrong with it.
func (c Choice) monthDayList() string {
	words := strings.FieldsFunc(c.MonthDays, func(r rune) bool { return r == ',' || r == ' ' || r == ';' })
	for i, w := range words {
		if strings.EqualFold(w, lastWord) {
			words[i] = "-1"
		}
	}
	return strings.Join(words, ",")
}
