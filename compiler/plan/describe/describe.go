// Package describe says in English what a recurrence set means.
//
// In: a [plan.Recurrence]. Out: its days, times, bounds and single dates as part of a sentence.
package describe

import (
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/plan"
)

// Set says in English what a recurrence set means: which days, which times, from when, until when, and the single
// dates. Times are local in the plan's zone unless "UTC" stands beside them.
func Set(r plan.Recurrence) string {
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
func describeSingle(r plan.Recurrence) string {
	all := append([]plan.Local{r.Start}, r.RDate...)
	slices.SortFunc(all, plan.Local.Compare)
	all = slices.Compact(all)
	if len(all) == 1 {
		return "once, on " + all[0].InWords(r.Form)
	}
	return "on " + moments(all, r.Form)
}

// shownDates is how many single dates are named; more are counted.
const shownDates = 4

func moments(list []plan.Local, form plan.Form) string {
	if len(list) > shownDates {
		return fmt.Sprintf("%d single dates from %s to %s", len(list), list[0].InWords(form), list[len(list)-1].InWords(form))
	}
	words := make([]string, len(list))
	for i, l := range list {
		words[i] = l.InWords(form)
	}
	return joined(words, "and")
}

func dates(list []plan.Local) string {
	if len(list) > shownDates {
		return fmt.Sprintf("%d whole days from %s to %s", len(list), list[0].DayInWords(), list[len(list)-1].DayInWords())
	}
	words := make([]string, len(list))
	for i, l := range list {
		words[i] = l.DayInWords()
	}
	return joined(words, "and")
}

func utcMark(form plan.Form) string {
	if form == plan.UTC {
		return " UTC"
	}
	return ""
}

// describer holds what the phrases of a rule are made from.
type describer struct {
	rule *plan.Rule
	set  plan.Recurrence
}

// rulePhrase is the days, the times and the choice among them.
func (d describer) rulePhrase() string {
	if d.rule.Freq < plan.Daily {
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
	case plan.Backward:
		return ", or the nearest earlier day where there is no such day"
	case plan.Forward:
		return ", or the nearest later day where there is no such day"
	}
	return ""
}

// always is the start of meals that have none of their own.
var always = plan.Local{Year: plan.FirstYear, Month: 1, Day: 1}

// bounds says from when, until when and how often. The start's time is only said where it is not a time of the meal.
func (d describer) bounds() string {
	var b strings.Builder
	start := d.set.Start
	switch {
	case start == always:
	case d.rule.Freq < plan.Daily:
		b.WriteString(", from " + start.InWords(d.set.Form))
	case d.set.Form != plan.Date && !slices.Contains(d.set.TimesOfDay(), secondOfDay(start)) && secondOfDay(start) != 0:
		b.WriteString(", from " + start.InWords(d.set.Form))
	default:
		b.WriteString(", from " + start.DayInWords())
	}
	if u := d.rule.Until; u != nil {
		if u.Form == plan.Date {
			b.WriteString(", until " + u.Local.DayInWords())
		} else {
			b.WriteString(", until " + u.Local.InWords(u.Form))
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
		words += ", the last on " + d.set.Last.InWords(d.set.Form)
	}
	return words
}

func secondOfDay(l plan.Local) int { return l.Hour*3600 + l.Minute*60 + l.Second }
