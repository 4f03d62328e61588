package history

import (
	"fmt"
	"strings"

	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// Event says in words what happened.
func Event(h table.History) string {
	pockets := units.Count(int(h.Value), "pocket")
	switch h.Event {
	case table.EventServed:
		return "served, " + pockets
	case table.EventManual:
		return "served by hand, " + pockets
	case table.EventMissed:
		return units.Count(int(h.Value), "serving") + " missed from here on"
	case table.EventResumed:
		return "a serving that was cut short got its last " + pockets
	case table.EventJam:
		return "the wheel did not turn; " + pockets + " still to come"
	case table.EventSupply:
		return fmt.Sprintf("the supply was too low to turn the wheel: %.2f V", float64(h.Value)/1000)
	case table.EventStarted:
		return "started after " + resetText(int(h.Value))
	case table.EventClockLost:
		return "the clock could not be trusted; time went on from the watchdog"
	case table.EventClockSet:
		if h.Value == 0x8000 {
			return "the clock was set, by more than nine hours"
		}
		if h.Value == 0 {
			return "the clock was set, by less than a second"
		}
		return fmt.Sprintf("the clock was set by %+d s", int16(h.Value))
	case table.EventTable:
		return fmt.Sprintf("a new table came in force, number %d", h.Value)
	case table.EventPreset:
		return fmt.Sprintf("preset %d from here on", h.Value+1)
	case table.EventAdjust:
		return fmt.Sprintf("portions at %d %% from here on", 10*h.Value)
	case table.EventLeftOut:
		return pockets + " of that serving were left out: they could not be given in time"
	case table.EventFault:
		return "fault: " + Faults(int(h.Value))
	case table.EventCleared:
		return "acknowledged: " + Faults(int(h.Value))
	case table.EventRefilled:
		if h.Value == 0 {
			return "the hopper was filled, nobody said with how much"
		}
		return "the hopper was filled, " + pockets
	}
	return fmt.Sprintf("value %d", h.Value)
}

// Faults says in words which faults are meant.
func Faults(faults int) string {
	var list []string
	for _, f := range table.FaultBits() {
		if faults&f.Value != 0 {
			list = append(list, f.Meaning)
		}
	}
	return strings.Join(list, "; ")
}

// resetText names the flags of MCUSR (ATmega328P data sheet, section 11.9.1).
func resetText(flags int) string {
	var list []string
	for bit, name := range []string{"power-on", "an external reset", "a dip of the supply", "the watchdog"} {
		if flags>>bit&1 != 0 {
			list = append(list, name)
		}
	}
	if list == nil {
		return "a reset by way of the bootloader" // which has cleared them
	}
	return strings.Join(list, " and ")
}
