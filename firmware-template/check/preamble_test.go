package check

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/firmware-template/image"
	"mealtab/flasher/frame"
)

// The board on its internal oscillator answers a host whose rate it has measured, from 10 % slow to 10 % fast (the
// oscillator's range as shipped: ATmega328P data sheet, section 29.4). The host sends the preamble, a flag and a pause, then
// the frame.
func TestPreamble(t *testing.T) {
	for percent := -10; percent <= 10; percent += 2 {
		t.Run(fmt.Sprintf("%+d%%", percent), func(t *testing.T) {
			if got := identify(t, percent); len(got) < 6 || got[0] != frame.Identify|frame.Answer || got[7] != 2 {
				t.Errorf("answer %x", got)
			}
		})
	}
}

// identify wakes the board and returns the content of its answer to IDENTIFY.
func identify(t *testing.T, percent int) (content []byte) {
	c, err := board.ForBoard("m328-cells")
	if err != nil {
		t.Fatal(err)
	}
	c.ClockHz = c.ClockHz * uint64(100+percent) / 100
	c.Start = time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	hex, _ := image.Hex("m328-cells")
	if c.Firmware, err = avr.ReadHex(bytes.NewReader(hex)); err != nil {
		t.Fatal(err)
	}
	b, err := board.New(c)
	if err != nil {
		t.Fatal(err)
	}
	var d frame.Decoder
	b.Observe(func(e board.Event) {
		if e.Kind != board.LineSent || e.Arg != 0 {
			return
		}
		if got, err, done := d.Next(byte(e.Value)); done && err == nil {
			content = bytes.Clone(got)
		}
	})
	b.PowerOn()
	b.Run(40 * time.Second)
	b.Send(append(bytes.Repeat([]byte{frame.Preamble}, 16), frame.Flag))
	b.Run(50 * time.Millisecond)
	b.Send(frame.Append(nil, []byte{frame.Identify, 1}))
	b.Run(300 * time.Millisecond)
	return content
}
