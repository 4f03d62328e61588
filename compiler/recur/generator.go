package recur

import (
	"slices"

	"mealtab/compiler/plan"
)

// periodSet is the ordered set of one period: every base plus every offset, or those that BYSETPOS picks. It is not
// multiplied out, because a year of seconds would be.
type periodSet struct {
	bases   []int64 // nominal seconds, ascending: midnights, or the one start of an hour, minute or second
	offsets []int64 // seconds to add, ascending
	picks   []int   // positions, ascending, where limited
	limited bool
	next    int
}

func (s *periodSet) size() int {
	if s.limited {
		return len(s.picks)
	}
	return len(s.bases) * len(s.offsets)
}

func (s *periodSet) done() bool { return s.next >= s.size() }

func (s *periodSet) peek() int64 {
	i := s.next
	if s.limited {
		i = s.picks[i]
	}
	return s.bases[i/len(s.offsets)] + s.offsets[i%len(s.offsets)]
}

// pick applies BYSETPOS: positions count from the start of the set or, if negative, from its end.
func (s *periodSet) pick(positions []int) {
	total := len(s.bases) * len(s.offsets)
	s.limited, s.picks = true, s.picks[:0]
	for _, p := range positions {
		if p < 0 {
			p += total + 1
		}
		if p >= 1 && p <= total {
			s.picks = append(s.picks, p-1)
		}
	}
	slices.Sort(s.picks)
	s.picks = slices.Compact(s.picks)
}

// generator walks the sets of a rule's active periods and yields their nominal times.
type generator struct {
	rule          *rule
	from          int64 // nothing earlier is yielded
	startDate     date
	startMonthDay [1]int
	offsets       []int64
	index         int64 // the next active period: a year, a month counted from year 0, the first day of a week, a day; or see clock
	clock         *clock
	days          daySet
	current       periodSet
	ahead         periodSet // the set after current, where SKIP can make the two overlap
}

// newGenerator starts at the period of the set's DTSTART and yields nothing before nominal second from.
func newGenerator(s *Set, from int64) *generator {
	r, day := s.rule, floorDiv(s.start, daySeconds)
	g := &generator{rule: r, from: from, startDate: dateOf(day), offsets: s.offsets}
	g.startMonthDay[0] = g.startDate.monthDay
	switch r.freq {
	case plan.Yearly:
		g.index = int64(g.startDate.year)
		if r.has(byWeekNo) {
			g.index = int64(weekYear(day, r.weekStart))
		}
	case plan.Monthly:
		g.index = int64(g.startDate.year)*12 + int64(g.startDate.month) - 1
	case plan.Weekly:
		g.index = weekStart(day, r.weekStart)
	case plan.Daily:
		g.index = day
	default:
		g.clock = newClock(r, s.start)
		// Every period has as many instances: if BYSETPOS picks none of one, it picks none ever.
		one := periodSet{bases: []int64{0}, offsets: g.offsets}
		one.pick(r.lists[bySetPos])
		g.clock.barren = g.clock.barren || r.has(bySetPos) && len(one.picks) == 0
	}
	if g.overlapping() {
		if r.skip == plan.Forward && r.interval == 1 {
			g.index--
		}
		g.fill(&g.ahead)
	}
	return g
}

// overlapping reports whether the set of one period can reach into the next: only days moved by SKIP do, by one day.
func (g *generator) overlapping() bool {
	return g.rule.skip != plan.Omit && g.rule.freq >= plan.Monthly
}

// next yields the nominal times in ascending order, each once, up to End.
func (g *generator) next() (int64, bool) {
	for {
		n, ok := g.step()
		if !ok || n > End {
			return 0, false
		}
		if n >= g.from {
			return n, true
		}
	}
}

func (g *generator) step() (int64, bool) {
	for g.current.done() {
		more := true
		if g.overlapping() {
			g.current, g.ahead = g.ahead, g.current
			more = g.fill(&g.ahead) || !g.current.done()
		} else {
			more = g.fill(&g.current)
		}
		if !more {
			return 0, false
		}
	}
	n := g.current.peek()
	if !g.ahead.done() {
		if m := g.ahead.peek(); m <= n {
			g.ahead.next++
			if m < n {
				return m, true
			}
		}
	}
	g.current.next++
	return n, true
}

// fill makes s the set of the next active period, which may be empty. It reports false after the last period that
// could reach End.
func (g *generator) fill(s *periodSet) bool {
	s.bases, s.offsets, s.next = s.bases[:0], g.offsets, 0
	var ok bool
	if g.clock != nil {
		s.bases, ok = g.clock.appendNext(s.bases, g)
	} else {
		ok = g.nextDays()
		if ok {
			s.bases = g.days.appendTo(s.bases)
		}
	}
	if g.rule.has(bySetPos) {
		s.pick(g.rule.lists[bySetPos])
	}
	return ok
}

// lastYear is the last whose period can hold a day up to End: SKIP=BACKWARD moves a day of 2100 into 2099, and a
// week-numbering year may begin before its calendar year.
const lastYear = 2100

// nextDays sets days to those of the next active period.
func (g *generator) nextDays() bool {
	r, i := g.rule, g.index
	switch r.freq {
	case plan.Yearly:
		if i > lastYear {
			return false
		}
		first := dayNumber(int(i), 1, 1)
		if r.has(byWeekNo) {
			first = firstWeek(int(i), r.weekStart)
		}
		g.days.reset(first)
		g.daysOfYear(int(i))
		g.index += r.interval
	case plan.Monthly:
		if i > lastYear*12 {
			return false
		}
		month := int(i%12) + 1
		s := monthSpan(int(i/12), month)
		g.days.reset(s.first)
		g.daysOfMonth(s, month)
		g.index += r.interval
	case plan.Weekly:
		if i > End/daySeconds {
			return false
		}
		g.days.reset(i)
		g.daysOfWeek(i)
		g.index += 7 * r.interval
	default:
		if i > End/daySeconds {
			return false
		}
		g.days.reset(i)
		if g.limitDay(i) {
			g.days.add(i)
		}
		g.index += r.interval
	}
	return true
}
