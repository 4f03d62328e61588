package board

import (
	"errors"
	"fmt"
	"time"

	"mealtab/compiler/table"
	"mealtab/emulator/avr"
)

// Config describes the board to build. Start from [ForBoard].
type Config struct {
	Part       avr.Part
	Fuses      avr.Fuses
	ClockHz    uint64 // of the CPU
	WatchdogHz uint64 // of the watchdog oscillator; 0: 128 kHz
	Baud       uint64 // of the serial line's other end
	Firmware   *avr.Image
	Options    avr.Options
	Start      time.Time // instant of UTC at which the supply comes on first
	Seed       uint64    // of the generator
	Trace      bool      // also report sleep, which costs time at every nap

	ClockDriftPPB int64 // of the clock's crystal; positive is fast
	Oscillator    Oscillator
	ReferencePC   float64 // how many per cent the AVR's internal reference is too high
	Supply        Supply
	Wheel         Wheel
}

// ForBoard returns the configuration for a board of the firmware template: its chip, clock, fuses and supply, a wheel with
// detents and a full hopper. The error names the boards there are.
func ForBoard(name string) (Config, error) {
	p, ok := table.BoardNamed(name)
	if !ok {
		return Config{}, fmt.Errorf("no board is called %q; there are %s", name, boardNames())
	}
	return ForProfile(p), nil
}

// ForProfile is ForBoard for a board in hand.
func ForProfile(p table.Board) Config {
	c := Config{
		Part: avr.ATmega328P, Fuses: avr.CrystalFuses, ClockHz: uint64(p.Clock), Baud: uint64(p.Baud),
		Supply: WallSupply(), Wheel: DefaultWheel(),
	}
	if p.EEPROM == int(avr.ATmega168P.EEPROMSize) {
		c.Part = avr.ATmega168P
	}
	c.Fuses.ResetDelay = 4100 // SUT 10: 16K CK and 4.1 ms, for supplies that rise fast [ATmega328P data sheet, table 9-4]
	if p.Clock == 8_000_000 {
		// Cells: internal oscillator, brown-out at 2.7 V (8 MHz needs 2.4 V).
		c.Fuses = avr.RCFuses
		c.Fuses.BODMillivolts = 2700
		c.Supply = Cells()
	}
	return c
}

func boardNames() string {
	names := ""
	for _, p := range table.Boards() {
		if names != "" {
			names += ", "
		}
		names += p.Name
	}
	return names
}

func (c *Config) complete() error {
	if c.ClockHz == 0 || c.Part.FlashWords == 0 {
		return errors.New("the configuration names no chip; start from ForBoard")
	}
	if c.Start.IsZero() {
		c.Start = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	if y := c.Start.UTC().Year(); y < 2000 || y > 2099 {
		return fmt.Errorf("the start, %v, is outside the clock chip's calendar, 2000 to 2099", c.Start.UTC())
	}
	c.Start = c.Start.UTC()
	if c.Baud == 0 {
		c.Baud = 57600
	}
	return c.Wheel.complete()
}

// SetVolts chooses the supply's voltage without load; on cells, how far they are used.
func (c *Config) SetVolts(volts float64) {
	s := &c.Supply
	s.Millivolts = uint16(volts * 1000)
	if s.Cells > 0 {
		s.UsedMAh = s.usedAt(volts * 1000)
	}
}
