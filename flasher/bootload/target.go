package bootload

import (
	"fmt"

	"mealtab/compiler/profile"
)

// Target is what must be known to put firmware on a board.
type Target struct {
	Board string   // profile
	Chips []string // parts the image runs on, the usual one first
	Clock int      // Hz
	Baud  int      // of the firmware's line
	Fuses          // for a chip without bootloader
}

// Fuses are programmed by a device programmer.
type Fuses struct {
	Low, High, Extended byte
	Why                 string // what they choose
}

// TargetFor is that of a board as it is described.
func TargetFor(p *profile.Profile) Target {
	c := p.Chip()
	return Target{p.Name, append([]string{c.Name}, c.Twins...), p.ClockHz, p.Baud, fusesFor(p)}
}

// clockFailure is the ATmega328PB's bit of the extended byte that its twins do not have: its clock failure detector, on (from memory).
const clockFailure = 0x08

// ExtendedOn is the extended byte on another of the chips that the image runs on.
func (t Target) ExtendedOn(chip string) byte {
	switch {
	case chip == "ATmega328PB":
		return t.Extended &^ clockFailure
	case t.Chips[0] == "ATmega328PB":
		return t.Extended | clockFailure
	}
	return t.Extended
}

// fusesFor keep the EEPROM through a chip erase, start at address 0, and hold the chip in reset at low supply: ATmega48A–328P data sheet,
// tables 28-5 to 28-9; bit values, and that the ATmega328PB is delivered with the clock failure detector's bit 0, from memory.
func fusesFor(p *profile.Profile) Fuses {
	f := Fuses{Low: 0xFF, Why: "crystal"}
	if p.Clock == profile.Inside {
		f = Fuses{Low: 0xE2, Why: "internal oscillator at 8 MHz"}
	}
	brownOut := byte(4) // BODLEVEL 100
	if p.BrownOutMV < 4300 {
		brownOut = 5
	}
	switch p.MCU {
	case "atmega168p":
		f.High, f.Extended = 0xD0|brownOut, 0xF9
	case "atmega328pb":
		f.High, f.Extended = 0xD1, 0xF8&^clockFailure|brownOut
	default:
		f.High, f.Extended = 0xD1, 0xF8|brownOut
	}
	f.Why += fmt.Sprintf(", 65 ms start-up; EEPROM kept; brown-out at %.1f V", float64(p.BrownOutMV)/1000)
	return f
}

// Advice says what to do where no bootloader answers.
func (t Target) Advice() string {
	return fmt.Sprintf("if the board has a bootloader, its reset line is not connected to DTR or RTS: press the board's reset button while this command tries, in its first seconds or when it asks. "+
		"If it has none, a device programmer on the six-pin header (MISO, MOSI, SCK, RESET, supply, ground) is needed, and for an %s the fuses low %02X, high %02X, extended %02X "+
		"(%s); mealtab install --board %s --export DIR writes all that it needs, and the commands", t.Chips[0], t.Low, t.High, t.Extended, t.Why, t.Board)
}
