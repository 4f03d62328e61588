// Package prove compares what a table's bytes will serve with what its plan says, serving by serving.
//
// In: encoded bytes, the plan and its zone. Out: how much was compared, or the first difference. The plan's side is
// the referee (package recur), the table's side is the replay of the decoded bytes; the two share neither the reading of
// the rules, nor the calendar, nor the zone.
package prove

import (
	"fmt"
	"math/bits"
	"strings"
	"time"

	"mealtab/compiler/plan"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
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
	until, err := presetEnd(&in, t)
	if err != nil {
		return proof, err
	}
	c := &comparison{in: &in, t: t, ref: ref, names: names(in.Plan), amount: newBalance(&in), ending: newEnding(&in, t, until)}
	proof.Instants, err = c.run()
	return proof, err
}

type comparison struct {
	in     *Input
	t      *table.Table
	ref    *referee
	names  []string
	amount balance
	ending []ending // of the presets that end
}

func (c *comparison) run() (instants int, err error) {
	stop := make(chan struct{})
	defer close(stop)
	plan := c.ref.run(stop)
	cursor := replay.New(c.t, replay.Options{Preset: replay.AllPresets, From: beforeAll})
	for {
		want, more := plan.next()
		got, served := cursor.Next()
		for i := range c.ending {
			if err := c.ending[i].compare(c, want, more); err != nil {
				return instants, err
			}
		}
		if !more && !served {
			return instants, nil
		}
		if !more || !served || want.at != got.At || want.meals != mealSetOf(got.Meals) {
			return instants, c.difference(want, more, got, served)
		}
		if !c.amount.within(got.Meals) {
			return instants, c.amount.difference(c, got)
		}
		instants++
		if c.in.Progress != nil && instants%(1<<14) == 0 {
			c.in.Progress(got.At)
		}
	}
}

// beforeAll lies before every instant that a date from 2000 on can mean, east of UTC.
const beforeAll = -2 * table.MinutesPerDay

// meals is a set of table meals, of which there are at most 64: bit i is meal i.
type meals uint64

func mealSetOf(shares []replay.Share) (set meals) {
	for _, s := range shares {
		set |= 1 << s.Meal
	}
	return set
}

// difference describes the earlier of two servings that do not match.
func (c *comparison) difference(want due, more bool, got replay.Serving, served bool) error {
	at := want.at
	if !more || served && got.At < at {
		at = got.At
	}
	d := c.at(at)
	d.Plan, d.Table = "nothing", "serves nothing"
	if more && want.at == at {
		d.Plan = c.mealNames(want.meals)
	}
	if served && got.At == at {
		d.Table = "serves " + c.mealNames(mealSetOf(got.Meals))
	}
	return d
}

// at begins the description of a difference.
func (c *comparison) at(at table.Minute) *Difference {
	offset := c.in.Zone.At(int64(at)*60 + table.Epoch)
	return &Difference{At: at, Local: at.Time().In(time.FixedZone(offset.Abbrev, offset.Seconds))}
}

func (c *comparison) mealNames(set meals) string {
	var list []string
	for ; set != 0; set &= set - 1 {
		list = append(list, fmt.Sprintf("%q", c.names[c.in.MealOf[bits.TrailingZeros64(uint64(set))]]))
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
