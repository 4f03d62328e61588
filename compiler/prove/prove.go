// Package prove compares what a table's bytes will serve with what its plan says, serving by serving.
//
// In: encoded bytes, the plan and its zone. Out: how much was compared, or the first difference. The plan's side is
// the referee (package recur), the table's side is the replay of the decoded bytes; the two share neither the reading of
// the rules, nor the calendar, nor the zone.
package prove

import (
	"fmt"
	"strings"
	"time"

	"mealtab/compiler/plan"
	"mealtab/compiler/recur"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
	"mealtab/emulator/replay"
)

// Proof says what was compared.
type Proof struct {
	Instants      int       // distinct instants at which something is served
	From, Through table.Day // every date of this range, inclusive
}

// Difference is the first disagreement. No table that has one may be used.
type Difference struct {
	At    table.Minute
	Local time.Time // the same instant in the plan's zone
	Plan  string    // what the plan says
	Table string    // what the table would do
}

func (d *Difference) Error() string {
	return fmt.Sprintf("at %s (%s) the plan says %s, the table %s",
		d.Local.Format("2006-01-02 15:04 MST"), d.At, d.Plan, d.Table)
}

// Input is what a proof looks at.
type Input struct {
	Bytes  []byte
	Plan   *plan.Plan
	Zone   *zone.Zone
	MealOf []int // plan meal of each table meal; plan meals not listed must serve nothing in the range
	// From and Through bound the nominal dates that the table must get right, inclusive.
	From, Through table.Day
	// Progress, if set, is called now and then with the instant reached.
	Progress func(at table.Minute)
}

// Prove compares every serving of the range, and demands that the table serves nothing outside it. The error is a [*Difference], a [*table.Error] from decoding, or
// that of a rule which the referee refuses.
func Prove(in Input) (Proof, error) {
	t, err := table.Decode(in.Bytes)
	if err != nil {
		return Proof{}, err
	}
	proof := Proof{From: in.From, Through: in.Through}
	if err := amounts(&in, t); err != nil {
		return proof, err
	}
	ref, err := newReferee(&in)
	if err != nil {
		return proof, err
	}
	c := &comparison{in: &in, t: t, ref: ref, names: names(in.Plan)}
	proof.Instants, err = c.run()
	return proof, err
}

type comparison struct {
	in    *Input
	t     *table.Table
	ref   *referee
	names []string
}

func (c *comparison) run() (instants int, err error) {
	cursor := replay.New(c.t, replay.Options{Preset: replay.AllPresets, From: beforeAll})
	for {
		want, more := c.ref.next()
		got, served := cursor.Next()
		if !more && !served {
			return instants, nil
		}
		if !more || !served || want.at != got.At || !sameMeals(want.meals, got.Meals) {
			return instants, c.difference(want, more, got, served)
		}
		instants++
		if c.in.Progress != nil && instants%(1<<14) == 0 {
			c.in.Progress(got.At)
		}
	}
}

// beforeAll lies before every instant that a date from 2000 on can mean, east of UTC.
const beforeAll = -2 * table.MinutesPerDay

func sameMeals(want []int, got []replay.Share) bool {
	if len(want) != len(got) {
		return false
	}
	for i, m := range want {
		if got[i].Meal != m {
			return false
		}
	}
	return true
}

// difference describes the earlier of two servings that do not match.
func (c *comparison) difference(want due, more bool, got replay.Serving, served bool) error {
	at := want.at
	if !more || served && got.At < at {
		at = got.At
	}
	d := &Difference{At: at, Plan: "nothing", Table: "serves nothing"}
	offset := c.in.Zone.At(int64(at)*60 + table.Epoch)
	d.Local = at.Time().In(time.FixedZone(offset.Abbrev, offset.Seconds))
	if more && want.at == at {
		d.Plan = c.mealNames(want.meals)
	}
	if served && got.At == at {
		var meals []int
		for _, m := range got.Meals {
			meals = append(meals, m.Meal)
		}
		d.Table = "serves " + c.mealNames(meals)
	}
	return d
}

func (c *comparison) mealNames(meals []int) string {
	var list []string
	for _, m := range meals {
		list = append(list, fmt.Sprintf("%q", c.names[c.in.MealOf[m]]))
	}
	return strings.Join(list, " and ")
}

func names(p *plan.Plan) []string {
	list := make([]string, len(p.Meals))
	for i, m := range p.Meals {
		list[i] = m.Name
	}
	return list
}

// due is a serving as the plan has it; meals are table meals, ascending.
type due struct {
	at    table.Minute
	meals []int
}

// referee merges the sets of the meals.
type referee struct {
	sets  []*mealSet
	meals []int
}

type mealSet struct {
	cursor   *recur.InstantCursor
	from, to int64 // nominal seconds, from inclusive, to exclusive
	table    int   // table meal, or -1
	at       table.Minute
	more     bool
}

func newReferee(in *Input) (*referee, error) {
	r := &referee{}
	place := make([]int, len(in.Plan.Meals))
	for i := range place {
		place[i] = -1
	}
	for i, m := range in.MealOf {
		place[m] = i
	}
	for i := range in.Plan.Meals {
		set, err := recur.New(in.Plan.Meals[i].Set, in.Zone, in.Plan.Gap)
		if err != nil {
			return nil, fmt.Errorf("meal %q: %w", in.Plan.Meals[i].Name, err)
		}
		m := &mealSet{
			cursor: set.Instants(),
			from:   table.Epoch + int64(in.From)*86400,
			to:     table.Epoch + (int64(in.Through)+1)*86400,
			table:  place[i],
		}
		m.advance()
		if m.more && m.table < 0 {
			return nil, fmt.Errorf("meal %q is due at %s but has no place in the table", in.Plan.Meals[i].Name, m.at)
		}
		if m.more {
			r.sets = append(r.sets, m)
		}
	}
	return r, nil
}

// advance finds the meal's next instance within the table's dates.
func (m *mealSet) advance() {
	for {
		in, ok := m.cursor.Next()
		if !ok {
			m.more = false
			return
		}
		if in.Nominal < m.from || in.Nominal >= m.to {
			continue
		}
		m.at, m.more = table.Minute((in.Unix-table.Epoch)/60), true
		return
	}
}

// next returns the earliest serving; its meals are valid until the next call.
func (r *referee) next() (due, bool) {
	first := table.Minute(1<<31 - 1)
	for _, m := range r.sets {
		if m.more && m.at < first {
			first = m.at
		}
	}
	r.meals = r.meals[:0]
	for _, m := range r.sets {
		if m.more && m.at == first {
			r.meals = append(r.meals, m.table)
			m.advance()
		}
	}
	return due{first, r.meals}, len(r.meals) > 0
}
