package replay

import (
	"math/bits"

	"mealtab/compiler/table"
)

// weekYear returns the first day of week 1 of a week-numbering year and its number of weeks.
func weekYear(year, weekStart int) (first, weeks int) {
	first = weekOne(year, weekStart)
	return first, (weekOne(year+1, weekStart) - first) / 7
}

// weekOne starts the first week with at least four days in the year: the one that holds 4 January.
func weekOne(year, weekStart int) int {
	fourth := yearStart(year) + 3
	return fourth - floorMod(weekday(fourth)-weekStart, 7)
}

// weekYearOf is the week-numbering year to which a date belongs.
func weekYearOf(day, weekStart int) int {
	year := yearOf(day)
	switch {
	case day < weekOne(year, weekStart):
		return year - 1
	case day >= weekOne(year+1, weekStart):
		return year + 1
	}
	return year
}

// weeks marks the days of the numbered weeks of the one or two week years that reach into the month.
func weeks(m *month, k *table.Weeks) (mask uint32) {
	last := weekYearOf(m.first+m.length-1, k.WeekStart)
	for year := weekYearOf(m.first, k.WeekStart); year <= last; year++ {
		if !holds(k.Every, year-2000) {
			continue
		}
		first, count := weekYear(year, k.WeekStart)
		for _, w := range k.Numbers {
			if w < 0 {
				w += count + 1
			}
			if 1 <= w && w <= count {
				mask |= m.run(first+7*(w-1), 7)
			}
		}
	}
	return mask
}

// positions marks the dates that SetPos chooses, in every period that reaches into the month.
func (n *rule) positions(m *month) (mask uint32) {
	if n.r.SetPos.Period == table.PeriodMonth {
		return choose(n.set(m), n.r.SetPos.Positions)
	}
	for day := m.first; day < m.first+m.length; {
		from, to := period(n.r.SetPos, day)
		if !n.selectedValid || n.selectedFrom != from {
			n.selectDates(from, to)
		}
		for _, d := range n.selected {
			mask |= m.bit(d)
		}
		day = to
	}
	return mask
}

// choose keeps the set bits at some positions, negative ones from the top.
func choose(set uint32, positions []int) (mask uint32) {
	count := bits.OnesCount32(set)
	for _, p := range positions {
		if p < 0 {
			p += count + 1
		}
		if p < 1 || p > count {
			continue
		}
		rest := set
		for ; p > 1; p-- {
			rest &= rest - 1
		}
		mask |= rest & -rest
	}
	return mask
}

// period returns the first day of the week or year of a date, and the first day after it.
func period(s *table.SetPos, day int) (from, to int) {
	switch s.Period {
	case table.PeriodWeek:
		from = day - floorMod(weekday(day)-s.WeekStart, 7)
		return from, from + 7
	case table.PeriodYear:
		from = yearStart(yearOf(day))
		return from, from + yearLength(yearOf(day))
	}
	first, weeks := weekYear(weekYearOf(day, s.WeekStart), s.WeekStart)
	return first, first + 7*weeks
}

func (n *rule) selectDates(from, to int) {
	n.selectedFrom, n.selectedValid = from, true
	var days [371]int // the longest period, 53 weeks
	count := 0
	for m := monthOf(from); m.first < to; m.next() {
		for mask := n.set(&m) & m.run(from, to-from); mask != 0; mask &= mask - 1 {
			days[count] = m.first + bits.TrailingZeros32(mask)
			count++
		}
	}
	n.selected = n.selected[:0]
	for _, p := range n.r.SetPos.Positions {
		if p < 0 {
			p += count + 1
		}
		if 1 <= p && p <= count {
			n.selected = append(n.selected, days[p-1])
		}
	}
}
