package recur

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/teambition/rrule-go"

	"mealtab/compiler/plan"
)

// parseRule reads an RRULE value in upper case without white space. The grammar and the ranges of RFC 5545
// §3.3.10 are checked here, because rrule-go takes COUNT=0, INTERVAL=0, COUNT beside UNTIL and parts that the
// FREQ does not allow, and knows neither RSCALE nor SKIP; what is left it reads well. timesOfDay says that times
// come from outside the rule.
func parseRule(text string, timesOfDay bool) (*rule, error) {
	r := &rule{}
	seen := map[string]bool{}
	var rest []string
	for _, p := range strings.Split(text, ";") {
		name, value, _ := strings.Cut(p, "=")
		if seen[name] {
			return nil, fmt.Errorf("%s is given twice", name)
		}
		seen[name] = true
		if err := checkPart(name, value); err != nil {
			return nil, err
		}
		switch name {
		case "RSCALE":
		case "SKIP":
			r.skip = map[string]plan.Skip{"BACKWARD": plan.Backward, "FORWARD": plan.Forward}[value]
		case "UNTIL":
			// A minute has no second 60 here (§3.3.12).
			if len(value) >= 15 && value[13:15] == "60" {
				p = name + "=" + value[:13] + "59" + value[15:]
			}
			rest = append(rest, p)
		default:
			rest = append(rest, p)
		}
	}
	if !seen["FREQ"] {
		return nil, fmt.Errorf("FREQ is missing")
	}
	option, err := rrule.StrToROption(strings.Join(rest, ";"))
	if err != nil {
		return nil, fmt.Errorf("the rule %s cannot be read: %v", text, err)
	}
	r.take(option)
	if seen["UNTIL"] {
		r.until = readUntil(text, option)
	}
	return r, r.check(seen, timesOfDay)
}

// frequencies puts rrule-go's FREQ values into plan's order.
var frequencies = map[rrule.Frequency]plan.Freq{
	rrule.SECONDLY: plan.Secondly, rrule.MINUTELY: plan.Minutely, rrule.HOURLY: plan.Hourly, rrule.DAILY: plan.Daily,
	rrule.WEEKLY: plan.Weekly, rrule.MONTHLY: plan.Monthly, rrule.YEARLY: plan.Yearly,
}

// take copies what rrule-go has read.
func (r *rule) take(o *rrule.ROption) {
	r.freq = frequencies[o.Freq]
	r.interval = max(int64(o.Interval), 1)
	r.count = int64(o.Count)
	r.weekStart = plan.Weekday(o.Wkst.Day())
	for p, list := range map[part][]int{byMonth: o.Bymonth, byWeekNo: o.Byweekno, byYearDay: o.Byyearday,
		byMonthDay: o.Bymonthday, byHour: o.Byhour, byMinute: o.Byminute, bySecond: o.Bysecond, bySetPos: o.Bysetpos} {
		if p == bySecond {
			for i, s := range list {
				list[i] = min(s, 59) // §3.3.12: no leap seconds
			}
		}
		slices.Sort(list)
		r.lists[p] = slices.Compact(list)
	}
	for i := range o.Byweekday {
		w := &o.Byweekday[i]
		r.byDay = append(r.byDay, plan.WeekdayNum{N: w.N(), Day: plan.Weekday(w.Day())})
	}
}

// readUntil tells the three forms of UNTIL apart by their length, which checkPart has verified.
func readUntil(text string, o *rrule.ROption) *until {
	_, value, _ := strings.Cut(text, "UNTIL=")
	value, _, _ = strings.Cut(value, ";")
	seconds := o.Until.Unix() // local forms are read as if in UTC: nominal seconds
	switch len(value) {
	case len("20991231"):
		return &until{plan.Date, seconds + daySeconds - 1}
	case len("20991231T235959Z"):
		return &until{plan.UTC, seconds}
	}
	return &until{plan.Zoned, seconds}
}

// check applies what RFC 5545 §3.3.10 and RFC 7529 §4.1 say of parts that stand together.
func (r *rule) check(seen map[string]bool, timesOfDay bool) error {
	freq := freqNames[r.freq]
	for p := range partCount {
		if r.has(p) && effects[p][r.freq] == none {
			return fmt.Errorf("%s is not allowed with FREQ=%s", partNames[p], freq)
		}
	}
	numeric := slices.ContainsFunc(r.byDay, func(w plan.WeekdayNum) bool { return w.N != 0 })
	others := timesOfDay
	for p := range bySetPos {
		others = others || r.has(p)
	}
	switch {
	case seen["COUNT"] && seen["UNTIL"]:
		return fmt.Errorf("COUNT and UNTIL exclude each other")
	case seen["SKIP"] && !seen["RSCALE"]:
		return fmt.Errorf("SKIP needs RSCALE=GREGORIAN")
	case numeric && r.freq < plan.Monthly:
		return fmt.Errorf("BYDAY with a number is not allowed with FREQ=%s", freq)
	case numeric && r.has(byWeekNo):
		return fmt.Errorf("BYDAY with a number is not allowed beside BYWEEKNO")
	case r.has(bySetPos) && !others:
		return fmt.Errorf("BYSETPOS needs another BY part to choose from")
	case timesOfDay && r.freq < plan.Daily:
		return fmt.Errorf("several times of day need FREQ=DAILY or longer, not %s", freq)
	case timesOfDay && (r.has(byHour) || r.has(byMinute) || r.has(bySecond)):
		return fmt.Errorf("several times of day exclude BYHOUR, BYMINUTE and BYSECOND")
	}
	return nil
}

var freqNames = [...]string{"SECONDLY", "MINUTELY", "HOURLY", "DAILY", "WEEKLY", "MONTHLY", "YEARLY"}

// ranges are those of RFC 5545 §3.3.10; a part that also counts from the end takes the same numbers negative, and
// never 0.
var ranges = map[string]struct {
	low, high int
	fromEnd   bool
}{
	"BYSECOND": {0, 60, false}, "BYMINUTE": {0, 59, false}, "BYHOUR": {0, 23, false}, "BYMONTH": {1, 12, false},
	"BYMONTHDAY": {1, 31, true}, "BYYEARDAY": {1, 366, true}, "BYWEEKNO": {1, 53, true}, "BYSETPOS": {1, 366, true},
}

// checkPart checks the form and range of one part of a rule.
func checkPart(name, value string) error {
	bad := func(want string) error { return fmt.Errorf("%s=%s: want %s", name, value, want) }
	switch name {
	case "FREQ":
		if !slices.Contains(freqNames[:], value) {
			return bad("one of " + strings.Join(freqNames[:], ", "))
		}
	case "INTERVAL", "COUNT":
		if n, ok := number(value); !ok || n < 1 {
			return bad(fmt.Sprintf("a whole number from 1 to %d", math.MaxInt32))
		}
	case "UNTIL":
		if !isUntil(value) {
			return bad("a date or date-time such as 20991231 or 20991231T235959Z")
		}
	case "WKST":
		if !isWeekday(value) {
			return bad("one of MO, TU, WE, TH, FR, SA, SU")
		}
	case "RSCALE":
		if value != "GREGORIAN" {
			return bad("GREGORIAN, the only calendar of a meal plan")
		}
	case "SKIP":
		if value != "OMIT" && value != "BACKWARD" && value != "FORWARD" {
			return bad("OMIT, BACKWARD or FORWARD")
		}
	case "BYDAY":
		for _, v := range strings.Split(value, ",") {
			if !isWeekdayNum(v) {
				return bad("weekdays such as MO, 2TU or -1FR")
			}
		}
	default:
		r, known := ranges[name]
		if !known {
			return fmt.Errorf("%s is not a part of a recurrence rule", name)
		}
		for _, v := range strings.Split(value, ",") {
			if !inRange(v, r.low, r.high, r.fromEnd) {
				return bad(rangeWords(r.low, r.high, r.fromEnd))
			}
		}
	}
	return nil
}

func rangeWords(low, high int, fromEnd bool) string {
	if fromEnd {
		return fmt.Sprintf("numbers from %d to %d or -%d to -%d", low, high, high, low)
	}
	return fmt.Sprintf("numbers from %d to %d", low, high)
}

// number reads digits without sign, up to the largest 32-bit integer: enough for every count up to End but that
// of seconds.
func number(s string) (int64, bool) {
	n, err := strconv.ParseUint(s, 10, 31)
	return int64(n), err == nil && len(s) <= 10
}

func inRange(s string, low, high int, fromEnd bool) bool {
	digits := s
	if fromEnd {
		digits = strings.TrimPrefix(strings.TrimPrefix(s, "+"), "-")
		if len(s)-len(digits) > 1 {
			return false
		}
	}
	n, ok := number(digits)
	return ok && len(digits) <= 3 && int(n) >= low && int(n) <= high
}

func isWeekday(s string) bool {
	return len(s) == 2 && strings.Contains("MO,TU,WE,TH,FR,SA,SU", s) && !strings.Contains(s, ",")
}

func isWeekdayNum(s string) bool {
	if len(s) <= 2 {
		return isWeekday(s)
	}
	return isWeekday(s[len(s)-2:]) && inRange(s[:len(s)-2], 1, 53, true)
}

func isUntil(s string) bool {
	for i, c := range s {
		switch {
		case i == 8 && c == 'T', i == 15 && c == 'Z':
		case i == 8, i == 15, c < '0', c > '9':
			return false
		}
	}
	return len(s) == 8 || len(s) == 15 || len(s) == 16
}

// offsets are the times of day of a rule of FREQ=DAILY or longer, else the times within its hour, minute or
// second: in seconds, ascending. What the rule leaves open comes from DTSTART (RFC 5545 §3.3.10), or all of it
// from at, minutes of the day.
func (r *rule) offsets(start int64, at []int) ([]int64, error) {
	if len(at) > 0 {
		out := make([]int64, len(at))
		for i, minute := range at {
			if minute < 0 || minute >= 24*60 {
				return nil, fmt.Errorf("minute %d of the day is outside 0 to 1439", minute)
			}
			out[i] = int64(minute) * 60
		}
		return ascending(out), nil
	}
	second := floorMod(start, daySeconds)
	hours := r.expanded(byHour, second/3600)
	minutes := r.expanded(byMinute, second/60%60)
	seconds := r.expanded(bySecond, second%60)
	out := make([]int64, 0, len(hours)*len(minutes)*len(seconds))
	for _, h := range hours {
		for _, m := range minutes {
			for _, s := range seconds {
				out = append(out, h*3600+m*60+s)
			}
		}
	}
	return out, nil
}

// expanded gives what part p adds to the start of a period: its list where it expands, DTSTART's own value where
// it is absent, nothing where the period itself is at most that long.
func (r *rule) expanded(p part, ofStart int64) []int64 {
	switch {
	case effects[p][r.freq] != expand:
		return []int64{0}
	case !r.has(p):
		return []int64{ofStart}
	}
	out := make([]int64, len(r.lists[p]))
	for i, v := range r.lists[p] {
		out[i] = int64(v)
	}
	return out
}
