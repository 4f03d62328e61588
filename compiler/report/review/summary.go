package review

import (
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
)

// Summary is what a plan amounts to in one preset, from now on.
type Summary struct {
	First  int // first date counted, days since 2000-01-01
	Days   int // whole local dates counted: 52 weeks, less where the plan ends before
	Day    Amount
	Week   Amount // seven days from First on, and so on
	Hungry Stretch
	Hopper Hopper
}

// Amount is food per day or per week.
type Amount struct {
	Milligrams Spread // planned; all zero where weights are not known
	Pockets    Spread // turned
	Servings   Spread
}

// Spread is what a number ranges over.
type Spread struct {
	Least, Most, Sum int64
	Count            int
}

// Mean is the average.
func (s Spread) Mean() float64 {
	if s.Count == 0 {
		return 0
	}
	return float64(s.Sum) / float64(s.Count)
}

func (s *Spread) add(v int64) {
	if s.Count == 0 || v < s.Least {
		s.Least = v
	}
	s.Most = max(s.Most, v)
	s.Sum += v
	s.Count++
}

// Stretch is the longest time in which no pocket is turned: between two times when one is, or from the first serving, or to the last, where those
// give none.
type Stretch struct{ From, To table.Minute }

// Hopper is how long a full hopper lasts from now on.
type Hopper struct {
	Known bool         // the plan says what it holds, and what a portion weighs
	Last  table.Minute // the last serving that is whole
	Days  int          // local dates until then
	Lasts bool         // until the end of the plan, or for longer than is looked at
}

const countedDays = 52 * 7

// beforeAll lies before every instant that a date from 2000 on can mean, east of UTC.
const beforeAll = -2 * table.MinutesPerDay

// Summarize counts what is served in a preset (replay.AllPresets: in all). Days are local dates, the first of them that of
// tomorrow or of the first serving.
func Summarize(in Input, preset int) Summary {
	r := newReview(in)
	s := &summary{r: r, left: in.Plan.Hopper}
	today := dayOf(r.nominal(in.Now))
	cursor := replay.New(in.Table, replay.Options{From: beforeAll, To: r.to, Preset: preset})
	for n := 0; n < maxServings || !s.counted; {
		due, ok := cursor.Next()
		if !ok {
			s.over = true
			break
		}
		if due.At >= in.Now {
			s.add(due, today)
			n++
		}
	}
	return s.finish()
}

// summary collects a Summary.
type summary struct {
	r     *review
	out   Summary
	days  []dayAmount
	last  table.Minute // that the wheel turned, or the first serving
	due   table.Minute // the newest serving
	any   bool
	left  int64 // in the hopper, mg
	empty bool
	over  bool // the servings came to their end
	// counted says that all days have been counted: a plan that serves every minute is not cut off in the middle of them.
	counted bool
}

type dayAmount struct{ milligrams, pockets, servings int64 }

func (s *summary) add(due replay.Serving, today int) {
	mg := s.milligrams(due)
	s.hopper(due.At, mg)
	day := dayOf(s.r.nominal(due.At))
	if !s.any {
		s.out.First = max(day, today+1)
	}
	if !s.any {
		s.last = due.At
	}
	s.any, s.due = true, due.At
	if due.Pockets() > 0 {
		s.fed(due.At)
	}
	s.counted = day >= s.out.First+countedDays
	if day < s.out.First || s.counted {
		return
	}
	for len(s.days) <= day-s.out.First {
		s.days = append(s.days, dayAmount{})
	}
	d := &s.days[day-s.out.First]
	d.milligrams += mg
	d.pockets += int64(due.Pockets())
	d.servings++
}

// fed notes that food falls. A serving of no pocket ends nobody's hunger.
func (s *summary) fed(at table.Minute) {
	if at-s.last > s.out.Hungry.To-s.out.Hungry.From {
		s.out.Hungry = Stretch{s.last, at}
	}
	s.last = at
}

func (s *summary) milligrams(due replay.Serving) (mg int64) {
	for _, m := range due.Meals {
		mg += int64(m.Units) * int64(s.r.Table.Wheel.UnitMg)
	}
	return mg
}

func (s *summary) hopper(at table.Minute, mg int64) {
	if mg == 0 || s.empty || s.r.Plan.Hopper == 0 {
		return
	}
	s.out.Hopper.Known = true
	if mg > s.left {
		s.empty = true
		return
	}
	s.left -= mg
	s.out.Hopper.Last = at
}

func (s *summary) finish() Summary {
	s.fed(s.due) // up to the last serving looked at, even where it gives nothing
	if s.any && !s.over {
		for len(s.days) < countedDays {
			s.days = append(s.days, dayAmount{})
		}
	}
	// What is looked at may end within a day, of which some servings are missing then.
	if whole := dayOf(s.r.nominal(s.r.to)) - s.out.First; s.over && len(s.days) > whole {
		s.days = s.days[:max(whole, 0)]
	}
	s.out.Days = len(s.days)
	var week dayAmount
	for i, d := range s.days {
		s.out.Day.add(d)
		week.milligrams += d.milligrams
		week.pockets += d.pockets
		week.servings += d.servings
		if i%7 == 6 {
			s.out.Week.add(week)
			week = dayAmount{}
		}
	}
	h := &s.out.Hopper
	h.Lasts = h.Known && !s.empty
	if h.Known {
		h.Days = dayOf(s.r.nominal(h.Last)) - dayOf(s.r.nominal(s.r.Now))
	}
	return s.out
}

func (a *Amount) add(d dayAmount) {
	a.Milligrams.add(d.milligrams)
	a.Pockets.add(d.pockets)
	a.Servings.add(d.servings)
}
