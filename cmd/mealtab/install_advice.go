package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"mealtab/compiler/profile"
	"mealtab/compiler/prose"
	"mealtab/flasher"
	"mealtab/flasher/bootload"
	"mealtab/flasher/link"
)

// shortSection is the size of the bootloaders that stop the watchdog.
const shortSection = 512

// watchdogNote is what an older bootloader means for a feeder; what the packaged ones do after a watchdog reset is tried in package bootload.
const watchdogNote = "the bootloader answers as the older kind does. If it is one: after a reset by the watchdog it never gets to the firmware, until the supply is off for a moment or the reset button is pressed. " +
	"The feeder's firmware begins anew without such a reset when it hangs, so that this concerns other firmware, and a start that hangs itself."

// installAdvice says what to do about an install that wrote nothing; "" where the error says all.
func installAdvice(err error, target bootload.Target) string {
	var damaged *bootload.DamagedError
	var chip *bootload.ChipError
	var clock *bootload.ClockError
	var text string
	switch {
	case errors.As(err, &damaged):
	case errors.Is(err, bootload.ErrNoBootloader):
		text = target.Advice()
	case errors.As(err, &chip) && chip.Chip.Name == "":
		var known []string
		for _, c := range bootload.Chips() {
			known = append(known, fmt.Sprintf("%s % X", c.Name, c.Signature))
		}
		text = "a bootloader tells the signature that it was built with, which may be another chip's: look at the print on the chip. There is firmware here for " + strings.Join(known, ", ") +
			". For another chip there is none, and the fuses of one chip are wrong for another: do not copy them"
	case errors.As(err, &chip):
		text = boardsThat("with this chip: ", func(p *profile.Profile) bool { return slices.Contains(bootload.TargetFor(p).Chips, chip.Chip.Name) })
	case errors.As(err, &clock):
		text = clockAdvice(clock.Clocks, clock.Chip.Name)
	}
	if text == "" {
		return ""
	}
	return "\n" + strings.TrimSuffix(prose.Wrap("  ", text), "\n")
}

// clockAdvice says what to do about a board that runs at one of some clocks (Hz).
func clockAdvice(clocks []int, chip string) string {
	fits := boardsThat("or take the firmware for that clock: ", func(p *profile.Profile) bool {
		return slices.Contains(clocks, p.ClockHz) && slices.Contains(bootload.TargetFor(p).Chips, chip)
	})
	return strings.TrimSuffix("look at the crystal and at the clock fuse (the guide's section 7); "+fits, "; ")
}

// boardsThat names boards of the template; "" if there are none.
func boardsThat(head string, fits func(*profile.Profile) bool) string {
	var names []string
	for _, p := range profile.Boards() {
		if fits(p) {
			names = append(names, p.Name)
		}
	}
	if len(names) == 0 {
		return ""
	}
	return head + "--board " + strings.Join(names, ", ")
}

// greet asks the new firmware who it is.
func (a *app) greet(l *link.Link, baud int, target bootload.Target) error {
	f, err := flasher.Connect(link.New(l.Transport(), l.Name(), baud))
	var nothing *link.NothingError
	switch {
	case errors.As(err, &nothing):
		if at, hz := clockByLine(l, target); hz != 0 {
			return fmt.Errorf("%s: every byte of the firmware was read back, but it answers at %d baud instead of %d: the board runs at about %s, and this firmware is for %s. It would serve at wrong speeds: do not upload a plan\n%s",
				l.Name(), at, target.Baud, bootload.Megahertz(hz), bootload.Megahertz(target.Clock), strings.TrimSuffix(prose.Wrap("  ", clockAdvice([]int{hz}, target.Chips[0])), "\n"))
		}
		return fmt.Errorf("%s: every byte of the firmware was read back, but it does not answer: press the board's reset button and try mealtab status; if it stays silent, "+
			"the board may run at another clock rate than --board says", l.Name())
	case err != nil:
		return fmt.Errorf("every byte of the firmware was read back, but: %w", err)
	}
	fmt.Fprintf(a.out, "it answers: %s, firmware %d; next: mealtab upload PLAN\n", f.BoardName(), f.ID.Firmware)
	return nil
}

// offClockPatience is how long a firmware is asked at each rate that another clock would make: several knocks.
const offClockPatience = 700 * time.Millisecond

// clockByLine finds the rate at which a firmware answers on a chip with another clock than its image is for, and that clock (Hz); 0: none.
func clockByLine(l *link.Link, target bootload.Target) (baud, hz int) {
	for _, hz := range []int{8_000_000, 16_000_000, 12_000_000, 20_000_000, 1_000_000, 2_000_000} {
		baud := int(int64(target.Baud) * int64(hz) / int64(target.Clock))
		if hz == target.Clock || slices.Contains(profile.Rates(), baud) {
			continue
		}
		asked := link.New(l.Transport(), l.Name(), 0)
		if _, err := asked.Connect([]int{baud}, offClockPatience); err == nil {
			return baud, hz
		}
	}
	return 0, 0
}
