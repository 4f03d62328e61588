package profile

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"

	"mealtab/compiler/table"
)

// Keys lists the keys that every description has, its own or those of the board it is like.
func Keys() []string {
	keys := []string{
		"name", "title", "code", "supply", "mcu", "clock_hz", "clock", "clock_tolerance", "baud", "bus_hz", "leave_out", "turn_ms", "servo_stop_us",
		"servo_turn_us", "servo_on_ms", "brake_ms", "brown_out_mv", "min_supply_mv", "sag_percent", "index_switch", "light_barrier",
	}
	for _, r := range roles {
		keys = append(keys, "pins."+r.key)
	}
	for _, r := range roles {
		if r.level != nil {
			keys = append(keys, "active."+r.key)
		}
	}
	return keys
}

// missing names a key that is not there: a zero would be taken for a figure.
func missing(given map[string]any) error {
	for _, k := range Keys() {
		var v any = given
		for _, part := range strings.Split(k, ".") {
			t, _ := v.(map[string]any)
			v = t[part]
		}
		if v == nil {
			return fmt.Errorf("the key %s is missing: add it, or name a board that this one is like (like = %q)", k, Default)
		}
	}
	return nil
}

// Rates are those that a host tries to reach a board with, the most usual first.
func Rates() []int { return []int{57600, 19200} }

// check refuses figures that no board of this kind can have, and completes what the chip says.
func (p *Profile) check() error {
	if p.Name == "" || strings.Trim(p.Name, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		return at("name", "%q: lower-case letters, digits and hyphens are allowed", p.Name)
	}
	if p.Title == "" || strings.Contains(p.Title, "*/") || strings.ContainsFunc(p.Title, unicode.IsControl) {
		return at("title", "%q: one line is wanted, without */: it stands in a comment of the C header", p.Title)
	}
	if p.Supply != Mains && p.Supply != Cells {
		return at("supply", "%q does not exist: %q or %q", p.Supply, Mains, Cells)
	}
	if err := p.checkChip(); err != nil {
		return err
	}
	for _, f := range []struct {
		key             string
		value, low, top int
	}{
		{"code", p.Number, 1, 255},
		{"bus_hz", p.BusHz, 50_000, 400_000},
		{"turn_ms", p.TurnMillis, table.MinTurn, table.MaxTurn},
		{"servo_stop_us", p.ServoStopMicros, 1000, 2000},
		{"servo_turn_us", p.ServoTurnMicros, -500, 500},
		{"servo_on_ms", p.ServoOnMillis, 0, 1000},
		{"brake_ms", p.ServoBrakeMillis, 20, 1000},
		{"min_supply_mv", p.MinSupplyMV, p.BrownOutMV + 1, 6000},
		{"sag_percent", p.SagPercent, 1, 50},
	} {
		if f.value < f.low || f.value > f.top {
			return at(f.key, "%d is outside %d to %d", f.value, f.low, f.top)
		}
	}
	p.Code = uint8(p.Number)
	if p.BrownOutMV != 2700 && p.BrownOutMV != 4300 {
		return at("brown_out_mv", "%d: the fuses can choose 2700 and 4300", p.BrownOutMV)
	}
	if p.ServoTurnMicros == 0 {
		return at("servo_turn_us", "0 turns nothing: 1 to 500, or -500 to -1 if the wheel turns the wrong way")
	}
	for _, word := range p.LeaveOut {
		if !slices.ContainsFunc(options, func(o option) bool { return o.word == word }) {
			return at("leave_out", "%q cannot be left out: %s can", word, strings.Join(optionWords(), ", "))
		}
	}
	if err := p.checkClock(); err != nil {
		return err
	}
	return p.checkPins()
}

func (p *Profile) checkChip() error {
	c, ok := chipNamed(p.MCU)
	if !ok {
		return at("mcu", "%q is not a chip that the firmware runs on: %s are", p.MCU, strings.Join(chipNames(), ", "))
	}
	m, ok := table.MapFor(c.EEPROM)
	if !ok {
		return at("mcu", "%q: no table fits its EEPROM of %d bytes", p.MCU, c.EEPROM)
	}
	p.EEPROMBytes, p.BankBytes = c.EEPROM, m.BankSize
	return nil
}

// checkClock wants a clock that the firmware can count with, that the line keeps time by, and that the supply is enough for.
func (p *Profile) checkClock() error {
	switch {
	case p.ClockHz != 8_000_000 && p.ClockHz != 16_000_000:
		return at("clock_hz", "%d: the servo's pulses are counted in half or whole microseconds, at 8_000_000 or 16_000_000", p.ClockHz)
	case p.Clock != Crystal && p.Clock != Inside:
		return at("clock", "%q does not exist: %q or %q", p.Clock, Crystal, Inside)
	case p.Clock == Inside && p.ClockHz != 8_000_000:
		return at("clock_hz", "%d: the oscillator inside the chip has 8_000_000", p.ClockHz)
	case !(p.Tolerance >= 0 && p.Tolerance <= 12):
		return at("clock_tolerance", "%g is outside 0 to 12 per cent", p.Tolerance)
	case p.Clock == Inside && !p.Measured():
		return at("clock_tolerance", "%g: the oscillator inside the chip is up to 10 per cent off, unless it was calibrated", p.Tolerance)
	case !slices.Contains(Rates(), p.Baud):
		return at("baud", "%d: mealtab calls boards at %d or %d", p.Baud, Rates()[0], Rates()[1])
	case p.ClockHz/p.BusHz < 18:
		return at("bus_hz", "%d is too fast for a clock of %d: at most %d", p.BusHz, p.ClockHz, p.ClockHz/18)
	case p.BrownOutMV < safeMillivolts(p.ClockHz) && p.Supply == Mains:
		return at("brown_out_mv", "%d: %d Hz need %d mV (data sheet, \"Speed Grades\")", p.BrownOutMV, p.ClockHz, safeMillivolts(p.ClockHz))
	case p.MinSupplyMV < safeMillivolts(p.ClockHz):
		return at("min_supply_mv", "%d: %d Hz need %d mV (data sheet, \"Speed Grades\")", p.MinSupplyMV, p.ClockHz, safeMillivolts(p.ClockHz))
	}
	const most = 2.0 // per cent: what a receiver at double speed takes, with a margin (data sheet, table 20-3)
	if off := p.rateError(); off > most && !p.Measured() {
		return at("baud", "%d is off by %.1f %% at %d Hz, and %g %% are allowed: choose another", p.Baud, off, p.ClockHz, most)
	}
	return nil
}

// Measured reports whether the CPU's clock is too coarse to be trusted: the firmware times it by the clock chip's seconds, and the line's
// bits by the host's preamble.
func (p *Profile) Measured() bool { return p.Tolerance > 1 }

// rateError is how far the nearest divisor at double speed is off the rate, in per cent.
func (p *Profile) rateError() float64 {
	ideal := float64(p.ClockHz) / 8 / float64(p.Baud)
	return math.Abs(ideal/math.Round(ideal)-1) * 100
}

// safeMillivolts is the least supply for a clock: 4 MHz at 1.8 V, 10 MHz at 2.7 V, 20 MHz at 4.5 V, linear between (data sheet, "Speed Grades").
func safeMillivolts(hz int) int {
	if hz <= 10_000_000 {
		return 1800 + (hz-4_000_000)*900/6_000_000
	}
	return 2700 + (hz-10_000_000)*1800/10_000_000
}
