package check

import (
	"bytes"
	"encoding/binary"
	"testing"
	"time"

	"mealtab/emulator/board"
	"mealtab/flasher/frame"
)

// A board without a table shows three flashes every tick of the watchdog and sleeps between their edges: in an hour it is awake
// for less than a thousandth of the time, and its ticks still count the seconds. A tick is 1,048,576 cycles of 128 kHz
// (ATmega328P data sheet, table 11-2), 8.192 s.
func TestFaultLightSleeps(t *testing.T) {
	for _, name := range []string{"m328-mains", "m328-cells", "m168-mains"} {
		t.Run(name, func(t *testing.T) {
			b := newBoard(t, name, 0)
			b.SetClock(boardStart)
			flashes := 0
			var d frame.Decoder
			var status []byte
			b.Observe(func(e board.Event) {
				switch {
				case e.Kind == board.Light && e.Value == 1:
					flashes++
				case e.Kind == board.LineSent && e.Arg == 0:
					if got, err, done := d.Next(byte(e.Value)); done && err == nil {
						status = bytes.Clone(got)
					}
				}
			})
			b.PowerOn()
			b.Run(time.Minute) // the line is open for the first seconds
			flashes = 0
			from := b.MCU().Stats()
			b.Run(time.Hour)
			to := b.MCU().Stats()
			awake := time.Duration(float64(to.Awake-from.Awake) / float64(b.MCU().ClockHz()) * 1e9)
			t.Logf("%d flashes and %v awake in an hour", flashes, awake)
			if awake > 3600*time.Millisecond {
				t.Errorf("awake for %v of an hour, want at most a thousandth", awake)
			}
			// A round is a tick and three flashes of 9/256 of one.
			if want := 3 * int(time.Hour/(8192*time.Millisecond*(256+27)/256)); flashes < want-6 || flashes > want+6 {
				t.Errorf("%d flashes in an hour, want about %d", flashes, want)
			}
			b.Send(append(bytes.Repeat([]byte{frame.Preamble}, 16), frame.Flag))
			b.Run(400 * time.Millisecond) // a flash in progress ends first
			b.Send(append(bytes.Repeat([]byte{frame.Preamble}, 16), frame.Flag))
			b.Run(50 * time.Millisecond)
			b.Send(frame.Append(nil, []byte{frame.Status, 1}))
			b.Run(300 * time.Millisecond)
			if len(status) < 3+29 {
				t.Fatalf("answer %x", status)
			}
			ticks := int(binary.LittleEndian.Uint16(status[3+27:]))
			want := int(b.Now().Sub(boardStart) / (8192 * time.Millisecond))
			if ticks < want-2 || ticks > want+1 {
				t.Errorf("%d ticks in %v, want %d", ticks, b.Now().Sub(boardStart), want)
			}
		})
	}
}
