package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/profile"
	"mealtab/flasher/bootload"
	"mealtab/flasher/flashertest"
)

// A board whose clock is not the one that its bootloader was built for, or not the one that the image is for: the packaged bootloaders, on a
// chip at each of the clocks. Either nothing is written, or the firmware is found where it answers; the clock is named, and it is the chip's.
func TestInstallNamesTheClock(t *testing.T) {
	for _, boot := range flashertest.Boots() {
		for _, hz := range []int{8_000_000, 16_000_000, 12_000_000, 1_000_000} {
			t.Run(boot.Name()+" at "+bootload.Megahertz(hz), func(t *testing.T) {
				e := boot.At(t, hz)
				e.HasReset = true
				before := string(application(e, boot))
				code, out, errs := installed(e, boot.Board, nil)
				t.Log(out, errs)
				if p, _ := profile.Named(boot.Board); hz == p.ClockHz {
					require.Zero(t, code, errs)
					return
				}
				require.Equal(t, exitFailed, code)
				require.Regexp(t, `the board('s \w+)? runs at .*\b`+strings.TrimSuffix(bootload.Megahertz(hz), " MHz")+`\b.* MHz`, errs)
				if strings.Contains(errs, "nothing was written") {
					require.Equal(t, before, string(application(e, boot)))
				} else {
					require.Contains(t, errs, "every byte of the firmware was read back")
				}
			})
		}
	}
}
