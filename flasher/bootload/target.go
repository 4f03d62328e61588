package bootload

import "fmt"

// Target is what must be known to put firmware on a board of the template.
type Target struct {
	Board string   // profile
	Chips []string // parts the image runs on, the usual one first
	// Fuses for a chip without bootloader, programmed by a device programmer: high, low, extended.
	Low, High, Extended byte
	Why                 string // what the fuses choose
}

// Targets lists the boards. The fuses keep the EEPROM through a chip erase, start at address 0, and hold the chip in reset at low
// supply: ATmega48A–328P data sheet, tables 28-5 to 28-9; bit values from memory.
func Targets() []Target {
	return []Target{
		{"m328-mains", []string{"ATmega328P", "ATmega328"}, 0xFF, 0xD1, 0xFC, "crystal, 65 ms start-up; EEPROM kept; brown-out at 4.3 V"},
		{"m328-cells", []string{"ATmega328P", "ATmega328"}, 0xE2, 0xD1, 0xFD, "internal oscillator at 8 MHz, 65 ms start-up; EEPROM kept; brown-out at 2.7 V"},
		{"m168-mains", []string{"ATmega168P", "ATmega168"}, 0xFF, 0xD4, 0xF9, "crystal, 65 ms start-up; EEPROM kept; brown-out at 4.3 V"},
	}
}

// TargetNamed finds a board.
func TargetNamed(board string) (Target, bool) {
	for _, t := range Targets() {
		if t.Board == board {
			return t, true
		}
	}
	return Target{}, false
}

// Advice says what to do where no bootloader answers.
func (t Target) Advice() string {
	return fmt.Sprintf("if the board has a bootloader, its reset line is not connected to DTR or RTS: press the board's reset button while this command tries, in its first seconds or when it asks. "+
		"If it has none, a device programmer on the six-pin header (MISO, MOSI, SCK, RESET, supply, ground) is needed, with the fuses low %02X, high %02X, extended %02X "+
		"(%s); mealtab install --board %s -o FILE writes the image for it", t.Low, t.High, t.Extended, t.Why, t.Board)
}
