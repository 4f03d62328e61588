// Package serving shows what a table serves, as people and programs read it: text, JSON, CSV and iCalendar.
//
// In: a table, the names of its meals where a plan is at hand, and a clock for local time. Out: servings with local time,
// offset, meals, pockets and weight.
package serving

import (
	"fmt"
	"time"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// Schedule is a table with what is known about it.
type Schedule struct {
	Table *table.Table
	Clock Clock
	Names []string // of the table's meals; empty where unknown
	Title string   // of the plan; may be empty
	Zone  string   // IANA name; empty where unknown
	// Written is the time of writing, for the revision of exported events.
	Written time.Time
}

// OfTable is the schedule of an encoded table, with its own zone and without names.
func OfTable(encoded []byte) (*Schedule, error) {
	t, err := table.Decode(encoded)
	if err != nil {
		return nil, err
	}
	return &Schedule{Table: t, Clock: newTableClock(&t.Zone)}, nil
}

// Range is a half-open range of instants.
type Range struct {
	From, To table.Minute
	// Until is the instant at which the preset ends and the first is in force again; 0: never. See [replay.PresetEnd].
	Until table.Minute
}

// Meal is one meal's part of a serving.
type Meal struct {
	Number     int    // in the table, from 1
	Name       string // may be empty
	Pockets    int    // that the wheel turns
	Milligrams int64  // that the plan says; 0: not known
}

// Serving is one dispensing.
type Serving struct {
	At     table.Minute
	Offset zone.Offset
	Meals  []Meal
}

// Local is the local time, in a location that shows the offset's name.
func (s Serving) Local() time.Time {
	return inOffset(s.At.Time(), s.Offset)
}

// Pockets is the sum over the meals.
func (s Serving) Pockets() int {
	n := 0
	for _, m := range s.Meals {
		n += m.Pockets
	}
	return n
}

// Milligrams is the sum over the meals, 0 where weights are not known.
func (s Serving) Milligrams() (mg int64) {
	for _, m := range s.Meals {
		mg += m.Milligrams
	}
	return mg
}

// beforeAll lies before every instant that a date from 2000 on can mean, east of UTC.
const beforeAll = -2 * table.MinutesPerDay

// Cursor walks through the servings of a range in one preset.
type Cursor struct {
	s    *Schedule
	r    Range
	next *replay.Cursor
}

// Walk starts before the first serving of the range. The replay always begins with the table: the remainder of portions is
// carried from serving to serving, so that the pockets of a serving would otherwise depend on where one begins to look.
func (s *Schedule) Walk(r Range, preset int) *Cursor {
	return &Cursor{s, r, replay.New(s.Table, replay.Options{From: beforeAll, To: r.To, Preset: preset, Until: r.Until})}
}

// Next returns the next serving; ok is false after the last one.
func (c *Cursor) Next() (s Serving, ok bool) {
	for {
		due, ok := c.next.Next()
		if !ok {
			return Serving{}, false
		}
		if due.At >= c.r.From {
			return c.s.serving(due), true
		}
	}
}

func (s *Schedule) serving(due replay.Serving) Serving {
	out := Serving{At: due.At, Offset: s.Clock.At(due.At.Unix()), Meals: make([]Meal, 0, len(due.Meals))}
	for _, share := range due.Meals {
		m := s.meal(share.Meal)
		m.Pockets, m.Milligrams = share.Pockets, int64(share.Units)*int64(s.Table.Wheel.UnitMg)
		out.Meals = append(out.Meals, m)
	}
	return out
}

// meal is a meal of the table by its index, without amounts.
func (s *Schedule) meal(index int) Meal {
	m := Meal{Number: index + 1}
	if index < len(s.Names) {
		m.Name = s.Names[index]
	}
	return m
}

// MealWords names the meals of a serving of which only the first, by its index in the table, and their number are known.
func (s *Schedule) MealWords(first, number int) string {
	name := s.meal(first).Label()
	if number > 1 {
		return fmt.Sprintf("%s and %d more", name, number-1)
	}
	return name
}

// End is the instant after the last serving that a table can have.
func End(t *table.Table) table.Minute {
	return (table.Minute(t.Through) + 3) * table.MinutesPerDay
}

// Take collects at most limit servings (0: all).
func (c *Cursor) Take(limit int) (list []Serving) {
	for limit == 0 || len(list) < limit {
		s, ok := c.Next()
		if !ok {
			break
		}
		list = append(list, s)
	}
	return list
}
