package describe

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"mealtab/compiler/plan"
)

// listedTimes is how many times of day are listed where they follow no step.
const listedTimes = 12

// timesPhrase is " at 07:00 and 18:30", or ", every 20 minutes from 09:00 to 16:40".
func (d describer) timesPhrase() string {
	times, utc := d.set.TimesOfDay(), utcMark(d.set.Form)
	if step := evenStep(times); len(times) > 3 && step > 0 {
		return fmt.Sprintf(", every %s from %s to %s%s", duration(int64(step)), plan.ClockTime(times[0]), plan.ClockTime(times[len(times)-1]), utc)
	}
	if len(times) > listedTimes {
		return fmt.Sprintf(" at %d times from %s to %s%s", len(times), plan.ClockTime(times[0]), plan.ClockTime(times[len(times)-1]), utc)
	}
	words := make([]string, len(times))
	for i, t := range times {
		words[i] = plan.ClockTime(t)
	}
	return " at " + joined(words, "and") + utc
}

// evenStep is the distance of the times where it is always the same, else 0.
func evenStep(times []int) int {
	for i := 2; i < len(times); i++ {
		if times[i]-times[i-1] != times[1]-times[0] {
			return 0
		}
	}
	if len(times) < 2 {
		return 0
	}
	return times[1] - times[0]
}

// duration is "90 minutes", "2 hours", "hour".
func duration(sec int64) string {
	unit, n := "second", sec
	switch {
	case sec%3600 == 0:
		unit, n = "hour", sec/3600
	case sec%60 == 0:
		unit, n = "minute", sec/60
	}
	if n == 1 {
		return unit
	}
	return fmt.Sprintf("%d %ss", n, unit)
}

// stepPhrase is for rules that step by hours, minutes or seconds, with all the parts that limit them.
func (d describer) stepPhrase() string {
	r := d.rule
	unit := map[plan.Freq]int64{plan.Hourly: 3600, plan.Minutely: 60, plan.Secondly: 1}[r.Freq]
	phrase := "every " + duration(int64(r.Interval)*unit) // whole hours and minutes are said as such
	if len(r.ByHour) > 0 {
		phrase += " " + hoursPhrase(r.ByHour)
	}
	if len(r.ByMinute) > 0 {
		phrase += ", at " + numbered("minute", r.ByMinute)
	}
	if len(r.BySecond) > 0 && !slices.Equal(r.BySecond, []int{0}) {
		phrase += ", at " + numbered("second", r.BySecond)
	}
	if len(r.BySecond) == 1 && r.BySecond[0] == 0 && r.Freq == plan.Secondly {
		phrase += ", at second 0"
	}
	if len(r.ByDay) > 0 {
		phrase += ", on " + joined(plainDays(r.ByDay, false), "and")
	}
	if len(r.ByMonthDay) > 0 {
		phrase += ", on " + joined(monthDays(r.ByMonthDay), "and") + " of the month"
	}
	if len(r.ByYearDay) > 0 {
		phrase += ", on " + yearDays(r.ByYearDay) + " of the year"
	}
	return phrase + d.monthsSuffix()
}

// hoursPhrase is "between 07:00 and 18:59" for hours that follow each other, else "in the hours 7, 9 and 12".
func hoursPhrase(hours []int) string {
	if hours[len(hours)-1]-hours[0] == len(hours)-1 {
		return fmt.Sprintf("between %02d:00 and %02d:59", hours[0], hours[len(hours)-1])
	}
	return "in " + numbered("hour", hours)
}

// numbered is "minute 0" or "minutes 0, 20 and 40".
func numbered(noun string, list []int) string {
	words := make([]string, len(list))
	for i, n := range list {
		words[i] = strconv.Itoa(n)
	}
	if len(list) > 1 {
		noun += "s"
	}
	return noun + " " + joined(words, "and")
}

// joined joins words: "a", "a and b", "a, b and c".
func joined(words []string, last string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " " + last + " " + words[len(words)-1]
}
