package bench_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/emulator/board"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// What the tests on the bench must not do, judged by what the emulated wheel did.

// turning are the actions that move the servo, or give it its supply.
var turning = []struct {
	action flasher.Action
	count  int
}{{flasher.Hold, 3}, {flasher.Forward, 1}, {flasher.Back, 1}, {flasher.Twitch, 2}}

// mealAt makes a board with one meal a day, of two pockets, so long from now.
func mealAt(t *testing.T, in time.Duration) (*flashertest.Emulated, *flasher.Feeder) {
	t.Helper()
	at := flashertest.Start.Add(in)
	w := table.Wheel{PocketUnits: 1}
	tab, err := table.Encode(&table.Table{Board: 1, Start: 9000, Through: table.MaxDay, Late: 60, Wheel: w, Button: table.DefaultButton(w),
		Meals: []table.Meal{{Portion: 2, Parts: []table.Part{{Times: table.Times{List: []uint16{uint16(at.Hour()*60 + at.Minute())}}}}}}})
	require.NoError(t, err)
	e := flashertest.New(t, "m328-mains", tab, nil)
	e.Sleep(time.Second)
	f, err := flasher.Connect(e.Link("desk"))
	require.NoError(t, err)
	return e, f
}

// tokens counts for one board.
type tokens struct{ last byte }

func (c *tokens) do(f *flasher.Feeder, a flasher.Action, count, trim int) (flasher.Served, error) {
	s, err := f.Service(c.last+1, a, count, trim)
	if err == nil {
		c.last++
	}
	return s, err
}

// Nothing turns for a test when a serving is due within two minutes; what only looks delays it by its own length at most, and it is given once.
func TestNoTestTurnsBesideAServing(t *testing.T) {
	e, f := mealAt(t, 2*time.Minute)
	var c tokens
	for _, a := range turning {
		_, err := c.do(f, a.action, a.count, 0)
		require.ErrorIs(t, err, flasher.ErrNotNow)
	}
	require.Zero(t, e.Board.Angle())
	e.Sleep(flashertest.Start.Add(2*time.Minute - 3*time.Second).Sub(e.Now()))
	_, err := c.do(f, flasher.Watch, 8, 0)
	require.NoError(t, err)
	e.Sleep(5 * time.Second)
	require.EqualValues(t, 2, e.Board.Pockets())
	e.Sleep(10 * time.Minute)
	require.EqualValues(t, 2, e.Board.Pockets())
}

// A board that is asked to ring keeps its next serving: it comes to the second.
func TestRingingKeepsTheNextServing(t *testing.T) {
	e, f := mealAt(t, time.Hour)
	var c tokens
	s, err := c.do(f, flasher.Ring, 2, 0)
	require.NoError(t, err)
	require.NotZero(t, s.Seen&flasher.PinInt)
	require.Zero(t, e.Board.Clock().IllegalMasks())
	e.Sleep(flashertest.Start.Add(time.Hour - time.Second).Sub(e.Now()))
	require.Zero(t, e.Board.Pockets())
	e.Sleep(4 * time.Second)
	require.EqualValues(t, 2, e.Board.Pockets())
}

// One pocket for a test is one by hand: counted with those of button and line, in history and journal, and it fell.
func TestAPocketForATestIsOneByHand(t *testing.T) {
	e, f := mealAt(t, 12*time.Hour)
	var c tokens
	for n := 1; n <= table.DefaultPerHour; n++ {
		_, err := c.do(f, flasher.Forward, 1, 0)
		require.NoError(t, err)
		st, err := f.Status()
		require.NoError(t, err)
		require.Equal(t, n, st.Asked)
		require.EqualValues(t, n, e.Board.Pockets())
	}
	_, err := c.do(f, flasher.Forward, 1, 0)
	require.ErrorIs(t, err, flasher.ErrNotNow)
	st, err := f.Status()
	require.NoError(t, err)
	_, err = f.Serve(st, 0)
	require.ErrorIs(t, err, flasher.ErrRefused, "the limit is one")
	history, err := f.History(0)
	require.NoError(t, err)
	byHand := 0
	for _, h := range history {
		if h.Event == table.EventManual {
			byHand += int(h.Value)
		}
	}
	require.Equal(t, table.DefaultPerHour, byHand)
	j, err := f.Journal()
	require.NoError(t, err)
	require.Equal(t, table.JournalManual, j.Kind)
}

// The stop pulse is held for no more seconds in a day than pockets may be given by hand, so that a wheel that creeps by it gives no more than
// that: at the largest trim, and with a servo that is off its centre by as much.
func TestHoldingIsBounded(t *testing.T) {
	e, f := mealAt(t, 12*time.Hour)
	var c tokens
	for seconds := 0; ; {
		_, err := c.do(f, flasher.Hold, 8, 60)
		if errors.Is(err, flasher.ErrNotNow) {
			require.Equal(t, table.MaxAskedDay, seconds)
			break
		}
		require.NoError(t, err)
		seconds += 8
	}
	require.LessOrEqual(t, int(e.Board.Pockets()), table.MaxAskedDay)
	_, err := c.do(f, flasher.Hold, 1, 61)
	require.ErrorIs(t, err, frame.StatusError(frame.BadRange))
	_, err = c.do(f, flasher.Hold, 9, 0)
	require.ErrorIs(t, err, frame.StatusError(frame.BadRange))
}

// Whatever is held or lit ends by itself when the cable is pulled.
func TestALostLineEndsByItself(t *testing.T) {
	for _, a := range []struct {
		action flasher.Action
		count  int
	}{{flasher.Hold, 8}, {flasher.Light, 8}, {flasher.Back, 1}, {flasher.Twitch, 2}, {flasher.Ring, 8}, {flasher.Watch, 8}} {
		e, f := mealAt(t, 12*time.Hour)
		lit, on := false, false
		e.OnEvent = func(ev board.Event) {
			switch ev.Kind {
			case board.Light:
				lit = ev.Value == 1
			case board.ServoSupply:
				on = ev.Value == 1
			}
		}
		began := e.Now()
		e.Watch = func() { e.Unplugged = e.Now().Sub(began) > 300*time.Millisecond }
		var c tokens
		_, err := c.do(f, a.action, a.count, 0)
		require.ErrorIs(t, err, link.ErrClosed)
		e.Watch = nil
		e.Sleep(began.Add((flasher.MostService + 1) * time.Second).Sub(e.Now()))
		assert.False(t, lit, a.action)
		assert.False(t, on, a.action)
		e.Sleep(12 * time.Hour)
		assert.EqualValues(t, 2, e.Board.Pockets(), "the meal came, once")
	}
}

// An answer that is lost costs no second pocket; a board that was reset meanwhile begins nothing again.
func TestATestIsNotDoneTwice(t *testing.T) {
	e, f := mealAt(t, 12*time.Hour)
	var c tokens
	lost := 0
	e.OnAnswer = func() bool { // the first answer
		lost++
		return lost < 14
	}
	_, err := c.do(f, flasher.Forward, 1, 0)
	require.NoError(t, err)
	require.Greater(t, lost, 14)
	e.OnAnswer = nil
	e.Sleep(3 * time.Second)
	require.EqualValues(t, 1, e.Board.Pockets())

	_, err = c.do(f, flasher.Light, 1, 0)
	require.NoError(t, err)
	e.Resets = []uint64{e.Board.Nanos() + uint64(50*time.Millisecond)}
	angle := e.Board.Angle()
	_, err = c.do(f, flasher.Back, 1, 0)
	require.ErrorIs(t, err, frame.StatusError(frame.BadRange))
	e.Sleep(5 * time.Second)
	require.InDelta(t, angle, e.Board.Angle(), 0.5)
}

// Power may fail at any instant of a test: afterwards the wheel has turned at most one pocket for it, and the meal comes, once.
func TestPowerCutsInATest(t *testing.T) {
	for _, a := range turning {
		base, f := mealAt(t, time.Hour)
		_ = f
		for at := 5 * time.Millisecond; at < 900*time.Millisecond; at += 45 * time.Millisecond {
			e := base.Fork()
			e.PowerCut = e.Board.Nanos() + uint64(at)
			l := e.Link("desk")
			g, err := flasher.Connect(l)
			if err == nil {
				_, err = g.Service(1, a.action, a.count, 0)
			}
			if err == nil {
				e.Sleep(time.Second)
			}
			require.True(t, e.Unplugged, "%v at %v", a.action, at)
			e.Repower(time.Second)
			e.Sleep(flashertest.Start.Add(time.Hour - 10*time.Second).Sub(e.Now()))
			test := e.Board.Pockets()
			assert.LessOrEqual(t, test, int64(1), "%v at %v", a.action, at)
			e.Sleep(20 * time.Second)
			meal := e.Board.Pockets() - test
			assert.True(t, meal == 2 || meal == 1 && a.action == flasher.Back, "%v at %v: the meal gave %d", a.action, at, meal)
		}
	}
}
