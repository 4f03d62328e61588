package describe

import "mealtab/compiler/plan"

// setPosDays describes BYSETPOS in one breath where the set has one time a day and its days are plain weekdays: "on
// the last weekday but one of each month".
func (d describer) setPosDays() (string, bool) {
	r := d.rule
	if len(r.BySetPos) == 0 || len(d.set.TimesOfDay()) != 1 || len(r.ByDay) == 0 || numbersIn(r.ByDay) || r.Freq < plan.Weekly ||
		len(r.ByMonthDay)+len(r.ByYearDay)+len(r.ByWeekNo) > 0 || r.Freq == plan.Yearly && len(r.ByMonth) > 0 {
		return "", false
	}
	names := plainDays(r.ByDay, false)
	noun := names[0]
	if len(names) > 1 {
		noun = "day among " + joined(names, "and")
	}
	if len(names) > 1 && isWeekend(r.ByDay) {
		noun = "weekend day"
	}
	positions := make([]string, len(r.BySetPos))
	for i, n := range fromStart(r.BySetPos) {
		positions[i] = position(n, noun)
	}
	period := map[plan.Freq]string{plan.Weekly: "week", plan.Monthly: "month", plan.Yearly: "year"}[r.Freq]
	phrase := "on " + joined(positions, "and") + " of " + every(r.Interval, period)
	if r.Freq == plan.Weekly {
		phrase += d.weeksBegin()
	}
	return phrase + d.monthsSuffix(), true
}

func isWeekend(days []plan.WeekdayNum) bool {
	return len(days) == len(weekend) && days[0].Day == weekend[0] && days[1].Day == weekend[1]
}

// setPosSuffix describes BYSETPOS where setPosDays cannot.
func (d describer) setPosSuffix() string {
	r := d.rule
	if len(r.BySetPos) == 0 {
		return ""
	}
	positions := make([]string, len(r.BySetPos))
	for i, n := range fromStart(r.BySetPos) {
		positions[i] = position(n, "time")
	}
	return ", but of these only " + joined(positions, "and") + " in " + r.Freq.Period()
}
