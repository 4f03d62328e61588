package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"mealtab/cmd/mealtab/internal/known"
	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/prose"
	"mealtab/compiler/replay"
	"mealtab/compiler/report/history"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/emulator/board"
	"mealtab/emulator/scenario"
)

// diary tells what an emulated board does as its owner would see it: meals, and not wires. It counts, for the summary.
type diary struct {
	b       *board.Board
	log     *scenario.Log
	m       table.Map
	began   time.Time
	last    table.Journal // of the newest turn
	turned  bool          // there was one
	meals   map[string]int
	order   []string // of their names
	manual  int
	pockets int
	mg      int64
}

func newDiary(b *board.Board, log *scenario.Log) *diary {
	m, _ := table.MapFor(len(b.MCU().EEPROM()))
	return &diary{b: b, log: log, m: m, began: b.Now(), meals: map[string]int{}}
}

func (d *diary) add(e board.Event) {
	switch e.Kind {
	case board.ClockInt, board.ServoSupply: // what they are for is told
		return
	case board.TurnStarted:
		d.turns(d.b.Time(e.At))
	case board.PocketFell:
		d.pockets++
		d.mg += e.Value
	}
	d.log.Add(d.b.Time(e.At), e)
}

// turns says why the wheel turns: the newest record of the firmware's journal has what it means to serve.
func (d *diary) turns(at time.Time) {
	j, ok := table.NewestJournal(d.b.MCU().EEPROM(), d.m)
	if !ok {
		return
	}
	again := d.turned && j.Kind == d.last.Kind && (j.Sequence == d.last.Sequence || j.Kind == table.JournalServing && j.Cursor == d.last.Cursor)
	d.last, d.turned = j, true
	if again {
		return // another attempt
	}
	switch j.Kind {
	case table.JournalServing:
		name := strings.Join(d.mealsAt(j.Cursor, j.Preset), " and ")
		if name == "" {
			name = "a meal"
		}
		if d.meals[name] == 0 {
			d.order = append(d.order, name)
		}
		d.meals[name]++
		d.log.Say(at, fmt.Sprintf("%s is due: %s", name, units.Count(j.Pockets, "pocket")))
	case table.JournalManual:
		d.manual++
		d.log.Say(at, "asked for by hand: "+units.Count(j.Pockets, "pocket"))
	}
}

// inForce is the table in force as a schedule, with names where they are known; nil: there is none.
func (d *diary) inForce() *serving.Schedule {
	e := d.b.MCU().EEPROM()
	var newest *serving.Schedule
	for bank := range table.BankCount {
		if e[d.m.Bank(bank)] != table.Committed {
			continue
		}
		room := e[d.m.TableOffset(bank):][:d.m.TableRoom()]
		size, err := table.Length(room)
		if err != nil || size > len(room) {
			continue
		}
		held, err := serving.OfTable(room[:size])
		if err != nil || newest != nil && int8(held.Table.Sequence-newest.Table.Sequence) < 0 {
			continue
		}
		if n, ok := known.Of(room[:size]); ok {
			held.Names, held.Title = n.Meals, n.Plan
		}
		newest = held
	}
	return newest
}

// mealsAt are the names of the meals of a minute, or their numbers.
func (d *diary) mealsAt(at table.Minute, preset int) (list []string) {
	held := d.inForce()
	if held == nil {
		return nil
	}
	due, ok := held.Walk(serving.Range{From: at, To: at + 1}, preset).Next()
	if !ok {
		return nil
	}
	for _, m := range due.Meals {
		list = append(list, held.MealWords(m.Number-1, 1))
	}
	return list
}

// summary is what happened from the beginning on, and what comes next.
func (d *diary) summary() string {
	var b strings.Builder
	var served []string
	slices.Sort(d.order)
	for _, name := range d.order {
		served = append(served, times(name, d.meals[name]))
	}
	if d.manual > 0 {
		served = append(served, times("by hand", d.manual))
	}
	if len(served) == 0 {
		served = []string{"nothing was served"}
	}
	fmt.Fprintf(&b, "in %s: %s; %s fell, %s\n", units.Span(d.b.Now().Sub(d.began).Round(time.Second)), strings.Join(served, ", "),
		units.Count(d.pockets, "pocket"), units.Milligrams(d.mg).Tenths())
	j, ok := table.NewestJournal(d.b.MCU().EEPROM(), d.m)
	if ok && j.Faults != 0 {
		b.WriteString(prose.Wrap("shown until acknowledged: ", history.Faults(j.Faults)))
	}
	held := d.inForce()
	if held == nil {
		b.WriteString("it has no plan: mealtab upload puts one on it\n")
		return b.String()
	}
	now := moment.Minute(d.b.Now())
	if next, ok := held.Walk(serving.Range{From: now + 1, To: serving.End(held.Table), Until: replay.PresetEndAfter(held.Table, j.Cursor)}, j.Preset).Next(); ok {
		names := make([]string, len(next.Meals))
		for i, m := range next.Meals {
			names[i] = held.MealWords(m.Number-1, 1)
		}
		fmt.Fprintf(&b, "next would be %s at %s\n", strings.Join(names, " and "), serving.Local(held.Clock, next.At.Time()).Format(serving.TimeLayout))
	}
	return b.String()
}

// times is "breakfast once", "breakfast 3 times".
func times(what string, n int) string {
	if n == 1 {
		return what + " once"
	}
	return fmt.Sprintf("%s %d times", what, n)
}
