package profile

// Chip is a part that boards are built with.
type Chip struct {
	MCU    string   // in a profile
	Name   string   // on the chip
	Build  string   // as the compiler's -mmcu names it
	EEPROM int      // bytes
	Flash  int      // bytes
	Twins  []string // names of other parts on which the same image runs, the usual one first
}

// Chips lists the parts. Sizes: ATmega48A–328P data sheet, "Configuration Summary".
func Chips() []Chip {
	return []Chip{
		{"atmega328p", "ATmega328P", "atmega328p", 1024, 32768, []string{"ATmega328", "ATmega328PB"}},
		{"atmega168p", "ATmega168P", "atmega168p", 512, 16384, []string{"ATmega168"}},
		// It has all the registers and vectors of the ATmega328P in their places, and more of them, which the firmware leaves alone; avr-libc 2.0
		// has no header for it, so it is built for the ATmega328P.
		{"atmega328pb", "ATmega328PB", "atmega328p", 1024, 32768, []string{"ATmega328P", "ATmega328"}},
	}
}

// Chip is the board's part.
func (p *Profile) Chip() Chip {
	c, _ := chipNamed(p.MCU)
	return c
}

// TableVersion is the newest version of the table format that the board's firmware reads: in 16 KiB there is no room for what came with
// version 3.
func (p *Profile) TableVersion() int {
	if p.Chip().Flash < 32768 {
		return 2
	}
	return 3
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
