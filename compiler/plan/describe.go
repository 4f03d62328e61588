package plan

import (
	"fmt"
	"slices"
	"strings"
)

// Describe says in English what a recurrence set means: which days, which times, from when, until when, and the single
// dates. Times are local in the plan's zone unless "UTC" stands beside them.
func Describe(r Recurrence) string {
	var b strings.Builder
	if r.Rule == nil {
		b.WriteString(describeSingle(r))
	} else {
		d := describer{rule: r.Rule, set: r}
		b.WriteString(d.rulePhrase())
		b.WriteString(d.bounds())
		if len(r.RDate) > 0 {
			b.WriteString(", and also on " + moments(r.RDate, r.Form))
		}
	}
	if len(r.ExDate) > 0 {
		b.WriteString(", but not on " + moments(r.ExDate, r.Form))
	}
	if len(r.ExDays) > 0 {
		b.WriteString(", but not on " + dates(r.ExDays))
	}
	return b.String()
}

// describeSingle is for sets without a rule.
func describeSingle(r Recurrence) string {
	all := append([]Local{r.Start}, r.RDate...)
	slices.SortFunc(all, Local.compare)
	all = slices.Compact(all)
	if len(all) == 1 {
		return "once, on " + moment(all[0], r.Form)
	}
	return "on " + moments(all, r.Form)
}

// shownDates is how many single dates are named; more are counted.
const shownDates = 4

func moments(list []Local, form Form) string {
	if len(list) > shownDates {
		return fmt.Sprintf("%d single dates from %s to %s", len(list), moment(list[0], form), moment(list[len(list)-1], form))
	}
	words := make([]string, len(list))
	for i, l := range list {
		words[i] = moment(l, form)
	}
	return joined(words, "and")
}

func dates(list []Local) string {
	if len(list) > shownDates {
		return fmt.Sprintf("%d whole days from %s to %s", len(list), date(list[0]), date(list[len(list)-1]))
	}
	words := make([]string, len(list))
	for i, l := range list {
		words[i] = date(l)
	}
	return joined(words, "and")
}

// date is "1 December 2026".
func date(l Local) string { return fmt.Sprintf("%d %s %d", l.Day, monthNames[l.Month-1], l.Year) }

// moment is "1 December 2026 at 07:00", with "UTC" where the form says so.
func moment(l Local, form Form) string {
	return date(l) + " at " + clockTime(l.Hour*3600+l.Minute*60+l.Second) + utcMark(form)
}

func utcMark(form Form) string {
	if form == UTC {
		return " UTC"
	}
	return ""
}

// clockTime writes seconds of the day, "07:00", or "07:00:30" where there are seconds.
func clockTime(sec int) string {
	s := fmt.Sprintf("%02d:%02d", sec/3600, sec/60%60)
	if sec%60 != 0 {
		s += fmt.Sprintf(":%02d", sec%60)
	}
	return s
}

// describer holds what the phrases of a rule are made from.
type describer struct {
	rule *Rule
	set  Recurrence
}

// rulePhrase is the days, the times and the choice among them.
func (d describer) rulePhrase() string {
	if d.rule.Freq < Daily {
		return d.stepPhrase() + d.setPosSuffix() + d.skipSuffix()
	}
	if phrase, ok := d.setPosDays(); ok {
		return phrase + d.timesPhrase() + d.skipSuffix()
	}
	return d.daysPhrase() + d.timesPhrase() + d.skipSuffix() + d.setPosSuffix()
}

// skipSuffix is what RFC 7529 does with a date that does not exist.
func (d describer) skipSuffix() string {
	switch d.rule.Skip {
	case Backward:
		return ", or the nearest earlier day where there is no such day"
	case Forward:
		return ", or the nearest later day where there is no such day"
	}
	return ""
}

// always is the start of meals that have none of their own.
var always = Local{Year: firstYear, Month: 1, Day: 1}

// bounds says from when, until when and how often. The start's time is only said where it is not a time of the meal.
func (d describer) bounds() string {
	var b strings.Builder
	start := d.set.Start
	switch {
	case start == always:
	case d.rule.Freq < Daily:
		b.WriteString(", from " + moment(start, d.set.Form))
	case d.set.Form != Date && !slices.Contains(d.times(), secondOfDay(start)) && secondOfDay(start) != 0:
		b.WriteString(", from " + moment(start, d.set.Form))
	default:
		b.WriteString(", from " + date(start))
	}
	if u := d.rule.Until; u != nil {
		if u.Form == Date {
			b.WriteString(", until " + date(u.Local))
		} else {
			b.WriteString(", until " + moment(u.Local, u.Form))
		}
	}
	b.WriteString(d.count())
	return b.String()
}

// count says what COUNT means: servings, not days.
func (d describer) count() string {
	if d.rule.Count == 0 {
		return ""
	}
	words := fmt.Sprintf(", %d servings in all", d.rule.Count)
	switch single := len(d.set.RDate)+len(d.set.ExDate)+len(d.set.ExDays) > 0; {
	case single: // they come on top, or are taken away
		words = fmt.Sprintf(", %d by the rule", d.rule.Count)
	case d.rule.Count == 1:
		return ", once"
	}
	if !d.set.Last.IsZero() {
		words += ", the last on " + moment(d.set.Last, d.set.Form)
	}
	return words
}

func secondOfDay(l Local) int { return l.Hour*3600 + l.Minute*60 + l.Second }
