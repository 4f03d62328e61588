package tablegen

import (
	"cmp"
	"math/rand/v2"
	"slices"

	"mealtab/compiler/table"
)

// Rule returns a random valid day rule with one to four kinds of term.
func Rule(r *rand.Rand) table.Rule {
	rule := table.Everyday()
	if chance(r, 2) {
		rule.Weekdays = uint8(1 + r.IntN(127))
	}
	for range r.IntN(4) {
		terms[r.IntN(len(terms))](r, &rule)
	}
	inOrder(&rule)
	return rule
}

// inOrder sorts the lists as the format orders them, each number once: a decoded rule is the same then.
func inOrder(t *table.Rule) {
	places := func(list []int) []int {
		slices.SortFunc(list, byPlace)
		return slices.Compact(list)
	}
	nths := func(list []table.Nth) []table.Nth {
		slices.SortFunc(list, func(a, b table.Nth) int {
			return cmp.Or(byPlace(a.N, b.N), cmp.Compare(a.Weekday, b.Weekday))
		})
		return slices.Compact(list)
	}
	t.YearDays = places(t.YearDays)
	t.NthOfMonth, t.NthOfYear = nths(t.NthOfMonth), nths(t.NthOfYear)
	if t.Weeks != nil {
		t.Weeks.Numbers = places(t.Weeks.Numbers)
	}
	if t.SetPos != nil {
		t.SetPos.Positions = places(t.SetPos.Positions)
	}
}

// byPlace orders 0, -1, 1, -2, 2 and so on.
func byPlace(a, b int) int { return cmp.Or(cmp.Compare(max(a, -a), max(b, -b)), cmp.Compare(a, b)) }

func someDay(r *rand.Rand) table.Day { return table.Day(r.IntN(int(table.MaxDay) + 1)) }

func every(r *rand.Rand, most, unit int) table.Every {
	n := 1 + r.IntN(most)
	return table.Every{N: uint32(n), Phase: uint32(r.IntN(n * unit))}
}

var terms = []func(*rand.Rand, *table.Rule){
	func(r *rand.Rand, t *table.Rule) { t.UTC = chance(r, 2) },
	func(r *rand.Rand, t *table.Rule) { t.From = someDay(r) / 2 },
	func(r *rand.Rand, t *table.Rule) { t.Until, t.HasUntil = someDay(r)/2+table.MaxDay/2, true },
	func(r *rand.Rand, t *table.Rule) { t.EveryDays = every(r, 20, 1) },
	func(r *rand.Rand, t *table.Rule) { t.EveryWeeks = every(r, 6, 7) },
	func(r *rand.Rand, t *table.Rule) { t.EveryMonth = every(r, 18, 1) },
	func(r *rand.Rand, t *table.Rule) { t.EveryYears = every(r, 5, 1) },
	func(r *rand.Rand, t *table.Rule) { t.Months = uint16(1 + r.IntN(1<<12-1)) },
	func(r *rand.Rand, t *table.Rule) { t.MonthDays.FromStart |= 1 << r.IntN(31) },
	func(r *rand.Rand, t *table.Rule) { t.MonthDays.FromEnd |= 1<<r.IntN(4) | 1<<r.IntN(31) },
	func(r *rand.Rand, t *table.Rule) { t.MonthDays.FromStart |= r.Uint32() >> 1 },
	func(r *rand.Rand, t *table.Rule) { t.NthOfMonth = append(t.NthOfMonth, nth(r, 5)) },
	func(r *rand.Rand, t *table.Rule) { t.NthOfYear = append(t.NthOfYear, nth(r, 53)) },
	func(r *rand.Rand, t *table.Rule) { t.YearDays = append(t.YearDays, nonzero(r, 366)) },
	weeks,
	setPos,
	func(r *rand.Rand, t *table.Rule) { t.Except = days(r) },
	func(r *rand.Rand, t *table.Rule) { *t = table.Everyday(); t.Dates = days(r) },
}

func nth(r *rand.Rand, most int) table.Nth {
	return table.Nth{N: r.IntN(2*most+1) - most, Weekday: r.IntN(7)}
}

func nonzero(r *rand.Rand, most int) int {
	n := 1 + r.IntN(most)
	if chance(r, 2) {
		return -n
	}
	return n
}

func weeks(r *rand.Rand, t *table.Rule) {
	k := &table.Weeks{WeekStart: pick(r, 0, 0, 6, r.IntN(7)), Every: every(r, 3, 1)}
	for range 1 + r.IntN(4) {
		k.Numbers = append(k.Numbers, pick(r, 1, -1, 53, nonzero(r, 53)))
	}
	t.Weeks = k
}

func setPos(r *rand.Rand, t *table.Rule) {
	s := &table.SetPos{Period: table.Period(r.IntN(4)), WeekStart: pick(r, 0, 0, 6, r.IntN(7))}
	most := [...]int{7, 31, 366, 366}[s.Period]
	for range 1 + r.IntN(3) {
		s.Positions = append(s.Positions, pick(r, 1, -1, 2, -2, nonzero(r, most)))
	}
	t.SetPos = s
}

func days(r *rand.Rand) []table.Day {
	var list []table.Day
	first := r.IntN(int(table.MaxDay) - 800)
	for range 1 + r.IntN(6) {
		list = append(list, table.Day(first+r.IntN(pick(r, 10, 800))))
	}
	slices.Sort(list)
	return slices.Compact(list)
}
