package replay

import (
	"math/bits"

	"mealtab/compiler/table"
)

// rule answers for a whole month at once: bit d-1 of the mask is day d.
type rule struct {
	r        *table.Rule
	utc      bool
	explicit bool // dates given one by one: a gap never drops them
	used     bool // some meal in hand refers to it
	weekdays uint64
	mask     uint32 // of the month in hand

	selected      []int // dates chosen by SetPos in the period from..to
	selectedFrom  int
	selectedValid bool
}

func newRules(list []table.Rule) []rule {
	everyday := table.Everyday()
	rules := make([]rule, 0, len(list)+1)
	rules = append(rules, newRule(&everyday))
	for i := range list {
		rules = append(rules, newRule(&list[i]))
	}
	return rules
}

func newRule(r *table.Rule) rule {
	n := rule{r: r, utc: r.UTC, explicit: len(r.Dates) > 0}
	for i := range 6 { // 31 days from any weekday
		n.weekdays |= uint64(r.Weekdays) << (7 * i)
	}
	return n
}

// month returns the dates on which every term holds.
func (n *rule) month(m *month) uint32 {
	r := n.r
	mask := n.bounds(m)
	if mask == 0 {
		return 0
	}
	if r.SetPos != nil {
		mask &= n.positions(m)
	} else {
		mask &= n.set(m)
	}
	return mask
}

// bounds are the terms that positions do not see: FROM, UNTIL, DATES, EXCEPT.
func (n *rule) bounds(m *month) uint32 {
	r := n.r
	mask := m.all()
	if r.From != 0 {
		mask &= m.run(int(r.From), 1<<20)
	}
	if r.HasUntil {
		mask &= m.run(m.first, int(r.Until)-m.first+1)
	}
	if len(r.Dates) > 0 {
		mask &= dates(m, r.Dates)
	}
	if len(r.Except) > 0 {
		mask &^= dates(m, r.Except)
	}
	return mask
}

func dates(m *month, days []table.Day) (mask uint32) {
	for _, d := range days {
		mask |= m.bit(int(d))
	}
	return mask
}

// set is the conjunction of the other terms.
func (n *rule) set(m *month) uint32 {
	r := n.r
	if r.Months != 0 && r.Months>>(m.month-1)&1 == 0 || !holds(r.EveryMonth, m.number()) || !holds(r.EveryYears, m.year-2000) {
		return 0
	}
	mask := m.all()
	if r.Weekdays != table.AnyWeekday {
		mask &= uint32(n.weekdays >> weekday(m.first))
	}
	if d := r.MonthDays; d != (table.MonthDays{}) {
		mask &= d.FromStart | bits.Reverse32(d.FromEnd)>>(32-m.length)
	}
	if mask == 0 {
		return 0
	}
	return mask & n.everies(m) & n.counted(m)
}

func holds(e table.Every, u int) bool {
	return e.N == 0 || floorMod(u, int(e.N)) == int(e.Phase)
}

// everies are EVERY_DAYS and EVERY_WEEKS.
func (n *rule) everies(m *month) uint32 {
	mask := m.all()
	if e := n.r.EveryDays; e.N > 1 {
		mask &= stride(m, int(e.N), int(e.Phase), 1)
	}
	if e := n.r.EveryWeeks; e.N > 1 {
		mask &= stride(m, 7*int(e.N), int(e.Phase), 7)
	}
	return mask
}

// stride marks runs of length dates every n dates, one of them starting at phase.
func stride(m *month, n, phase, length int) (mask uint32) {
	first := m.first - floorMod(m.first-phase, n)
	for d := first; d < m.first+m.length; d += n {
		mask |= m.run(d, length)
	}
	return mask
}

// counted are the terms that count within a month or year.
func (n *rule) counted(m *month) uint32 {
	r := n.r
	mask := m.all()
	if len(r.NthOfMonth) > 0 {
		mask &= nths(m, r.NthOfMonth, m.first, m.length)
	}
	if len(r.NthOfYear) > 0 {
		mask &= nths(m, r.NthOfYear, yearStart(m.year), yearLength(m.year))
	}
	if len(r.YearDays) > 0 {
		mask &= yearDays(m, r.YearDays)
	}
	if r.Weeks != nil {
		mask &= weeks(m, r.Weeks)
	}
	return mask
}

// nths marks the n-th weekdays of the span of length days from first.
func nths(m *month, list []table.Nth, first, length int) (mask uint32) {
	last := first + length - 1
	for _, k := range list {
		day := 0
		switch {
		case k.N == 0:
			mask |= stride(m, 7, k.Weekday-5, 1) // day 0 was a Saturday
			continue
		case k.N > 0:
			day = first + floorMod(k.Weekday-weekday(first), 7) + 7*(k.N-1)
		default:
			day = last - floorMod(weekday(last)-k.Weekday, 7) + 7*(k.N+1)
		}
		if first <= day && day <= last {
			mask |= m.bit(day)
		}
	}
	return mask
}

func yearDays(m *month, list []int) (mask uint32) {
	start, length := yearStart(m.year), yearLength(m.year)
	for _, d := range list {
		if d < 0 {
			d += length + 1
		}
		if 1 <= d && d <= length {
			mask |= m.bit(start + d - 1)
		}
	}
	return mask
}

// Days returns the dates from first to last on which a rule holds, at most limit of them.
func Days(r *table.Rule, first, last table.Day, limit int) []table.Day {
	n := newRule(r)
	var days []table.Day
	for m := monthOf(int(first)); m.first <= int(last); m.next() {
		mask := n.month(&m) & m.run(int(first), int(last)-int(first)+1)
		for ; mask != 0; mask &= mask - 1 {
			if len(days) == limit {
				return days
			}
			days = append(days, table.Day(m.first+bits.TrailingZeros32(mask)))
		}
	}
	return days
}
