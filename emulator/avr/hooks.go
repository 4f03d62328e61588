package avr

// Hooks connect the chip to a board. Each may be nil. They run between or inside
// instructions, at m.Cycle(), and may call SetInput, SetAlarm, SetSupply,
// ReceiveFrame, BusChanged and Stop, but not Run.
type Hooks struct {
	// Pins is called after outputs, directions or pull-ups of a port changed.
	Pins func(p Port)

	// Bus is the two-wire bus; nil: nothing is connected and no address answers.
	Bus Bus

	// Transmit receives each frame of the USART when its stop bit has been sent.
	Transmit func(f Frame)

	// Analog returns the millivolts on ADC channel ch, 0 to 7; nil: 0 V.
	Analog func(ch uint8) uint16

	// Alarm is called at the cycle given to SetAlarm.
	Alarm func()

	// Sleep is called when the CPU falls asleep and when it executes again. With
	// Sleep set, naps are skipped only if Naps is set too.
	Sleep func(asleep bool)

	// Naps is told of n watchdog naps of period cycles each (the first may have begun
	// nearer to its end), just passed over, for which Sleep was not called.
	Naps func(n, period uint64)

	// Reset is called when the CPU is reset, with the flag set in MCUSR.
	Reset func(cause uint8)

	// ClockChanged is called after the relation of cycles to time changed: the
	// board must set its alarm again.
	ClockChanged func()

	// EEPROMWrite is called when a write starts, with the cell before and after it and
	// the cycle at which it will be complete.
	EEPROMWrite func(addr uint16, old, new uint8, end uint64)

	// TornByte returns what is left in an EEPROM cell when the supply fails
	// inside its write; nil: see Torn. erasing tells the phase.
	TornByte func(addr uint16, old, new uint8, erasing bool) uint8

	// Violation is told of each broken rule; see Strict.
	Violation func(v Violation)
}

// Frame is one character on the serial line.
type Frame struct {
	Data      uint8
	BitCycles uint64 // CPU cycles per bit
	Start     uint64 // cycle of the start bit's edge
}
