package board

import (
	"errors"
	"fmt"
	"math"
	"time"

	"mealtab/compiler/profile"
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

	wires wires
}

// ForBoard returns the configuration for an embedded board, or one that a TOML file describes: see [ForProfile].
func ForBoard(nameOrPath string) (Config, error) {
	p, err := profile.Load(nameOrPath)
	if err != nil {
		return Config{}, err
	}
	return ForProfile(p), nil
}

// ForProfile is the configuration for a board as it is described: its chip, clock, fuses, wires, sensors and supply, a wheel with detents
// and a full hopper.
func ForProfile(p *profile.Profile) Config {
	c := Config{
		Fuses: avr.CrystalFuses, ClockHz: uint64(p.ClockHz), Baud: uint64(p.Baud),
		Supply: WallSupply(), Wheel: DefaultWheel(), wires: wiresOf(p),
	}
	c.Part, _ = avr.PartNamed(p.MCU) // a profile names no others
	c.Fuses.ResetDelay = 4100        // SUT 10: 16K CK and 4.1 ms, for supplies that rise fast [ATmega328P data sheet, table 9-4]
	if p.Clock == profile.Inside {
		c.Fuses = avr.RCFuses
	}
	c.Fuses.BODMillivolts = uint16(p.BrownOutMV)
	if p.Supply == profile.Cells {
		c.Supply = Cells()
	}
	c.Wheel.Turn = time.Duration(p.TurnMillis) * time.Millisecond
	c.Wheel.Stop, c.Wheel.Reversed = float64(p.ServoStopMicros), p.ServoTurnMicros < 0
	c.Wheel.Full = min(c.Wheel.Full, math.Abs(float64(p.ServoTurnMicros))) // a pocket's time is what it takes at the board's own pulse
	c.Wheel.Index, c.Wheel.Barrier = p.IndexSwitch, p.LightBarrier
	return c
}

func (c *Config) complete() error {
	if c.ClockHz == 0 || c.Part.FlashWords == 0 || c.wires == (wires{}) {
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
