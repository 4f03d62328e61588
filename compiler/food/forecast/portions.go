package forecast

import (
	"time"

	"mealtab/compiler/replay"
	"mealtab/compiler/units"
)

// Portions is what the wheel gives against what the plan says.
type Portions struct {
	Pocket units.Milligrams // 0: not known; then masses are 0
	Meals  []Amounts        // by meal of the table
	Day    Amounts          // per local date
	Month  Amounts          // per calendar month
	// Worst is the largest distance of the running total from the plan, in tenths of a mass unit: at most half a pocket.
	Worst, HalfPocket int64
}

// Amounts compares one kind of amount.
type Amounts struct {
	Planned Span                // of the plan
	Given   Span                // by the wheel
	Pockets [2]int              // least and most
	Total   [2]units.Milligrams // planned and given, all together
	Count   int
}

// Span is the least and the most.
type Span struct{ Least, Most units.Milligrams }

func (s *Span) add(v units.Milligrams, first bool) {
	if first || v < s.Least {
		s.Least = v
	}
	if first || v > s.Most {
		s.Most = v
	}
}

func (a *Amounts) add(planned, given units.Milligrams, pockets int) {
	first := a.Count == 0
	a.Planned.add(planned, first)
	a.Given.add(given, first)
	if first || pockets < a.Pockets[0] {
		a.Pockets[0] = pockets
	}
	if first || pockets > a.Pockets[1] {
		a.Pockets[1] = pockets
	}
	a.Total[0] += planned
	a.Total[1] += given
	a.Count++
}

// span collects what falls into one day or month.
type span struct {
	key     int
	planned units.Milligrams
	pockets int
	open    bool
	partial bool // it began before the count did
}

// Compare counts the servings of the next days (whole local dates, from tomorrow on).
func Compare(in Input, days int) Portions {
	p := Portions{Pocket: pocket(in.Table), Meals: make([]Amounts, len(in.Table.Meals))}
	c := comparing{in: in, out: &p, first: in.day(in.From) + 1}
	c.last = c.first + days
	c.pocketTenths = 10 * int64(in.Table.Wheel.PocketUnits)
	p.HalfPocket = c.pocketTenths / 2
	in.walk(c.serving)
	c.close(&c.today, &p.Day)
	return p
}

type comparing struct {
	in            Input
	out           *Portions
	first, last   int // local dates
	today, month  span
	pocketTenths  int64
	planned, done int64 // running totals, tenths of a mass unit
}

func (c *comparing) serving(s replay.Serving) bool {
	day := c.in.day(s.At)
	if day >= c.last {
		return false
	}
	counts := day >= c.first
	if counts {
		c.turnOver(day)
	}
	adjust := int64(c.in.Adjust)
	if adjust == 0 {
		adjust = 10
	}
	for _, m := range s.Meals {
		tenths := int64(m.Units) * adjust
		c.planned += tenths
		c.done += int64(m.Pockets) * c.pocketTenths
		c.out.Worst = max(c.out.Worst, c.planned-c.done, c.done-c.planned)
		if !counts {
			continue
		}
		planned := units.Milligrams(tenths * int64(c.in.Table.Wheel.UnitMg) / 10)
		c.out.Meals[m.Meal].add(planned, units.Milligrams(m.Pockets)*c.out.Pocket, m.Pockets)
		c.today.planned += planned
		c.today.pockets += m.Pockets
		c.month.planned += planned
		c.month.pockets += m.Pockets
	}
	return true
}

// turnOver closes the days and months that are over.
func (c *comparing) turnOver(day int) {
	date := time.Date(2000, 1, 1+day, 0, 0, 0, 0, time.UTC)
	month := date.Year()*12 + int(date.Month())
	if c.month.key != month {
		if c.month.open && !c.month.partial {
			c.close(&c.month, &c.out.Month)
		}
		begins := time.Date(2000, 1, 1+c.first, 0, 0, 0, 0, time.UTC)
		c.month = span{key: month, open: true, partial: !c.month.open && begins.Day() != 1}
	}
	if c.today.key != day || !c.today.open {
		for fasting := c.today.key + 1; c.today.open && fasting < day; fasting++ {
			c.out.Day.add(0, 0, 0)
		}
		c.close(&c.today, &c.out.Day)
		c.today = span{key: day, open: true}
	}
}

func (c *comparing) close(s *span, to *Amounts) {
	if s.open {
		to.add(s.planned, units.Milligrams(s.pockets)*c.out.Pocket, s.pockets)
	}
	s.open = false
}
