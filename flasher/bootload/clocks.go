package bootload

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// builtClock is a clock that bootloaders are built for, and others at which the same board may run: the other usual crystals, the chip's own
// oscillator, and an eighth of it or of the crystal (CKDIV8; ATmega48A–328P data sheet, section 9.11).
type builtClock struct {
	hz   int
	runs []int
}

var builtClocks = []builtClock{
	{16_000_000, []int{8_000_000, 12_000_000, 1_000_000, 2_000_000}},
	{8_000_000, []int{16_000_000, 12_000_000, 1_000_000}},
}

// offRate is a rate at which a bootloader answers on a board whose clock is not the one it was built for.
type offRate struct {
	Family       // the one with the largest section that may be meant; its rate is the one to set
	clocks []int // Hz; what the chip may run at
}

// patience is how long such a board is tried after a reset: before it listens, an older bootloader flashes its light, by counted cycles.
func (r offRate) patience() time.Duration {
	if slices.Min(r.clocks) < 8_000_000 {
		return 4 * syncTime
	}
	return syncTime
}

// offRates are those that are no family's own: at 57,600 baud an older bootloader answers, or a short one at half its clock, and nobody can
// tell. The likeliest come first.
func offRates() (list []offRate) {
	for _, built := range builtClocks {
		for _, hz := range built.runs {
			for i, f := range Families() {
				if i == len(Families())-1 && built.hz != 16_000_000 {
					continue // the oldest was built for 16 MHz, but for a few boards
				}
				f.Baud = f.Baud * (hz / 1_000_000) / (built.hz / 1_000_000)
				if slices.ContainsFunc(Families(), func(own Family) bool { return own.Baud == f.Baud }) {
					continue
				}
				i := slices.IndexFunc(list, func(r offRate) bool { return r.Baud == f.Baud })
				if i < 0 {
					list = append(list, offRate{f, []int{hz}})
					continue
				}
				list[i].Section = max(list[i].Section, f.Section)
				if !slices.Contains(list[i].clocks, hz) {
					list[i].clocks = append(list[i].clocks, hz)
				}
			}
		}
	}
	return list
}

// ClockError means that the board's clock is not the one that the image is for. Nothing was written.
type ClockError struct {
	Chip   Chip
	Baud   int   // at which the bootloader answers
	Clocks []int // Hz; at which the board may run, the likeliest first
	Wanted int   // Hz; what the image is for
}

func (e *ClockError) Error() string {
	return fmt.Sprintf("a bootloader answers at %d baud, as none does at the clock it was built for: the board's %s runs at %s, and this firmware is for %s",
		e.Baud, e.Chip.Name, Megahertz(e.Clocks...), Megahertz(e.Wanted))
}

// Megahertz names clocks: "8 MHz", "12, 2 or 1 MHz".
func Megahertz(hz ...int) string {
	words := make([]string, len(hz))
	for i, f := range hz {
		words[i] = fmt.Sprintf("%g", float64(f)/1e6)
	}
	last := len(words) - 1
	if last == 0 {
		return words[0] + " MHz"
	}
	return strings.Join(words[:last], ", ") + " or " + words[last] + " MHz"
}
