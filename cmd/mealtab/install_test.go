package main

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/emulator/avr"
	"mealtab/emulator/scenario"
	"mealtab/flasher/bootload"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
)

// installed runs the command on a board whose port is called desk.
func installed(e *flashertest.Emulated, board string, tty *os.File) (code int, out, errs string) {
	var said, complained bytes.Buffer
	a := newApp(nil, &said, &complained)
	if tty != nil {
		a.err = tty
	}
	a.openPort = func(name string, baud int) (*link.Link, error) { return link.New(e, name, baud), e.SetBaud(baud) }
	code = a.execute([]string{"install", "--board", board, "--port", "desk"})
	return code, said.String(), complained.String()
}

// application is the flash below the bootloader.
func application(e *flashertest.Emulated, boot flashertest.Boot) []byte {
	var octets []byte
	for _, word := range e.Board.MCU().Flash() {
		octets = append(octets, byte(word), byte(word>>8))
	}
	return octets[:len(octets)-boot.Family.Section]
}

// What the flash holds is every byte of the HEX file as the emulator's own reader has it, and nothing else; and that, not the file, is
// what serves a month as replayed.
func TestInstallPutsEveryByteThere(t *testing.T) {
	for _, boot := range flashertest.Boots() {
		t.Run(boot.Name(), func(t *testing.T) {
			e := boot.Fresh(t)
			e.HasReset = true
			code, out, errs := installed(e, boot.Board, nil)
			require.Zero(t, code, errs)
			want := flashertest.Image(t, boot.Board).Flash
			got := application(e, boot)
			padded := append(bytes.Clone(want), bytes.Repeat([]byte{0xFF}, len(got)-len(want))...)
			require.True(t, bytes.Equal(padded, got), "the last bytes are % X, should be % X", got[len(want)-4:len(want)], want[len(want)-4:])
			require.Contains(t, out, units.Thousands(len(want))+" bytes of firmware for "+boot.Board)

			tab := flashertest.Table(t, boot.Board, []uint16{7*60 + 30, 18 * 60}, 0)
			decoded, err := table.Decode(tab)
			require.NoError(t, err)
			described, _ := profile.Named(boot.Board)
			from, err := rehearseFrom(decoded, "")
			require.NoError(t, err)
			report, err := scenario.Rehearse(scenario.Rehearsal{Table: tab, Board: described, Firmware: &avr.Image{Flash: got}, From: from, Years: 1})
			require.NoError(t, err)
			require.Greater(t, report.Servings, 700)
		})
	}
}

// A board with a bootloader as it is sold; what the owner reads, and a bar on a terminal.
func TestInstallSays(t *testing.T) {
	e := flashertest.Boots()[0].Fresh(t)
	e.HasReset = true
	seen := onTerminal(t, func(tty *os.File) {
		code, out, _ := installed(e, "m328-mains", tty)
		require.Zero(t, code)
		require.Regexp(t, `^\d\d,\d{3} bytes of firmware for m328-mains written through the short bootloader and read back in \d\.\d s
it answers: m328-mains, firmware \d+; next: mealtab upload PLAN
$`, out)
	})
	require.Regexp(t, `\rdesk +\d+% [^\r]*\r +\r$`, seen)
}

func TestInstallRefused(t *testing.T) {
	wrong := flashertest.Boots()[0].Fresh(t)
	wrong.HasReset = true
	code, _, errs := installed(wrong, "m168-mains", nil)
	require.Equal(t, exitFailed, code)
	require.Equal(t, "mealtab install: desk: the chip is an ATmega328P, this firmware is for ATmega168P (nothing was written)\n"+
		"  with this chip: --board m328-mains, m328-index, m328-barrier, m328-both, m328-cells\n", errs)

	// A feeder without a bootloader, on a port without a reset line.
	code, _, errs = installed(flashertest.New(t, "m328-mains", nil, nil), "m328-mains", nil)
	require.Equal(t, exitFailed, code)
	require.Contains(t, errs, "no bootloader answers (nothing was written)\n  if the board has a bootloader")
	require.Contains(t, errs, "the fuses low FF,")
	require.Contains(t, errs, "desk has no reset line: press the board's reset button now, and once more each time this asks (at most 17 times; Ctrl-C ends it)\n")
	require.Equal(t, bootload.MostPresses()-1, strings.Count(errs, "desk: press the board's reset button again, now"))
}
