package recur

import (
	"fmt"
	"slices"
	"strings"

	"github.com/teambition/rrule-go"

	"mealtab/compiler/plan"
)

// parseRule reads an RRULE value in upper case without white space. What RFC 5545 §3.3.10 and RFC 7529 §4.1 forbid is refused by package
// plan, where it is said once: rrule-go takes COUNT=0, INTERVAL=0, COUNT beside UNTIL and parts that the FREQ does not allow, and knows
// neither RSCALE nor SKIP. What the rule says it reads well, and it is read here from the text, not taken from plan's parser. timesOfDay
// says that times come from outside the rule.
func parseRule(text string, timesOfDay bool) (*rule, error) {
	if err := plan.CheckRule(text, timesOfDay); err != nil {
		return nil, fmt.Errorf("the rule %s: %w", text, err)
	}
	r := &rule{}
	var rest []string
	until := ""
	for _, p := range strings.Split(text, ";") {
		switch name, value, _ := strings.Cut(p, "="); name {
		case "RSCALE":
		case "SKIP":
			r.skip = map[string]plan.Skip{"BACKWARD": plan.Backward, "FORWARD": plan.Forward}[value]
		case "UNTIL":
			// A minute has no second 60 here (§3.3.12).
			if len(value) >= 15 && value[13:15] == "60" {
				value = value[:13] + "59" + value[15:]
			}
			until = value
			rest = append(rest, name+"="+value)
		default:
			rest = append(rest, p)
		}
	}
	option, err := rrule.StrToROption(strings.Join(rest, ";"))
	if err != nil {
		return nil, fmt.Errorf("the rule %s cannot be read: %v", text, err)
	}
	r.take(option)
	if until != "" {
		r.until = readUntil(until, option)
	}
	return r, nil
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

// readUntil tells the three forms of UNTIL apart by their length.
func readUntil(value string, o *rrule.ROption) *until {
	seconds := o.Until.Unix() // local forms are read as if in UTC: nominal seconds
	switch len(value) {
	case len("20991231"):
		return &until{plan.Date, seconds + daySeconds - 1}
	case len("20991231T235959Z"):
		return &until{plan.UTC, seconds}
	}
	return &until{plan.Zoned, seconds}
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
