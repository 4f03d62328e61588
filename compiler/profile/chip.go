package profile

// Chip is a part that boards are built with.
type Chip struct {
	MCU       string  // in a profile
	Name      string  // on the chip
	Build     string  // as the compiler's -mmcu names it
	Signature [3]byte // as a bootloader and a device programmer read it
	EEPROM    int     // bytes
	Flash     int     // bytes
	Twins     []Twin  // parts on which the same image runs
}

// Twin is a part that differs from another by its signature only, as far as the firmware goes.
type Twin struct {
	Name      string
	Signature [3]byte
}

// Chips lists the parts. Signatures and sizes: ATmega48A–328P data sheet, "Signature Bytes" and "Configuration Summary"; those of the parts
// without P, and of the ATmega328PB, from memory.
func Chips() []Chip {
	return []Chip{
		{"atmega328p", "ATmega328P", "atmega328p", [3]byte{0x1E, 0x95, 0x0F}, 1024, 32768, []Twin{{"ATmega328", [3]byte{0x1E, 0x95, 0x14}}}},
		{"atmega168p", "ATmega168P", "atmega168p", [3]byte{0x1E, 0x94, 0x0B}, 512, 16384, []Twin{{"ATmega168", [3]byte{0x1E, 0x94, 0x06}}}},
		// It has all the registers and vectors of the ATmega328P in their places, and more of them, which the firmware leaves alone; avr-libc 2.0
		// has no header for it, so it is built for the ATmega328P.
		{"atmega328pb", "ATmega328PB", "atmega328p", [3]byte{0x1E, 0x95, 0x16}, 1024, 32768, nil},
	}
}

// Chip is the board's part.
func (p *Profile) Chip() Chip {
	c, _ := chipNamed(p.MCU)
	return c
}

func chipNamed(mcu string) (Chip, bool) {
	for _, c := range Chips() {
		if c.MCU == mcu {
			return c, true
		}
	}
	return Chip{}, false
}

func chipNames() (names []string) {
	for _, c := range Chips() {
		names = append(names, c.MCU)
	}
	return names
}
