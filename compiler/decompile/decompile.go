// Package decompile turns an alarm table back into a plan: the way from a feeder to its owner.
//
// In: the bytes of a table and time zone data. Out: a [plan.Plan], its text in the plan language, and whether compiling it gives the
// same bytes again. Day rules become RRULE, RDATE and EXDATE of RFC 5545. What a table does not hold (names of meals and presets, the
// hopper, the zone's name) is invented or found out, and said so.
//
// Nothing is believed: every meal is lowered again and compared with the table's, and so is the whole. Where no plan is found
// that gives the same bytes, the result says which meal it is and what the plan does instead.
package decompile

import (
	"bytes"
	"fmt"
	"time"

	"mealtab/compiler/lower"
	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// Options says what is known beside the table.
type Options struct {
	Zones []string // names to try first for the table's zone
	Names []string // of the table's meals; missing ones become "meal 1", …
	// Always says that meals which are there when the table begins have always been: the table's start is that of its compilation, not
	// of its meals. Compiled for another start, such a plan gives the table for that start.
	Always bool
}

// Result is a plan made from a table.
type Result struct {
	Plan *plan.Plan
	// From is the first date to compile for: [compiler.Options.From].
	From table.Day
	// Exact says that the plan compiles to the bytes of the table.
	Exact bool
	// Zones are all names whose data are the table's zone, the chosen one first; empty: none is.
	Zones []string
	// Notes say what is not as it was: one sentence each.
	Notes []string

	unlike bool // some meal, or the zone, is not the table's
}

// Table turns a table into a plan. The error is that of [table.Decode], or says that no zone of the data can stand for the table's.
func Table(encoded []byte, db *zone.Database, o Options) (*Result, error) {
	t, err := table.Decode(encoded)
	if err != nil {
		return nil, err
	}
	r := &Result{Plan: &plan.Plan{Late: t.Late}, From: t.Start}
	z, err := r.zone(t, db, o.Zones)
	if err != nil {
		return nil, err
	}
	r.Plan.Zone = z.Name()
	if t.Zone.GapOmit {
		r.Plan.Gap = plan.GapOmit
	}
	r.head(t)
	m := &mirror{t: t, z: z, gap: r.Plan.Gap, always: o.Always}
	for i := range t.Meals {
		r.meal(m, i, o.Names)
	}
	r.presets(t)
	r.judge(encoded, t, z)
	return r, nil
}

// judge reads the plan's text as an owner's is read, compiles it, and says how far it is the table.
func (r *Result) judge(encoded []byte, t *table.Table, z *zone.Zone) {
	read, ds := reader.Parse("plan.toml", []byte(r.TOML()))
	if read == nil {
		r.Notes = append(r.Notes, "the table has something that no plan may say: "+ds[0].Message)
		return
	}
	if t.Through < table.MaxDay {
		r.unlike = true
		r.Notes = append(r.Notes, fmt.Sprintf("the table is right through %s only, because single dates did not fit the bank; compiled again, the plan goes on as far as it fits", date(t.Through)))
	}
	r.Exact = compilesTo(read, encoded, t, z)
	if !r.Exact && !r.unlike {
		r.Notes = append(r.Notes, "compiled again, the plan feeds the same but gives other bytes: the table keeps traces of what it no longer feeds (meals that are over, a first day without food)")
	}
}

// head reads what is not about meals.
func (r *Result) head(t *table.Table) {
	p := r.Plan
	p.Board = boardName(t.Board)
	if t.PresetUntil != 0 {
		p.PresetUntil = localAt(int(t.PresetUntil), 0)
	}
	if p.Board == "" {
		r.Notes = append(r.Notes, fmt.Sprintf("the table is for board %d, which has no profile in this program: name its file in board", t.Board))
	}
	w := t.Wheel
	if w.UnitMg > 0 || w.TurnMillis > 0 || w.TrimMicros != 0 {
		p.Wheel = &plan.Wheel{
			PocketMilligrams: w.PocketMg(), TurnMillis: int(w.TurnMillis), TrimMicros: int(w.TrimMicros),
		}
	}
	if t.Button != table.DefaultButton(w) {
		p.Button = &plan.Button{Portion: portion(t, t.Button.Portion), PerHour: t.Button.PerHour, PerDay: t.Button.PerDay}
	}
}

func boardName(code uint8) string {
	if b, ok := profile.ByCode(code); ok {
		return b.Name
	}
	return ""
}

// portion is an amount in the plan's terms: a weight where the pocket's is known.
func portion(t *table.Table, units uint32) plan.Portion {
	if t.Wheel.UnitMg == 0 {
		return plan.Portion{Pockets: int(units)}
	}
	return plan.Portion{Milligrams: int64(units) * int64(t.Wheel.UnitMg)}
}

// meal reads one meal: into one of the plan where that is possible, else to one for each of its parts.
func (r *Result) meal(m *mirror, i int, names []string) {
	name := fmt.Sprintf("meal %d", i+1)
	if i < len(names) && names[i] != "" {
		name = names[i]
	}
	src := &m.t.Meals[i]
	one := plan.Meal{Name: name, Portion: portion(m.t, src.Portion), Presets: src.Presets}
	if set, ok := m.set(src); ok {
		one.Set = set
		r.Plan.Meals = append(r.Plan.Meals, one)
		return
	}
	r.unlike = true
	for n := range src.Parts {
		part := one
		set, ok := m.set(&table.Meal{Portion: src.Portion, Presets: src.Presets, Parts: src.Parts[n : n+1]})
		if !ok {
			r.Notes = append(r.Notes, fmt.Sprintf("%s, part %d: no rule says what the table does; it is left out", name, n+1))
			continue
		}
		part.Set = set
		if len(src.Parts) > 1 {
			part.Name = fmt.Sprintf("%s, part %d", name, n+1)
		}
		r.Plan.Meals = append(r.Plan.Meals, part)
	}
	if len(src.Parts) > 1 {
		r.Notes = append(r.Notes, fmt.Sprintf("%s is written as a meal for each of its %d parts: no single rule gives them; where two fall on one instant, both are served", name, len(src.Parts)))
	}
}

// presets names the presets in the order in which a plan must mention them first: that of their numbers.
func (r *Result) presets(t *table.Table) {
	p := r.Plan
	if t.Presets < 2 {
		return
	}
	for i := range t.Presets {
		p.Presets = append(p.Presets, fmt.Sprintf("preset %d", i+1))
	}
	r.Notes = append(r.Notes, "the table has no names for the presets; they are numbered")
	all := uint8(1<<t.Presets - 1)
	named := uint8(0) // mentioned so far
	for i := range p.Meals {
		m := &p.Meals[i]
		if m.Presets == 0 {
			m.Presets = all
		}
		next := named | m.Presets
		if next&(next+1) != 0 { // not the lowest ones
			r.Notes = append(r.Notes, fmt.Sprintf("%s mentions a preset before those of smaller numbers, so that they are numbered otherwise", m.Name))
		}
		named = next
	}
}

func date(d table.Day) string {
	return (table.Minute(d) * table.MinutesPerDay).Time().Format(time.DateOnly)
}

// compilesTo lowers and encodes a plan and compares.
func compilesTo(p *plan.Plan, encoded []byte, t *table.Table, z *zone.Zone) bool {
	closed := true
	res, err := lower.Lower(p, z, lower.Options{
		From: t.Start, Through: table.MaxDay, Board: t.Board, Explicit: func(int) []table.Minute { closed = false; return nil },
	})
	if err != nil || !closed {
		return false
	}
	got, err := table.Encode(res.Table)
	return err == nil && bytes.Equal(got, table.WithSequence(encoded, 0))
}
