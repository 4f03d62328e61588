package check

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/board"
)

// A program that hangs is begun anew without a reset of the chip: older bootloaders start with the watchdog running, and would never
// leave. What drives the servo is off at once, the start knows the cause, and servings go on.
func TestHungProgramRestarts(t *testing.T) {
	for _, name := range []string{"m328-mains", "m328-cells", "m168-mains"} {
		t.Run(name, func(t *testing.T) {
			f := newFeeder(t, name, 3, nil)
			resets := 0
			f.Observe(func(e board.Event) {
				f.answers.see(e)
				if e.Kind == board.WasReset {
					resets++
				}
			})
			const forEver = 0xCFFF // RJMP to itself
			at := -1
			for i, word := range f.MCU().Flash() {
				if word == forEver {
					at = i
				}
			}
			require.Positive(t, at, "a loop in the C library's exit")
			// In mid-turn, with the servo on.
			f.RunUntil(boardStart.Add(10 * time.Minute))
			for n := 0; n < 100 && !f.BoostOn(); n++ {
				f.Run(50 * time.Millisecond) // without a crystal the clock is measured first
			}
			f.Run(250 * time.Millisecond)
			require.True(t, f.BoostOn())
			for !f.MCU().Executing() {
				f.MCU().Step()
			}
			f.MCU().SetPC(uint16(at))
			f.MCU().SetSREG(f.MCU().SREG() | 0x80)
			f.Run(17 * time.Second)
			require.Zero(t, resets)
			require.False(t, f.BoostOn())
			f.Run(5 * time.Minute)
			require.Zero(t, resets)
			require.InDelta(t, 3, float64(f.Pockets()), 1)
			f.Run(time.Hour)
			require.InDelta(t, 6, float64(f.Pockets()), 1)
			require.Zero(t, resets)
		})
	}
}

// The watchdog's interrupt may come anywhere: between the line's answer and the nap, in a search, in a wait. Line sessions, each a little
// later against the watchdog than the one before, end without a restart.
func TestSessionsEndWithoutRestart(t *testing.T) {
	f := newFeeder(t, "m328-mains", 3, nil)
	base := f.Board
	for n := range 30 {
		b := base.Fork()
		resets := 0
		b.Observe(func(e board.Event) {
			if e.Kind == board.WasReset {
				resets++
			}
		})
		b.Run(time.Duration(n) * 277 * time.Millisecond)
		for range 3 {
			ask(b, 3) // CLOCK_READ waits for a second to begin
			b.Run(900 * time.Millisecond)
		}
		b.Run(40 * time.Second)
		require.Zero(t, resets, "session %d", n)
	}
}

// The clock's line may fall at any instant, while the board looks at its buttons, naps or shows a fault: the wheel starts within a
// second and a half.
func TestAlarmIsNeverLate(t *testing.T) {
	for _, fault := range []bool{false, true} {
		f := newFeeder(t, "m328-mains", 3, nil)
		if fault {
			f.Run(6 * time.Minute) // the first serving
			f.CutInt(true)
			f.SetSource(4200, -1) // the next one is missed: its fault stays shown
			f.Run(4 * time.Hour)
			f.SetSource(5000, -1)
			f.CutInt(false)
			f.Run(2 * time.Minute)
			require.NotZero(t, f.faults())
		}
		f.RunUntil(f.Now().Truncate(time.Hour).Add(time.Hour + 5*time.Minute))
		base := f.Board
		for n := range 100 {
			b := base.Fork()
			started := uint64(0)
			b.Observe(func(e board.Event) {
				if e.Kind == board.TurnStarted && started == 0 {
					started = e.At
				}
			})
			// The world's clock against the chip's: the alarm meets every place of the light's rhythm.
			b.SetClock(b.Now().Add(time.Duration(n) * 100 * time.Millisecond))
			b.Run(10 * time.Minute)
			require.NotZero(t, started)
			at := b.Time(started).Add(time.Duration(n) * 100 * time.Millisecond)
			require.Less(t, at.Sub(at.Truncate(time.Minute)), 1500*time.Millisecond, "fault %v, %d", fault, n)
		}
	}
}
