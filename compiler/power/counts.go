package power

import (
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/emulator/replay"
)

// What the firmware does, for counts that are computed. It is stated in its sources; a rehearsal counts it.
const (
	napSeconds  = 8   // between two ticks of the watchdog
	napCycles   = 40  // from wake to sleep, start-up included
	checkTicks  = 112 // ticks between two looks at the clock
	boostTime   = 60 * units.Milliseconds(1)
	brakeTime   = 100 * units.Milliseconds(1)
	checkTime   = 2.0 / 1000 // s awake for a look at the clock: some ten bytes on the bus at 100 kHz, and the decision
	slotBytes   = 17         // of the journal, at most, for one record
	slotsServed = 2          // begin and end, besides one byte for each pocket
)

// Board is what computing needs to know.
type Board struct {
	ClockHz    float64
	TurnMillis float64 // of one pocket, where the table does not say
}

// Computed derives a year from the replay: servings and pockets are exact, the rest is what the firmware is meant to do.
// The year begins at from.
func Computed(t *table.Table, b Board, preset int, from table.Minute) Counts {
	c := Counts{ClockHz: b.ClockHz}
	pockets := 0.0
	cursor := replay.New(t, replay.Options{From: from, To: from + 365*table.MinutesPerDay, Preset: preset})
	for s, ok := cursor.Next(); ok; s, ok = cursor.Next() {
		if n := s.Pockets(); n > 0 {
			c.Servings++
			pockets += float64(n)
		}
	}
	turn := units.Milliseconds(b.TurnMillis)
	if t.Wheel.TurnMillis > 0 {
		turn = units.Milliseconds(t.Wheel.TurnMillis)
	}
	ticks := float64(units.Year) / napSeconds
	checks := ticks/checkTicks + 365 + c.Servings
	boost := boostTime.Seconds() * units.Seconds(c.Servings)
	c.Wheel = turn.Seconds() * units.Seconds(pockets)
	c.Servo = ServoTime(c.Wheel, c.Servings)
	c.Idle = c.Servo - boost
	c.Wakes = ticks + 365 + c.Servings
	c.AwakeCycles = ticks*napCycles + checks*checkTime*b.ClockHz + float64(boost)*b.ClockHz
	c.EEPROMWrites = c.Servings*slotBytes*slotsServed + pockets
	return c
}

// ServoTime is how long the servo is supplied: before it turns the converter charges its capacitors, after it the servo is
// held at its stop pulse.
func ServoTime(wheel units.Seconds, servings float64) units.Seconds {
	return wheel + (boostTime+brakeTime).Seconds()*units.Seconds(servings)
}
