package flasher_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/board"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
)

// boardAhead is how far the emulated clock is ahead of the world, to the millisecond, by looking for the moment at which its seconds
// change.
func boardAhead(e *flashertest.Emulated) time.Duration {
	second := func() time.Time { return e.ChipTime() }
	first := second()
	for second().Equal(first) {
		e.Sleep(time.Millisecond)
	}
	return second().Sub(e.Now())
}

// The requirement is 20 ms. USB bridges differ in their latency: a full-speed device is asked every millisecond, and a bridge's
// latency timer holds input back for up to 16 ms [common practice].
func TestClockIsSetWithin20ms(t *testing.T) {
	for _, name := range []string{"m328-mains", "m328-cells"} {
		for _, l := range []struct{ out, in time.Duration }{{0, 0}, {time.Millisecond, 2 * time.Millisecond}, {time.Millisecond, 16 * time.Millisecond}, {8 * time.Millisecond, 8 * time.Millisecond}} {
			t.Run(fmt.Sprint(name, " ", l.out, " ", l.in), func(t *testing.T) {
				e := flashertest.New(t, name, flashertest.Table(t, name, []uint16{420, 1110}, 0), nil)
				e.Out, e.In = l.out, l.in
				e.Board.SetClock(e.Now().Add(-3700 * time.Second))
				f := connect(t, e)
				r, err := f.SetClock()
				require.NoError(t, err)
				real := boardAhead(e)
				require.Less(t, real.Abs(), 20*time.Millisecond)
				t.Logf("reported %v, really %v, trip %v", r.Offset, real, r.Trip)
			})
		}
	}
}

// The same where every transfer takes another time: up to 2 ms out, up to a whole latency timer of 16 ms in.
func TestClockIsSetWithin20msThroughJitter(t *testing.T) {
	worst := time.Duration(0)
	for seed := range uint64(25) {
		r := rand.New(rand.NewPCG(seed, 1))
		e := flashertest.New(t, "m328-mains", flashertest.Table(t, "m328-mains", []uint16{420, 1110}, 0), nil)
		e.Jitter = func() (time.Duration, time.Duration) {
			return time.Duration(r.IntN(2000)) * time.Microsecond, time.Duration(1000+r.IntN(15000)) * time.Microsecond
		}
		e.Board.SetClock(e.Now().Add(time.Duration(r.IntN(7200)-3600) * time.Second))
		_, err := connect(t, e).SetClock()
		require.NoError(t, err)
		off := boardAhead(e).Abs()
		require.Less(t, off, 20*time.Millisecond, "seed %d", seed)
		worst = max(worst, off)
	}
	t.Logf("worst %v", worst)
}

func TestClockChipSilent(t *testing.T) {
	e := flashertest.New(t, "m328-mains", flashertest.Table(t, "m328-mains", []uint16{420, 1110}, 0), nil)
	f := connect(t, e)
	e.Board.Silence(true)
	_, err := f.SetClock()
	require.ErrorIs(t, err, flasher.ErrNoClock)
}

// A clock that is fast shows it after some days, and the trim that the drift suggests makes it right. The ageing register: positive is
// slower, 0.1 ppm a step at 25 °C (DS3231 data sheet 19-5170, page 3).
func TestDriftAndTrim(t *testing.T) {
	for _, ppb := range []int64{5300, -3100} {
		e := flashertest.New(t, "m328-mains", flashertest.Table(t, "m328-mains", []uint16{420, 1110}, 0), func(c *board.Config) { c.ClockDriftPPB = ppb })
		f := connect(t, e)
		measure := func() (flasher.Drift, flasher.Status) {
			_, err := f.SetClock()
			require.NoError(t, err)
			e.Sleep(10 * 24 * time.Hour)
			r, err := f.ReadClock()
			require.NoError(t, err)
			s, err := f.Status()
			require.NoError(t, err)
			d, ok := flasher.DriftSince(s.ClockSet, r)
			require.True(t, ok)
			return d, s
		}
		d, _ := measure()
		require.InDelta(t, float64(ppb)/1000, d.PPM, d.Uncertain)
		present, err := f.Ageing()
		require.NoError(t, err)
		require.Zero(t, present)
		value, ok := d.Trim(present)
		require.True(t, ok)
		require.InDelta(t, float64(ppb)/100, value, 1)
		require.NoError(t, f.SetAgeing(value))
		d, _ = measure()
		require.InDelta(t, 0, d.PPM, 0.2)
		_, ok = d.Trim(value)
		require.False(t, ok && d.PPM > 0.15)
	}
}

func TestDriftUnknown(t *testing.T) {
	now := flashertest.Start
	_, ok := flasher.DriftSince(time.Time{}, flasher.Reading{At: now})
	require.False(t, ok, "never set")
	_, ok = flasher.DriftSince(now.Add(-time.Minute), flasher.Reading{At: now})
	require.False(t, ok, "just set")
	_, ok = flasher.DriftSince(now.Add(-time.Hour*48), flasher.Reading{At: now, Stopped: true})
	require.False(t, ok, "stood still")
}
