// Package power estimates how long a feeder runs on a set of cells.
//
// In: a [Profile] (each current of the board with its source, the cells, the boost converter) and [Counts] of one year
// (wakes, cycles awake, seconds the wheel turns, …), counted by a rehearsal of the firmware or computed from the replay.
// Out: a [Budget] of charge per year, life as a range over the capacity of the cells and the efficiency of the converter,
// and what would lengthen it most. Currents are milliamperes at the pack, charges milliampere-hours.
//
// Life follows from one formula: capacity ÷ (charge of all loads a year + self-discharge a year), and ends with the
// cells' shelf life. Cells in series have the capacity of one.
package power

import (
	"cmp"
	"slices"

	"mealtab/compiler/units"
)

// Counts is what a feeder does in a year.
type Counts struct {
	Counted      bool // by running the firmware; else computed
	Servings     float64
	Wakes        float64
	AwakeCycles  float64
	ClockHz      float64
	Idle         units.Seconds // CPU asleep, timers running
	Wheel        units.Seconds // servo turning
	Servo        units.Seconds // servo supplied: converter on
	Line         units.Seconds // serial line in use
	EEPROMWrites float64       // bytes programmed in the MCU
	PageWrites   float64       // of the clock module's memory
}

// Times of writes.
const (
	eepromWrite = 3.4 / 1000  // s, erase and write (ATmega48A–328P data sheet, table 8-1)
	pageWrite   = 10.0 / 1000 // s, at most (AT24C32 data sheet, write cycle time)
)

// Awake is the time that the CPU executes.
func (c Counts) Awake() units.Seconds { return units.Seconds(c.AwakeCycles / c.ClockHz) }

// When says at which times a current flows.
type When string

// The times. A load that flows only while the converter runs is behind it.
const (
	Always   When = "always"
	Asleep   When = "asleep"   // power-down
	Awake    When = "awake"    // executing
	Idle     When = "idle"     // sleep mode idle
	Turning  When = "turning"  // behind the converter: servo under way
	Standing When = "standing" // behind the converter: servo supplied and at rest
	Writing  When = "writing"  // EEPROM of the MCU
	Paging   When = "paging"   // memory of the clock module
	Talking  When = "talking"  // serial line in use
)

// duration is the time in a year at which a current flows.
func (c Counts) duration(w When) units.Seconds {
	switch w {
	case Asleep:
		return units.Year - c.Awake() - c.Idle - c.Line
	case Awake:
		return c.Awake()
	case Idle:
		return c.Idle
	case Turning:
		return c.Wheel
	case Standing:
		return c.Servo - c.Wheel
	case Writing:
		return units.Seconds(c.EEPROMWrites * eepromWrite)
	case Paging:
		return units.Seconds(c.PageWrites * pageWrite)
	case Talking:
		return c.Line
	}
	return units.Year
}

// boosted loads are behind the converter.
func (w When) boosted() bool { return w == Turning || w == Standing }

// Item is one load in a budget.
type Item struct {
	Draw
	Time   units.Seconds       // in a year
	Charge units.MilliampHours // from the pack, in a year
}

// Budget is the charge of a year.
type Budget struct {
	Items []Item // largest first
	Sum   units.MilliampHours
}

// Budget adds up the loads for a converter of some efficiency.
func (p *Profile) Budget(c Counts, efficiency float64) Budget {
	var b Budget
	for _, d := range p.Draws {
		if !d.Fitted {
			continue
		}
		i := Item{Draw: d, Time: c.duration(d.When)}
		i.Charge = units.Charge(d.Current, i.Time)
		if d.When.boosted() {
			i.Charge = i.Charge.Through(p.Boost.Out, p.Pack.Mean, efficiency)
		}
		b.Items = append(b.Items, i)
		b.Sum += i.Charge
	}
	slices.SortStableFunc(b.Items, func(x, y Item) int { return cmp.Compare(y.Charge, x.Charge) })
	return b
}

// Life is how long a set of cells lasts.
type Life struct {
	Years   float64
	Limited bool // by the shelf life
	Budget  Budget
}

// Days is the life in days.
func (l Life) Days() float64 { return 365 * l.Years }

// Case is one choice of what is not known for sure.
type Case struct {
	Capacity   units.MilliampHours
	Efficiency float64
	Shelf      float64 // years
}

// The cases of a range: poor cells and converter, usual, good.
func (p *Profile) cases() [3]Case {
	var c [3]Case
	for i := range c {
		c[i] = Case{p.Pack.Capacity[i], p.Boost.Efficiency[i], p.Pack.Shelf[i]}
	}
	return c
}

// Life in one case: Q ÷ (ΣI·t + s·Q).
func (p *Profile) Life(c Counts, k Case) Life {
	b := p.Budget(c, k.Efficiency)
	years := float64(k.Capacity) / (float64(b.Sum) + p.Pack.SelfDischarge*float64(k.Capacity))
	return Life{min(years, k.Shelf), years > k.Shelf, b}
}

// Range is the life of a set of cells: poor, usual, good.
type Range [3]Life

// Range gives all three cases.
func (p *Profile) Range(c Counts) (r Range) {
	for i, k := range p.cases() {
		r[i] = p.Life(c, k)
	}
	return r
}

// Gain is what a change of the board would bring.
type Gain struct {
	Draw  Draw
	Days  float64 // more, in the usual case
	After Life
}

// Gains tries every change that the profile knows, one at a time; the greatest gain comes first. together is the life with
// all of them.
func (p *Profile) Gains(c Counts) (gains []Gain, together Life) {
	usual := p.cases()[1]
	now := p.Life(c, usual)
	all := *p
	all.Draws = slices.Clone(p.Draws)
	for i, d := range p.Draws {
		if d.Cut == "" || !d.Fitted {
			continue
		}
		one := *p
		one.Draws = slices.Clone(p.Draws)
		one.Draws[i].Current, all.Draws[i].Current = d.Left, d.Left
		after := one.Life(c, usual)
		gains = append(gains, Gain{d, after.Days() - now.Days(), after})
	}
	slices.SortStableFunc(gains, func(a, b Gain) int { return cmp.Compare(b.Days, a.Days) })
	return gains, all.Life(c, usual)
}

// SleepFor is the mean sleep current with which usual cells last so many years, all else as it is: the largest that the
// board may draw around the clock.
func (p *Profile) SleepFor(c Counts, years float64) units.Milliamps {
	k := p.cases()[1]
	rest := *p
	rest.Draws = slices.DeleteFunc(slices.Clone(p.Draws), func(d Draw) bool { return d.When == Always || d.When == Asleep })
	b := rest.Budget(c, k.Efficiency)
	left := float64(k.Capacity)/years - float64(b.Sum) - p.Pack.SelfDischarge*float64(k.Capacity)
	return units.Milliamps(left / float64(units.Year/units.Hour))
}
