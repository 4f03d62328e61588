package main

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/flasher/bootload"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
)

// presser is somebody who reads what is asked and presses the reset button, but not the first times.
type presser struct {
	bytes.Buffer
	misses int
	press  func()
}

func (p *presser) Write(b []byte) (int, error) {
	if bytes.Contains(b, []byte("reset button")) {
		if p.misses--; p.misses < 0 {
			p.press()
		}
	}
	return p.Buffer.Write(b)
}

// A board without reset lines, and somebody who misses the first calls: each family is found by the button at the latest when its rate comes round again.
func TestInstallByButton(t *testing.T) {
	for _, boot := range flashertest.Boots() {
		t.Run(boot.Name(), func(t *testing.T) {
			const misses = 3
			e := boot.Fresh(t)
			e.Sleep(5e9) // the bootloader has given up: an empty flash
			var out bytes.Buffer
			who := &presser{misses: misses, press: e.Board.Reset}
			a := newApp(nil, &out, who)
			a.openPort = func(name string, baud int) (*link.Link, error) { return link.New(e, name, baud), e.SetBaud(baud) }
			require.Zero(t, a.execute([]string{"install", "--board", boot.Board, "--port", "desk"}), who.String())
			require.Contains(t, out.String(), "it answers: "+boot.Board)
			require.LessOrEqual(t, strings.Count(who.String(), "press the board's"), misses+len(bootload.Families()))
		})
	}
}

// Boards with other chips: a twin takes the image; an unknown one is told by its signature, gets nothing written, and no fuses are named for it.
// Signatures: ATmega16U4/32U4 data sheet, table 28-5 (1E 95 87); that of the ATmega328PB from memory.
func TestInstallOnOtherChips(t *testing.T) {
	run := func(c bootload.Chip) (*flashertest.Bootloader, string) {
		b := flashertest.NewBootloader(bootload.Families()[0], c, 57600)
		var out, errs bytes.Buffer
		a := newApp(nil, &out, &errs)
		a.openPort = func(name string, baud int) (*link.Link, error) { return link.New(b, name, baud), b.SetBaud(baud) }
		require.Equal(t, exitFailed, a.execute([]string{"install", "--board", "m328-mains", "--port", "desk"})) // the model has no firmware that answers
		return b, errs.String()
	}
	for _, c := range bootload.Chips() {
		b, errs := run(c)
		if c.Flash == 32768 {
			require.Greater(t, b.Writes, 100, c.Name)
			require.Contains(t, errs, "every byte of the firmware was read back, but it does not answer")
		} else {
			require.Zero(t, b.Writes, c.Name)
			require.Contains(t, errs, "the chip is an "+c.Name+", this firmware is for ATmega328P (nothing was written)\n  with this chip: --board m168-mains")
		}
	}
	b, errs := run(bootload.Chip{Signature: [3]byte{0x1E, 0x95, 0x87}, Flash: 32768, Page: 128})
	require.Zero(t, b.Writes)
	require.Contains(t, errs, "the chip's signature is 1E 95 87, that of no chip this program knows; this firmware is for ATmega328P (nothing was written)\n")
	require.Contains(t, errs, "ATmega328PB 1E 95 16")
	require.NotRegexp(t, `(?i)fuses low|low F|high D`, errs)
}
