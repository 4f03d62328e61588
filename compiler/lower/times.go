package lower

import (
	"slices"

	"mealtab/compiler/plan"
	"mealtab/compiler/table"
)

// timesOfDay are the times of a rule of DAILY or longer.
func timesOfDay(set *plan.Recurrence) []uint16 {
	var list []uint16
	if len(set.At) > 0 {
		for _, m := range set.At {
			list = append(list, uint16(m))
		}
		return list
	}
	for _, h := range orDefault(set.Rule.ByHour, set.Start.Hour) {
		for _, m := range orDefault(set.Rule.ByMinute, set.Start.Minute) {
			list = append(list, uint16(h*60+m))
		}
	}
	return list
}

func orDefault(list []int, value int) []int {
	if list == nil {
		return []int{value}
	}
	return list
}

// dateRules are the pieces of a rule of DAILY or longer, before bounds and exceptions.
func dateRules(set *plan.Recurrence) (pieces []piece, closed bool) {
	r := set.Rule
	rules, closed := dayRules(r, dayNumber(set.Start))
	if !closed || rules == nil {
		return nil, closed
	}
	times := timesOfDay(set)
	if r.BySetPos == nil {
		for _, rule := range rules {
			pieces = append(pieces, piece{rule, table.Times{List: times}})
		}
		return pieces, true
	}
	return positions(rules[0], times, r), true
}

// positions applies BYSETPOS. Its positions count date-times, and every date has the same times, so a position is
// a date of the period and a time of the day; times that share their dates stay together.
func positions(rule table.Rule, times []uint16, r *plan.Rule) []piece {
	ofTime := make([][]int, len(times))
	for _, p := range r.BySetPos {
		date, time := splitPosition(p, len(times))
		ofTime[time] = append(ofTime[time], date)
	}
	var pieces []piece
	for i, dates := range ofTime {
		if r.Freq == plan.Daily { // the period is one date
			if !slices.Contains(dates, 1) && !slices.Contains(dates, -1) {
				continue
			}
			dates = nil
		} else if dates == nil {
			continue
		}
		pieces = addTime(pieces, withPositions(rule, dates, r), times[i])
	}
	return pieces
}

// splitPosition turns the p-th of dates × perDate date-times into the position of its date and the index of its time.
func splitPosition(p, perDate int) (date, time int) {
	if p > 0 {
		return (p-1)/perDate + 1, (p - 1) % perDate
	}
	p = -p - 1
	return -(p/perDate + 1), perDate - 1 - p%perDate
}

func withPositions(rule table.Rule, dates []int, r *plan.Rule) table.Rule {
	if dates == nil {
		return rule
	}
	slices.Sort(dates)
	rule.SetPos = &table.SetPos{Period: period(r), Positions: slices.Compact(dates)}
	if p := rule.SetPos.Period; p == table.PeriodWeek || p == table.PeriodWeekYear {
		rule.SetPos.WeekStart = int(r.WeekStart)
	}
	return nthInstead(rule)
}

func period(r *plan.Rule) table.Period {
	switch {
	case r.Freq == plan.Weekly:
		return table.PeriodWeek
	case r.Freq == plan.Monthly:
		return table.PeriodMonth
	case r.ByWeekNo != nil:
		return table.PeriodWeekYear
	}
	return table.PeriodYear
}

// nthInstead writes "the n-th of all Fridays of the month" as "the n-th Friday": one byte less, and less to search.
func nthInstead(rule table.Rule) table.Rule {
	day, one := singleBit(rule.Weekdays)
	if !one || rule.SetPos.Period != table.PeriodMonth || rule.MonthDays != (table.MonthDays{}) ||
		rule.NthOfMonth != nil || rule.NthOfYear != nil {
		return rule
	}
	var nths []table.Nth
	for _, p := range rule.SetPos.Positions {
		if -5 <= p && p <= 5 {
			nths = append(nths, table.Nth{N: p, Weekday: day})
		}
	}
	if nths == nil {
		return rule
	}
	rule.NthOfMonth, rule.SetPos, rule.Weekdays = nths, nil, table.AnyWeekday
	return rule
}

func singleBit(mask uint8) (bit int, one bool) {
	for bit = range 7 {
		if mask == 1<<bit {
			return bit, true
		}
	}
	return 0, false
}

// addTime adds a time to the piece with the same rule, or a new piece.
func addTime(pieces []piece, rule table.Rule, minute uint16) []piece {
	key := string(table.EncodeRule(&rule))
	for i := range pieces {
		if p := &pieces[i]; p.times.Cycle == nil && string(table.EncodeRule(&p.rule)) == key {
			at, found := slices.BinarySearch(p.times.List, minute)
			if !found {
				p.times.List = slices.Insert(slices.Clip(p.times.List), at, minute)
			}
			return pieces
		}
	}
	return append(pieces, piece{rule, table.Times{List: []uint16{minute}}})
}
