package check

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/emulator/board"
	"mealtab/emulator/scenario"
	"mealtab/flasher/frame"
)

const spoiltPockets = 7

// inServing lets something happen so long after the wheel got power for a serving of seven pockets, and runs on until all attempts are over.
func inServing(t *testing.T, name string, after time.Duration, what func(*feeder)) *feeder {
	t.Helper()
	f := newFeeder(t, name, spoiltPockets, nil)
	f.RunUntil(boardStart.Add(10 * time.Minute))
	for !f.BoostOn() {
		f.Run(time.Millisecond)
	}
	f.Run(after)
	what(f)
	f.Run(20 * time.Minute)
	return f
}

// An index switch that fails in the middle of a serving, at any phase of a pocket, neither starves nor stuffs: what was turned until that
// was found out counts. Once it works again and its fault is acknowledged, nothing is said of it any more.
func TestIndexSwitchFailsInServing(t *testing.T) {
	for _, name := range []string{"m328-index", "m328-both"} {
		for _, contact := range []board.Contact{board.NeverCloses, board.NeverOpens} {
			for after := 40 * time.Millisecond; after < 2500*time.Millisecond; after += 70 * time.Millisecond {
				t.Run(fmt.Sprintf("%s %d %v", name, contact, after), func(t *testing.T) {
					t.Parallel()
					f := inServing(t, name, after, func(f *feeder) { f.SetIndex(contact) })
					require.InDelta(t, spoiltPockets, f.Pockets(), 1)
					f.Run(time.Hour)
					require.InDelta(t, 2*spoiltPockets, f.Pockets(), 1)
					require.Equal(t, table.FaultBitSwitch, f.latched())
					f.SetIndex(board.ContactGood)
					f.request(frame.FaultsClear, 0xFF, 0xFF)
					before := f.Pockets()
					f.Run(2 * time.Hour)
					require.InDelta(t, 2*spoiltPockets, f.Pockets()-before, 1)
					require.Zero(t, f.latched())
				})
			}
		}
	}
}

// The supply fails, at any instant, in a serving whose index switch has failed, at any instant: at most one pocket too many, and after
// one cut at most two too few, since a switch that is found out leaves one out.
func TestCutWhileIndexSwitchFails(t *testing.T) {
	for _, pockets := range []int{1, 3} {
		for _, contact := range []board.Contact{board.NeverCloses, board.NeverOpens} {
			t.Run(fmt.Sprintf("%d pockets, %d", pockets, contact), func(t *testing.T) {
				t.Parallel()
				base := newFeeder(t, "m328-index", pockets, nil)
				base.RunUntil(boardStart.Add(10 * time.Minute))
				for !base.BoostOn() {
					base.Run(time.Millisecond)
				}
				for fails := time.Duration(0); fails < time.Duration(pockets)*310*time.Millisecond; fails += 206 * time.Millisecond {
					for cut := fails; cut < 3*time.Second; cut += 62 * time.Millisecond {
						b := base.Fork()
						before := b.Pockets()
						b.Run(fails)
						b.SetIndex(contact)
						b.Run(cut - fails)
						b.PowerOff()
						b.Run(time.Second)
						b.PowerOn()
						b.Run(5 * time.Minute)
						fell := int(b.Pockets() - before)
						require.LessOrEqual(t, fell, pockets+1, "fails after %v, cut after %v", fails, cut)
						require.GreaterOrEqual(t, fell, pockets-2, "fails after %v, cut after %v", fails, cut)
					}
				}
			})
		}
	}
}

// A barrier that goes blind in the middle of a serving has one pocket turned in vain, no more.
func TestBarrierGoesBlindInServing(t *testing.T) {
	for _, name := range []string{"m328-barrier", "m328-both"} {
		for after := 40 * time.Millisecond; after < 2800*time.Millisecond; after += 70 * time.Millisecond {
			t.Run(fmt.Sprintf("%s %v", name, after), func(t *testing.T) {
				t.Parallel()
				f := inServing(t, name, after, func(f *feeder) { f.SetBeam(board.BeamBlind) })
				require.GreaterOrEqual(t, f.Pockets(), int64(spoiltPockets))
				require.LessOrEqual(t, f.Pockets(), int64(spoiltPockets+1))
			})
		}
	}
}

// Pockets that stayed empty are turned again when the kibble falls again.
func TestGapInTheHopper(t *testing.T) {
	for _, name := range []string{"m328-barrier", "m328-both"} {
		f := newFeeder(t, name, spoiltPockets, nil)
		full := 0
		f.Observe(func(e board.Event) {
			f.answers.see(e)
			if e.Kind == board.PocketFell && e.Value > 0 {
				full++
			}
		})
		f.RunUntil(boardStart.Add(10*time.Minute + 900*time.Millisecond))
		f.Bridge(4)
		f.Run(20 * time.Minute)
		require.Equal(t, spoiltPockets, full, name)
		require.NotZero(t, f.latched()&table.FaultBitEmpty)
	}
}

// A fault that is raised as the board starts has the time at which it started.
func TestFaultAtStartHasItsTime(t *testing.T) {
	f := inServing(t, "m328-mains", 500*time.Millisecond, func(f *feeder) { f.cut(time.Second) })
	require.NotZero(t, f.latched()&table.FaultBitPower)
	faults := 0
	for _, p := range scenario.History(f.Board) {
		at := p.At.Time()
		if p.Event == "fault" {
			require.Equal(t, boardStart.Add(10*time.Minute), at)
			faults++
		}
	}
	require.Positive(t, faults)
}
