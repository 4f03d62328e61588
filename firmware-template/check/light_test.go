package check

import (
	"testing"
	"time"

	"mealtab/compiler/profile"
	"mealtab/emulator/board"
	"mealtab/flasher/frame"
)

// A board without a table shows three flashes every tick of the watchdog and sleeps between their edges: in an hour it is awake
// for less than a thousandth of the time, and its ticks still count the seconds. A tick is 1,048,576 cycles of 128 kHz
// (ATmega328P data sheet, table 11-2), 8.192 s.
func TestFaultLightSleeps(t *testing.T) {
	for _, p := range profile.Boards() {
		t.Run(p.Name, func(t *testing.T) {
			b := newBoard(t, p.Name, 0)
			b.SetClock(boardStart)
			flashes := 0
			var a answers
			b.Observe(func(e board.Event) {
				if e.Kind == board.Light && e.Value == 1 {
					flashes++
				}
				a.see(e)
			})
			b.PowerOn()
			b.Run(time.Minute) // the line is open for the first seconds
			flashes = 0
			awake := awakeFor(b, time.Hour)
			t.Logf("%d flashes and %v awake in an hour", flashes, awake)
			if awake > 3600*time.Millisecond {
				t.Errorf("awake for %v of an hour, want at most a thousandth", awake)
			}
			// A round is a tick and three flashes of 9/256 of one.
			if want := 3 * int(time.Hour/(8192*time.Millisecond*(256+27)/256)); flashes < want-6 || flashes > want+6 {
				t.Errorf("%d flashes in an hour, want about %d", flashes, want)
			}
			knock(b, 400*time.Millisecond) // a flash in progress ends first
			ask(b, frame.Status)
			status := frame.MessageNamed("STATUS")
			if len(a.last) < frame.Size(status.Response)+frame.MinAnswer {
				t.Fatalf("answer %x", a.last)
			}
			payload, _ := frame.Response(a.last)
			ticks := int(status.Number(payload, "TICKS"))
			want := int(b.Now().Sub(boardStart) / (8192 * time.Millisecond))
			if ticks < want-2 || ticks > want+1 {
				t.Errorf("%d ticks in %v, want %d", ticks, b.Now().Sub(boardStart), want)
			}
		})
	}
}
