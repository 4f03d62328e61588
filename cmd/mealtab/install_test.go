package main

import (
	"bytes"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/flasher/bootload"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
)

// installed runs the command on a board, as it is once the port is open.
func installed(t *testing.T, e *flashertest.Emulated, board string, tty *os.File) (out, errs string, err error) {
	t.Helper()
	var said, complained bytes.Buffer
	a := newApp(nil, &said, &complained)
	if tty != nil {
		a.err = tty
	}
	target, ok := bootload.TargetNamed(board)
	require.True(t, ok)
	err = a.installOn(link.New(e, "desk", 57600), flashertest.Image(t, board).Flash, target)
	return said.String(), complained.String(), err
}

// A board with a bootloader as it is sold; what the owner reads, and a bar on a terminal.
func TestInstallSays(t *testing.T) {
	e := flashertest.Boots()[0].Fresh(t)
	e.HasReset = true
	seen := onTerminal(t, func(tty *os.File) {
		out, _, err := installed(t, e, "m328-mains", tty)
		require.NoError(t, err)
		require.Regexp(t, `^\d\d,\d{3} bytes of firmware for m328-mains written through the short bootloader and read back in \d\.\d s
it answers: m328-mains, firmware \d+; next: mealtab upload PLAN
$`, out)
	})
	require.Regexp(t, `\rdesk +\d+% [^\r]*\r +\r$`, seen)
}

func TestInstallRefused(t *testing.T) {
	wrong := flashertest.Boots()[0].Fresh(t)
	wrong.HasReset = true
	_, _, err := installed(t, wrong, "m168-mains", nil)
	require.EqualError(t, err, "desk: the chip is an ATmega328P, this firmware is for ATmega168P (nothing was written)")

	// A feeder without a bootloader, on a port without a reset line.
	_, errs, err := installed(t, flashertest.New(t, "m328-mains", nil, nil), "m328-mains", nil)
	require.ErrorContains(t, err, "no bootloader answers (nothing was written)\n  if the board has a bootloader")
	require.ErrorContains(t, err, "the fuses low FF,")
	require.Contains(t, errs, "desk has no reset line: press the board's reset button now (time 3 of 3 at most)")
}
