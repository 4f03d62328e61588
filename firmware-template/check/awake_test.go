package check

import (
	"testing"
	"time"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
)

// BenchmarkAwake is what a day of six meals costs a board's processor: cycles awake of one 15-minute check, its wait for the bus included
// (93 bits of it), and of a serving, the waits for the EEPROM, the memory and the supply included; and how long it is awake in the day.
func BenchmarkAwake(b *testing.B) {
	for _, p := range profile.Boards() {
		b.Run(p.Name, func(b *testing.B) {
			var a awake
			for b.Loop() {
				a = awakeDay(b, p)
			}
			b.ReportMetric(float64(a.check)/float64(a.checks), "cycles/check")
			b.ReportMetric(float64(a.serving)/float64(a.servings), "cycles/serving")
			b.ReportMetric(a.all.Seconds(), "s-awake/day")
		})
	}
}

// awake counts cycles executed between two sleeps, by what came of it.
type awake struct {
	checks, servings int
	check, serving   uint64
	all              time.Duration
}

func awakeDay(t testing.TB, p *profile.Profile) (a awake) {
	day := table.Times{List: []uint16{360, 540, 720, 900, 1080, 1260}}
	encoded, err := table.Encode(&table.Table{
		Board: p.Code, Start: 9830, Through: table.MaxDay, Late: table.DefaultLate,
		Wheel:  table.Wheel{PocketUnits: 31, UnitMg: 200, TurnMillis: 310},
		Button: table.Button{Portion: 31, PerHour: 2},
		Meals:  []table.Meal{{Portion: 60, Parts: []table.Part{{Times: day}}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	b := newBoardWith(t, p.Name, 0, true)
	if err := b.Program(encoded); err != nil {
		t.Fatal(err)
	}
	b.SetClock(boardStart)
	var from, sum uint64
	turned := false
	b.Observe(func(e board.Event) {
		switch {
		case e.Kind == board.PocketFell:
			turned = true
		case e.Kind == board.Asleep && e.Value == 0:
			from = b.MCU().Cycle()
		case e.Kind == board.Asleep:
			sum += b.MCU().Cycle() - from
			if b.MCU().Peek(avr.SMCR)>>1 != 0 { // not while the wheel turns, in idle
				a.count(sum, turned)
				sum, turned = 0, false
			}
		}
	})
	b.PowerOn()
	b.Run(time.Hour)
	a = awake{}
	a.all = awakeFor(b, 24*time.Hour)
	return a
}

// count adds what was executed between two power-downs. A nap is a few dozen cycles; what is long without a serving is the
// daily heartbeat.
func (a *awake) count(cycles uint64, turned bool) {
	switch {
	case turned:
		a.servings++
		a.serving += cycles
	case cycles > 1000 && cycles < 20_000:
		a.checks++
		a.check += cycles
	}
}
