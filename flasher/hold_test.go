package flasher_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/emulator/board"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
)

// servings counts what the wheel turned since the start of a test: turns, and pockets that fell.
type servings struct{ turns, pockets int }

func count(e *flashertest.Emulated) *servings {
	s := &servings{}
	e.OnEvent = func(ev board.Event) {
		switch ev.Kind {
		case board.TurnStarted:
			s.turns++
		case board.PocketFell:
			s.pockets++
		}
	}
	return s
}

// Start of the tests' world is 12:00:00; the table has a meal of 3 pockets (90 units of a pocket's 31) at 12:01.
func atNoon(t testing.TB, boardName string, change func(*board.Config)) *flashertest.Emulated {
	t.Helper()
	return flashertest.New(t, boardName, flashertest.Table(t, boardName, []uint16{12*60 + 1, 23 * 60}, 0), change)
}

// Opening the port resets many boards. A hundred openings, from half a minute before the meal on, while it is served and after it: the
// meal is served once.
func TestHundredOpeningsAtMealTime(t *testing.T) {
	e := atNoon(t, "m328-mains", nil)
	e.HasReset = true
	s := count(e)
	e.Sleep(30 * time.Second)
	for i := range 100 {
		require.NoError(t, e.Reset())
		e.Sleep(time.Duration(i%7) * 150 * time.Millisecond)
		f, err := flasher.Connect(e.Link("emulated"))
		require.NoError(t, err)
		_, err = f.Status()
		require.NoError(t, err)
	}
	e.Sleep(2 * time.Minute)
	require.Equal(t, servings{1, 3}, *s)
	require.Empty(t, e.Broken)
	f := connect(t, e)
	list, err := f.History(0)
	require.NoError(t, err)
	served := 0
	for _, h := range list {
		if h.Event == table.EventServed {
			served++
		}
	}
	require.Equal(t, 1, served)
}

// Resets that wait for no answer fall into the serving itself, again and again: at most one pocket too many, and the board says that it may
// have left some out.
func TestHundredResetsAtMealTime(t *testing.T) {
	e := atNoon(t, "m328-mains", nil)
	e.HasReset = true
	s := count(e)
	e.Sleep(59 * time.Second)
	for i := range 100 {
		require.NoError(t, e.Reset())
		e.Sleep(time.Duration(100+i*37%400) * time.Millisecond)
	}
	e.Sleep(2 * time.Minute)
	require.LessOrEqual(t, s.pockets, 4)
	st, err := connect(t, e).Status()
	require.NoError(t, err)
	require.NotZero(t, st.Faults&table.FaultBitPower)
}

// Uploads around the moment of a meal that both tables have: it is served once, all its pockets.
func TestUploadsAtMealTimeServeOnce(t *testing.T) {
	first := flashertest.Table(t, "m328-mains", []uint16{12*60 + 1, 23 * 60}, 0)
	second := flashertest.Table(t, "m328-mains", []uint16{12*60 + 1, 22 * 60}, 0) // the same meal, another later one
	for _, wait := range []time.Duration{0, 57 * time.Second, 58 * time.Second, 59 * time.Second, 59700 * time.Millisecond, 60 * time.Second, 61 * time.Second, 63 * time.Second, 90 * time.Second} {
		t.Run(wait.String(), func(t *testing.T) {
			e := flashertest.New(t, "m328-mains", first, nil)
			s := count(e)
			e.Sleep(wait)
			require.NoError(t, uploadOnce(e, second))
			e.Sleep(3 * time.Minute)
			require.Equal(t, servings{1, 3}, *s)
		})
	}
}

// The old table serves until the commit, the new one from the next minute on: what the new one has before is not made up for.
func TestNewTableServesFromTheNextMinute(t *testing.T) {
	old := flashertest.Table(t, "m328-mains", []uint16{23 * 60}, 0)
	next := flashertest.Table(t, "m328-mains", []uint16{11*60 + 59, 12*60 + 2}, 0)
	e := flashertest.New(t, "m328-mains", old, nil)
	s := count(e)
	e.Sleep(50 * time.Second)
	require.NoError(t, uploadOnce(e, next))
	e.Sleep(60 * time.Second)
	require.Zero(t, s.turns)
	e.Sleep(30 * time.Second)
	require.Equal(t, servings{1, 3}, *s)
}

// Sequence numbers wrap from 255 to 0, and banks are used in turn; preset, portions, carry and token survive every upload.
func TestSequenceNumbersWrap(t *testing.T) {
	h := newHousehold(t)
	e := h.Fork()
	f := connect(t, e)
	s, err := f.Status()
	require.NoError(t, err)
	tables := [][]byte{h.next, h.old}
	uploads := 520
	if flashertest.Race {
		uploads = 260
	}
	for i := range uploads {
		require.NoError(t, f.Upload(tables[i%2], s, nil))
		after, err := f.Status()
		require.NoError(t, err)
		require.Equal(t, 1-s.Bank, after.Bank, i)
		require.Equal(t, s.Sequence+1, after.Sequence, i)
		require.Equal(t, []int{s.Preset, s.Adjust, s.Carry, int(s.Token)}, []int{after.Preset, after.Adjust, after.Carry, int(after.Token)})
		s = after
	}
	held, err := f.Table(s)
	require.NoError(t, err)
	require.True(t, flasher.Holds(held, tables[(uploads-1)%2]))
	require.Empty(t, e.Broken)
}

// On cells the board is in power-down, and its oscillator is up to a tenth off. The first octets wake it and are lost; from the rest
// it takes the bit time.
func TestSleepingBoardOnInternalOscillator(t *testing.T) {
	next := flashertest.Table(t, "m328-cells", []uint16{9 * 60}, 40)
	for percent := -10; percent <= 10; percent++ {
		t.Run(fmt.Sprintf("%+d %%", percent), func(t *testing.T) {
			e := atNoon(t, "m328-cells", func(c *board.Config) { c.ClockHz = c.ClockHz * uint64(100+percent) / 100 })
			e.Sleep(40 * time.Second)
			require.True(t, e.Asleep())
			f := connect(t, e)
			s, err := f.Status()
			require.NoError(t, err)
			require.NoError(t, f.Upload(next, s, nil))
			e.Sleep(time.Minute)
			require.True(t, e.Asleep())
			s, err = f.Status()
			require.NoError(t, err)
			held, err := f.Table(s)
			require.NoError(t, err)
			require.True(t, flasher.Holds(held, next))
			t.Log(f.Link().Stats)
		})
	}
}

// Behind a pseudo-terminal a board has its own rate while the host tries another; asleep, it answers at the first try all the same.
func TestSleepingBoardBehindTerminal(t *testing.T) {
	for n := range 8 {
		e := atNoon(t, "m328-cells", nil)
		e.Rateless = true
		e.Sleep(2*time.Minute + time.Duration(n)*31*time.Millisecond) // past the meal
		f, err := flasher.Connect(e.Link("test"))
		require.NoError(t, err)
		for range 3 {
			e.Sleep(20 * time.Second)
			require.True(t, e.Asleep())
			_, err = f.Status()
			require.NoError(t, err)
		}
		require.Zero(t, f.Link().Stats.Resent)
	}
}

// Serving by hand over a line that loses answers: once.
func TestServeOnceThoughAnswersAreLost(t *testing.T) {
	e := atNoon(t, "m328-mains", nil)
	s := count(e)
	f := connect(t, e)
	st, err := f.Status()
	require.NoError(t, err)
	lost := 0
	e.OnAnswer = func() bool { lost++; return lost <= 20 } // the first two answers or so
	pockets, err := f.Serve(st, 62)
	require.NoError(t, err)
	require.Equal(t, 2, pockets)
	e.OnAnswer = nil
	e.Sleep(5 * time.Second)
	require.Equal(t, servings{1, 2}, *s)
}
