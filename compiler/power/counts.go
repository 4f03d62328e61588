package power

import (
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// What the firmware does, for counts that are computed: as its sources state it, and where they state no time, as
// rehearsals measure it. A rehearsal counts everything itself.
const (
	napSeconds = 8.192                  // between two ticks of the watchdog: 1,048,576 cycles of 128 kHz (data sheet, WDTCSR)
	frame      = units.Milliseconds(20) // between two pulses of the servo, each of which wakes
	napCycles  = 60                     // from wake to sleep, start-up included
	checkTicks = 112                    // ticks between two looks at the clock
	boostTime  = units.Milliseconds(60)
	brakeTime  = units.Milliseconds(100)
	checkTime  = 3.0 / 1000 // s awake for a look at the clock and the decision; measured: 1.5 to 3.6 ms
	// Boards on cells have no crystal: before the wheel turns they time themselves by the clock chip's seconds, at most once an hour
	// (cpu_clock.c). Measured.
	timingEvery = 60    // minutes
	timingIdle  = 3.75  // s asleep in idle between looks at the clock
	timingAwake = 0.107 // s, for some ninety looks
	timingWakes = 86
	slotBytes   = table.JournalSlotSize + 3 // written for a serving, besides one for each pocket: the mark twice, the seal broken, the end of the serving
)

// Board is what computing needs to know.
type Board struct {
	ClockHz    float64
	TurnMillis float64 // of one pocket, where the table does not say
}

// Computed derives a year from the replay: servings and pockets are exact, the rest is what the firmware is meant to do.
// The year begins at from, and is scaled up
// where the table ends before it does.
func Computed(t *table.Table, b Board, preset int, from table.Minute) Counts {
	c := Counts{ClockHz: b.ClockHz}
	pockets, timings := 0.0, 0.0
	timed := from - timingEvery
	to := min(from+365*table.MinutesPerDay, (table.Minute(t.Through)+1)*table.MinutesPerDay)
	cursor := replay.New(t, replay.Options{From: from, To: to, Preset: preset})
	for s, ok := cursor.Next(); ok; s, ok = cursor.Next() {
		if n := s.Pockets(); n > 0 {
			c.Servings++
			pockets += float64(n)
			if s.At >= timed+timingEvery {
				timings++
				timed = s.At
			}
		}
	}
	year := 365 * table.MinutesPerDay / float64(max(1, to-from))
	c.Servings *= year
	pockets *= year
	timings *= year
	turn := units.Milliseconds(b.TurnMillis)
	if t.Wheel.TurnMillis > 0 {
		turn = units.Milliseconds(t.Wheel.TurnMillis)
	}
	ticks := float64(units.Year) / napSeconds
	checks := ticks/checkTicks + 365 + c.Servings
	boost := boostTime.Seconds() * units.Seconds(c.Servings)
	c.Wheel = turn.Seconds() * units.Seconds(pockets)
	c.Servo = ServoTime(c.Wheel, c.Servings)
	pulsing := c.Servo - boost
	c.Idle = pulsing + timingIdle*units.Seconds(timings)
	c.Wakes = ticks + 365 + c.Servings + float64(pulsing/frame.Seconds()) + timings*timingWakes
	c.AwakeCycles = ticks*napCycles + (checks*checkTime+timings*timingAwake+float64(boost))*b.ClockHz
	c.EEPROMWrites = c.Servings*slotBytes + pockets
	c.PageWrites = c.Servings
	return c
}

// ServoTime is how long the servo is supplied: before it turns the converter charges its capacitors, after it the servo is
// held at its stop pulse.
func ServoTime(wheel units.Seconds, servings float64) units.Seconds {
	return wheel + (boostTime+brakeTime).Seconds()*units.Seconds(servings)
}
