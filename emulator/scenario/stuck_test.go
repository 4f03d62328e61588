package scenario_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/avr/asm"
	"mealtab/emulator/scenario"
)

// Firmware that somebody has just broken: what is wrong is said after seconds of its time, not after a year.
func TestStuckFirmware(t *testing.T) {
	for _, c := range []struct {
		name, source, expected, happened, note string
		within                                 time.Duration // of emulated time
	}{
		{"the watchdog resets it again and again", `
			ldi r16, 0x18
			sts WDTCSR, r16
			ldi r16, 0x08
			sts WDTCSR, r16
		here:	rjmp here`, "the firmware runs on", `it was reset 20 times in .*, now by a watchdog reset, at byte 0xc of the flash`, "", 2 * time.Second},
		{"it runs in a circle", `
		here:	in r16, GPIOR0
			sbrs r16, 0
			rjmp here`, "2 pockets at 2027-01-01 06:00", "nothing until now; the program is at byte 0x[024] of the flash", "the firmware has not slept in its first 20s", 3 * time.Minute},
		{"it sleeps for ever", `
			ldi r16, 5
			out SMCR, r16
			sleep`, "2 pockets at 2027-01-01 06:00", "nothing until now", "", 3 * 24 * time.Hour},
		{"it stops", `
			nop
			break`, "the firmware runs on", "it stopped at byte 0x4 of the flash: BREAK", "", time.Second},
		{"it is no firmware", ` .word 0xFF0F`, "the firmware runs on", "it stopped at byte 0x0 of the flash: illegal instruction", "", time.Second},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := asm.Assemble(c.source)
			require.NoError(t, err)
			r := rehearsal(t, "m328-mains", 10)
			r.Firmware = &avr.Image{}
			for _, w := range p.Words {
				r.Firmware.Flash = append(r.Firmware.Flash, byte(w), byte(w>>8))
			}
			if c.note != "" { // it cannot be hurried: begin just before the first serving
				r.From = 9862*table.MinutesPerDay + 6*60 - 1
				r.Until = r.From + 10
			}
			note := ""
			r.Note = func(text string) { note = text }
			_, err = scenario.Rehearse(r)
			var d *scenario.Difference
			require.ErrorAs(t, err, &d)
			require.Contains(t, d.Expected, c.expected)
			require.Regexp(t, c.happened, d.Happened)
			require.Less(t, d.When.Sub(r.From.Time()), c.within)
			if c.note == "" {
				require.Empty(t, note)
			} else {
				require.Contains(t, note, c.note)
			}
		})
	}
}
