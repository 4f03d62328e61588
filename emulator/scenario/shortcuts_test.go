package scenario_test

import (
	"testing"
	"time"

	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/emulator/scenario"
)

// inLisbon is a feeder with six meals a day, at the beginning of 2027.
func inLisbon(t *testing.T, o avr.Options) *board.Board {
	t.Helper()
	p, img := mains(t)
	encoded := sixMeals(t, p)
	decoded, err := table.Decode(encoded)
	if err != nil {
		t.Fatal(err)
	}
	c := board.ForProfile(p)
	c.Firmware, c.Options, c.Start = img, o, time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	scenario.Calibrate(&c.Wheel, decoded)
	return inService(t, c, encoded)
}

// TestShortcutsLeaveNoTraceInAHundredDays: every instruction executed one by one leaves the state, the time and the counts
// that the shortcuts leave, at the end of each ten days, past a change of the clocks; under the race detector in one day.
func TestShortcutsLeaveNoTraceInAHundredDays(t *testing.T) {
	part := 10 * 24 * time.Hour
	if raceEnabled {
		part /= 100
	}
	skip := inLisbon(t, avr.Options{})
	each := inLisbon(t, avr.Options{NoFuse: true, NoPollSkip: true, NoNapSkip: true})
	for tenth := range 10 {
		for _, b := range []*board.Board{skip, each} {
			if r := b.Run(part); r != avr.StopLimit {
				t.Fatalf("the firmware stopped: %v", r)
			}
		}
		if skip.MCU().Cycle() != each.MCU().Cycle() || skip.Hash() != each.Hash() {
			t.Fatalf("after %d tenths the states differ, at cycles %d and %d, pockets %d and %d", tenth+1, skip.MCU().Cycle(), each.MCU().Cycle(), skip.Pockets(), each.Pockets())
		}
	}
	if a, b := skip.MCU().Stats(), each.MCU().Stats(); a != b {
		t.Errorf("counts %+v, executed one by one %+v", a, b)
	}
	if days := int64(10 * part / (24 * time.Hour)); skip.Pockets() < 11*days {
		t.Errorf("%d pockets in %d days", skip.Pockets(), days)
	}
}
