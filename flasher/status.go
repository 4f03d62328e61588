package flasher

import (
	"encoding/binary"
	"fmt"
	"time"

	"mealtab/compiler/table"
	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// NoBank is the bank of a board that has no table in force.
const NoBank = 0xFF

// Status is what a board says about its state.
type Status struct {
	Bank     int // 0, 1 or NoBank
	Sequence uint8
	CRC      uint16
	Now      time.Time    // by the board's clock, whole seconds
	Cursor   table.Minute // table.CursorNone: no time is known
	Preset   int
	Adjust   int // tenths
	Carry    int // tenths of mass units
	Faults   int // table.FaultBit...
	SupplyMV int // at rest
	LoadedMV int // lowest under the servo in the last turn; 0: not known
	Hopper   int // pockets left by its own count; -1: nobody has said what it holds
	HourLeft int // servings by button or line still allowed in the hour
	DayLeft  int // in the day
	Asked    int // pockets by button or line in the window of a day; at most table.MaxAskedDay
	Token    uint8
	ClockSet time.Time // zero: never
	Presets  int       // in the table
	Ticks    int       // 8 s each, since the reset
}

// Status asks for the board's state.
func (f *Feeder) Status() (Status, error) {
	b, err := f.ask(link.Call{Code: frame.Status, Work: settleWork}, "STATUS")
	if err != nil {
		return Status{}, err
	}
	m := frame.MessageNamed("STATUS")
	number := func(name string) uint32 { return m.Number(b, name) }
	s := Status{
		Bank: int(number("BANK")), Sequence: uint8(number("SEQUENCE")), CRC: uint16(number("TABLE_CRC")), Now: seconds(number("NOW")),
		Cursor: table.Minute(number("CURSOR")), Preset: int(number("PRESET")), Adjust: int(number("ADJUST")), Carry: int(int32(number("CARRY"))),
		Faults: int(number("FAULTS")), SupplyMV: int(number("SUPPLY")), Token: uint8(number("TOKEN")), ClockSet: clockSet(m.Answered(b, "CLOCK_SET")),
		Presets: int(number("PRESETS")), Ticks: int(number("TICKS")),
		LoadedMV: int(number("LOADED")), Hopper: hopperLeft(number("HOPPER_LEFT")),
		HourLeft: int(number("HOUR_LEFT")), DayLeft: int(number("DAY_LEFT")), Asked: int(number("ASKED")),
	}
	if err := s.check(); err != nil {
		return Status{}, f.failed("STATUS", err)
	}
	return s, nil
}

// check wants what every feeder's state keeps to: the line has checks of its own, but another device may be at its end.
func (s Status) check() error {
	const unlike = "it says %s; another device may be on the port"
	switch {
	case s.Bank > 1 && s.Bank != NoBank:
		return fmt.Errorf(unlike, fmt.Sprint("bank ", s.Bank))
	case s.Adjust < leastAdjust || s.Adjust > mostAdjust:
		return fmt.Errorf(unlike, fmt.Sprintf("portions at %d %%", 10*s.Adjust))
	case s.Now.Year() > lastYear:
		return fmt.Errorf(unlike, "the year "+s.Now.Format("2006"))
	}
	return nil
}

// Limits of a feeder's state: the adjustment of portions in tenths, the calendar of the clock chip.
const (
	leastAdjust, mostAdjust = 8, 12
	lastYear                = 2099
)

func hopperLeft(pockets uint32) int {
	if pockets == 0xFFFF {
		return -1
	}
	return int(pockets)
}

// clockSet is the instant of the last setting of the clock, by the board's note of it: CLOCK_SET as it came, without its code. Zero if the
// check does not match, as in an EEPROM that never held one.
func clockSet(note []byte) time.Time {
	fields, check := note[:frame.ClockSetNote-2], note[frame.ClockSetNote-2:]
	if frame.FCS(append([]byte{frame.ClockSet}, fields...)) != binary.LittleEndian.Uint16(check) {
		return time.Time{}
	}
	return seconds(binary.LittleEndian.Uint32(fields[1:]))
}
