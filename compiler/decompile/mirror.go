package decompile

import (
	"slices"

	"mealtab/compiler/lower"
	"mealtab/compiler/plan"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// mirror finds recurrence sets by trying: it proposes some, has them lowered, and keeps the one whose reflection is the meal.
type mirror struct {
	t   *table.Table
	z   *zone.Zone
	gap plan.Gap

	always bool // see Options.Always
}

// set finds a recurrence set that lowers to exactly the parts of a meal.
func (m *mirror) set(meal *table.Meal) (plan.Recurrence, bool) {
	s, ok := m.sort(meal)
	if !ok {
		return plan.Recurrence{}, false
	}
	for _, set := range s.proposals() {
		if m.reflects(set, meal) {
			return set, true
		}
	}
	return plan.Recurrence{}, false
}

// reflects reports whether a set lowers to the parts of a meal. A second meal that has always been keeps the table's start where it is.
func (m *mirror) reflects(set plan.Recurrence, meal *table.Meal) bool {
	always := plan.Recurrence{Start: localAt(0, 0), Rule: &plan.Rule{Freq: plan.Daily, Interval: 1}}
	p := &plan.Plan{Gap: m.gap, Meals: []plan.Meal{
		{Portion: plan.Portion{Pockets: 1}, Set: set}, {Portion: plan.Portion{Pockets: 1}, Set: always},
	}}
	closed := true
	res, err := lower.Lower(p, m.z, lower.Options{
		From: m.t.Start, Through: m.t.Through, Explicit: func(int) []table.Minute { closed = false; return nil },
	})
	if err != nil || !closed || len(res.MealOf) != 2 {
		return false
	}
	return slices.EqualFunc(res.Table.Meals[0].Parts, meal.Parts, func(a, b table.Part) bool {
		return ruleKey(ruleOf(res.Table, a)) == ruleKey(ruleOf(m.t, b)) && sameTimes(a.Times, b.Times)
	})
}

// ruleOf is a part's rule.
func ruleOf(t *table.Table, p table.Part) table.Rule {
	if p.Rule == 0 {
		return table.Everyday()
	}
	return t.Rules[p.Rule-1]
}

func ruleKey(r table.Rule) string { return string(table.EncodeRule(&r)) }

func sameTimes(a, b table.Times) bool {
	if a.Cycle != nil || b.Cycle != nil {
		return a.Cycle != nil && b.Cycle != nil && *a.Cycle == *b.Cycle
	}
	return slices.Equal(a.List, b.List)
}

// piece is a part with its rule.
type piece struct {
	rule  table.Rule
	times table.Times
}

// sorted is a meal taken apart: what a rule gives, and single dates.
type sorted struct {
	*mirror
	utc   bool
	rules []piece // without UTC
	dates []piece // rules that are nothing but DATES
	core  table.Rule
	all   []int // times of day of the rules, ascending
	cycle *table.Cycle
}

// sort takes a meal apart; false: it is not what a single set gives.
func (m *mirror) sort(meal *table.Meal) (*sorted, bool) {
	s := &sorted{mirror: m}
	for i, part := range meal.Parts {
		r := ruleOf(m.t, part)
		if i > 0 && r.UTC != s.utc {
			return nil, false
		}
		s.utc, r.UTC = r.UTC, false
		if len(r.Dates) > 0 {
			plain := table.Everyday()
			plain.Dates = r.Dates
			if ruleKey(plain) != ruleKey(r) || part.Times.Cycle != nil {
				return nil, false
			}
			s.dates = append(s.dates, piece{r, part.Times})
			continue
		}
		s.rules = append(s.rules, piece{r, part.Times})
		if part.Times.Cycle != nil {
			s.cycle = part.Times.Cycle
		}
		for _, minute := range part.Times.List {
			s.all = append(s.all, int(minute))
		}
	}
	slices.Sort(s.all)
	s.all = slices.Compact(s.all)
	if len(s.rules) > 0 {
		s.core = unbounded(s.rules[0].rule)
	}
	return s, true
}

// unbounded is a rule without what DTSTART, UNTIL and EXDATE add.
func unbounded(r table.Rule) table.Rule {
	r.From, r.Until, r.HasUntil, r.Except = 0, 0, false, nil
	return r
}

// form is that of the set's values.
func (s *sorted) form() plan.Form {
	if s.utc {
		return plan.UTC
	}
	return plan.Zoned
}

// proposals are sets that may be the meal, the likeliest first.
func (s *sorted) proposals() []plan.Recurrence {
	if len(s.rules) == 0 {
		return s.onlyDates()
	}
	exDates, exDays, kept := s.exceptions()
	rdates := s.singleDates(kept)
	var list []plan.Recurrence
	for _, r := range s.ruleProposals() {
		for _, start := range s.starts() {
			for _, until := range s.untils() {
				rule := *r
				rule.Until = until
				rule.Text = rule.String()
				set := plan.Recurrence{Form: s.form(), Start: start, Rule: &rule, RDate: rdates, ExDate: exDates, ExDays: exDays}
				if s.cycle == nil {
					set.At = s.at(&rule, start)
				}
				list = append(list, set)
			}
		}
	}
	return list
}

// at lists the times of day where DTSTART does not say them.
func (s *sorted) at(rule *plan.Rule, start plan.Local) []int {
	if len(rule.ByHour) > 0 || len(s.all) == 1 && s.all[0] == start.Hour*60+start.Minute {
		return nil
	}
	return s.all
}

// onlyDates are sets without a rule, and then, because a rule that soon ends is lowered to its dates, rules for the first parts.
func (s *sorted) onlyDates() []plan.Recurrence {
	list := s.singleDates(nil)
	if len(list) == 0 {
		return nil
	}
	sets := []plan.Recurrence{{Form: s.form(), Start: list[0], RDate: list}}
	for n := len(s.dates); n > 0; n-- {
		sets = append(sets, s.shortRule(n))
	}
	return sets
}

// shortRule says the dates of the first n parts by a daily rule with exceptions, and the others as RDATE.
func (s *sorted) shortRule(n int) plan.Recurrence {
	first, rest := &sorted{dates: s.dates[:n]}, &sorted{dates: s.dates[n:]}
	given := first.moments()
	start, until := given[0], given[len(given)-1]
	rule := &plan.Rule{Freq: plan.Daily, Interval: max(step(given), 1)}
	rule.Until = &plan.Until{Form: s.form(), Local: localAt(until.day, until.minute)}
	rule.Text = rule.String()
	set := plan.Recurrence{Form: s.form(), Start: localAt(start.day, start.minute), Rule: rule, RDate: locals(rest.moments())}
	var missing []moment
	times := timesOf(given)
	for d := start.day; d <= until.day; d += rule.Interval {
		for _, m := range times {
			at := moment{d, m}
			if i, found := slices.BinarySearchFunc(given, at, moment.compare); !found && 0 < i && i < len(given) {
				missing = append(missing, at)
			}
		}
	}
	set.ExDate = locals(missing)
	if len(times) > 1 {
		set.At = times
	}
	return set
}

// step is the largest number of days of which all distances are multiples.
func step(list []moment) (days int) {
	for _, m := range list {
		days = gcd(m.day-list[0].day, days)
	}
	return days
}

func timesOf(list []moment) (times []int) {
	for _, m := range list {
		times = append(times, m.minute)
	}
	slices.Sort(times)
	return slices.Compact(times)
}

// moments are those of the single dates, ascending.
func (s *sorted) moments() (list []moment) {
	for _, p := range s.dates {
		for _, d := range p.rule.Dates {
			for _, minute := range p.times.List {
				list = append(list, moment{int(d), int(minute)})
			}
		}
	}
	slices.SortFunc(list, moment.compare)
	return slices.Compact(list)
}

// singleDates lists the dates with their times, less those that a rule's exceptions have left over.
func (s *sorted) singleDates(kept map[moment]bool) []plan.Local {
	return locals(slices.DeleteFunc(s.moments(), func(m moment) bool { return kept[m] }))
}
