// Package compiler turns a checked plan into the bytes of an alarm table, proved.
//
// In: a [plan.Plan], its zone, a board. Out: bytes and the proof that they serve what the plan says, every instant
// to the end of the table's calendar. The stages are packages: plan reads, lower finds closed forms, table encodes,
// prove compares with recur.
package compiler

import (
	"fmt"

	"mealtab/compiler/lower"
	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/prove"
	"mealtab/compiler/recur"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// Options says for what and from when to compile.
type Options struct {
	Board *profile.Profile
	// From is the first date the table must answer for. It starts later where every meal does.
	From table.Day
	// Progress, if set, is called now and then during the proof with the instant reached.
	Progress func(at table.Minute)
}

// Output is a table that has been proved.
type Output struct {
	Bytes    []byte
	Table    *table.Table
	MealOf   []int // plan meal of each table meal
	Capacity int   // bytes that a bank of the board holds
	Proof    prove.Proof
	// Explicit names the plan meals carried as dates because their rule has no closed form.
	Explicit []string
}

// InternalError is a table that failed its own proof: a fault of this program. No table was written.
type InternalError struct{ Err error }

func (e *InternalError) Error() string {
	return "internal error: the table does not feed what the plan says; no table was written: " + e.Err.Error()
}

func (e *InternalError) Unwrap() error { return e.Err }

// RoomError is a plan that asks for something which the firmware of its board has no room for.
type RoomError struct {
	Board string
	table *table.Table
}

func (e *RoomError) Error() string {
	what, instead := e.table.Needs()
	return fmt.Sprintf("the plan has %s, for which the firmware of %s has no room: %s", what, e.Board, instead)
}

// Capacity is the longest table that fits a board: a bank less its commit byte.
func Capacity(b *profile.Profile) int { return min(b.BankBytes-1, table.MaxSize) }

// Compile lowers, encodes, decodes and proves. The error is a [*FitError] when the plan is too big for the board, a [*RoomError] when its
// firmware lacks something, an
// [*InternalError] when the proof fails.
func Compile(p *plan.Plan, z *zone.Zone, o Options) (*Output, error) {
	j := &job{p: p, z: z, o: o}
	res, bytes, err := j.fit()
	if err != nil {
		return nil, err
	}
	if res.Table.Version() > o.Board.TableVersion() {
		return nil, &RoomError{o.Board.Name, res.Table}
	}
	out := &Output{Bytes: bytes, Table: res.Table, MealOf: res.MealOf, Capacity: Capacity(o.Board)}
	for _, i := range res.Explicit {
		out.Explicit = append(out.Explicit, p.Meals[i].Name)
	}
	out.Proof, err = prove.Prove(prove.Input{
		Bytes: bytes, Plan: p, Zone: z, MealOf: res.MealOf,
		From: o.From, Through: res.Table.Through, Progress: o.Progress,
	})
	if err != nil {
		return nil, &InternalError{err}
	}
	return out, nil
}

type job struct {
	p   *plan.Plan
	z   *zone.Zone
	o   Options
	err error // of a referee asked for explicit dates
}

func (j *job) lower(through table.Day) (*lower.Result, []byte, error) {
	res, err := lower.Lower(j.p, j.z, lower.Options{
		From:     j.o.From,
		Through:  through,
		Board:    uint8(j.o.Board.Code),
		Explicit: func(meal int) []table.Minute { return j.instances(meal, through) },
	})
	if err != nil {
		return nil, nil, err
	}
	if j.err != nil {
		return nil, nil, j.err
	}
	if res.Table.PresetUntil > through {
		return nil, nil, fmt.Errorf("a preset is to end on %s, but the table is right through %s only: choose an earlier date, or leave it out", res.Table.PresetUntil, through)
	}
	bytes, err := table.Encode(res.Table)
	return res, bytes, err
}

// instances lists a meal's nominal times for the lowering where it has no closed form.
func (j *job) instances(meal int, through table.Day) (list []table.Minute) {
	set, err := recur.New(j.p.Meals[meal].Set, j.z, j.p.Gap)
	if err != nil {
		j.err = fmt.Errorf("meal %q: %w", j.p.Meals[meal].Name, err)
		return nil
	}
	from := table.Minute(j.o.From) * table.MinutesPerDay
	to := (table.Minute(through) + 1) * table.MinutesPerDay
	for c := set.Cursor(); ; {
		in, ok := c.Next()
		m := table.MinuteOf(in.Nominal)
		if !ok || m >= to {
			return list
		}
		if m >= from {
			list = append(list, m)
		}
	}
}
