package flasher_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
)

// away is the household that goes away: its second preset, until a date.
type away struct {
	*flashertest.Emulated
	old, dated []byte
	until      table.Day
}

func newAway(t testing.TB) away {
	t.Helper()
	a := away{old: presetTable(t, 7*60, 0), until: 10000}
	var err error
	a.dated, err = table.WithPresetUntil(a.old, a.until)
	require.NoError(t, err)
	a.Emulated = flashertest.New(t, "m328-mains", a.old, nil)
	a.Sleep(20 * time.Second) // it has started, and sleeps
	return a
}

// goAway is what mealtab preset 2 --until does.
func (a away) goAway(e *flashertest.Emulated) error {
	f, err := flasher.Connect(e.Link("emulated"))
	if err != nil {
		return err
	}
	c, err := f.ProposePreset(1, &a.until)
	if err != nil {
		return err
	}
	if c.Writes() {
		staged, err := c.Stage(nil)
		if err != nil {
			return err
		}
		if err := staged.Commit(nil); err != nil {
			return err
		}
	}
	_, err = c.Set()
	return err
}

// left is how a feeder was left, and the same command must finish it. What must never be is the second preset without an end.
func (a away) left(t testing.TB, e *flashertest.Emulated, id string) string {
	t.Helper()
	f, err := flasher.Connect(e.Link("emulated"))
	require.NoError(t, err, id)
	st, err := f.Status()
	require.NoError(t, err, id)
	held, err := f.Table(st)
	require.NoError(t, err, id)
	dated := flasher.Holds(held, a.dated)
	require.True(t, dated || flasher.Holds(held, a.old), "%s: the board holds % X", id, held)
	require.False(t, st.Preset == 1 && !dated, "%s: away for ever", id)
	require.NoError(t, a.goAway(e), id)
	after, err := f.Status()
	require.NoError(t, err, id)
	held, err = f.Table(after)
	require.NoError(t, err, id)
	require.True(t, flasher.Holds(held, a.dated), id)
	require.Equal(t, 1, after.Preset, id)
	return fmt.Sprintf("dated %v, preset %d", dated, st.Preset)
}

// The cable is pulled after each octet of "away until", and the supply fails every few milliseconds of it: the feeder has its old preset, or
// the new one with its end, and the same again finishes it.
func TestAwayIsNeverForEver(t *testing.T) {
	a := newAway(t)
	total, ended := 0, a.Fork()
	began := ended.Board.Nanos()
	ended.Cut = func() bool { total++; return false }
	require.NoError(t, a.goAway(ended))
	took := ended.Board.Nanos() - began
	stride, pause := 3, uint64(23*time.Millisecond)
	if flashertest.Race {
		stride, pause = 29, uint64(211*time.Millisecond)
	}
	outcomes := map[string]int{}
	for n := 1; n <= total; n += stride {
		e := a.Fork()
		octets := n
		e.Cut = func() bool { octets--; return octets == 0 }
		require.Error(t, a.goAway(e), "octet %d", n)
		e.Cut, e.Unplugged = nil, false
		e.Sleep(10 * time.Second)
		outcomes[a.left(t, e, fmt.Sprintf("unplugged after octet %d of %d", n, total))]++
	}
	for at := uint64(0); at < took; at += pause {
		e := a.Fork()
		e.PowerCut = e.Board.Nanos() + at
		_ = a.goAway(e)
		if e.PowerCut != 0 {
			e.Sleep(time.Second)
		}
		e.Repower(2 * time.Second)
		e.Sleep(time.Second)
		outcomes[a.left(t, e, fmt.Sprintf("supply cut after %v", time.Duration(at)))]++
	}
	t.Log(outcomes)
	require.Len(t, outcomes, 3)
}

// A table that somebody else puts in force between the date and the preset is not taken for the one that has the end.
func TestAwayMeetsAnotherUpload(t *testing.T) {
	a := newAway(t)
	f := connect(t, a.Emulated)
	c, err := f.ProposePreset(1, &a.until)
	require.NoError(t, err)
	staged, err := c.Stage(nil)
	require.NoError(t, err)
	require.NoError(t, staged.Commit(nil))
	st, err := f.Status()
	require.NoError(t, err)
	require.NoError(t, f.Upload(a.old, st, nil))
	_, err = c.Set()
	require.ErrorContains(t, err, "another table has come in force meanwhile: do the same again")
	st, err = f.Status()
	require.NoError(t, err)
	require.Equal(t, 0, st.Preset)
}

// What cannot be is refused before anything is written.
func TestPresetsThatCannotBe(t *testing.T) {
	a := newAway(t)
	f := connect(t, a.Emulated)
	before, err := f.Status()
	require.NoError(t, err)
	_, err = f.ProposePreset(2, nil)
	require.ErrorContains(t, err, "preset 3 is none of the 2 of the feeder's plan")
	_, err = f.ProposePreset(-1, nil)
	require.Error(t, err)
	beyond := table.MaxDay + 1
	_, err = f.ProposePreset(1, &beyond)
	require.ErrorContains(t, err, "PRESETS UNTIL")
	start := table.Day(9800)
	_, err = f.ProposePreset(1, &start)
	require.ErrorContains(t, err, "PRESETS UNTIL")
	after, err := f.Status()
	require.NoError(t, err)
	require.Equal(t, []any{before.CRC, before.Sequence, before.Preset}, []any{after.CRC, after.Sequence, after.Preset})

	plain := flashertest.New(t, "m328-mains", flashertest.Table(t, "m328-mains", []uint16{420}, 0), nil)
	_, err = connect(t, plain).ProposePreset(0, nil)
	require.ErrorIs(t, err, flasher.ErrNoPresets)
}

// A board of 16 KiB refuses the date, says what works instead, and does the rest.
func TestSmallBoardHasNoRoomForTheDate(t *testing.T) {
	small, err := table.Decode(presetTable(t, 7*60, 0))
	require.NoError(t, err)
	small.Board = 3
	encoded, err := table.Encode(small)
	require.NoError(t, err)
	e := flashertest.New(t, "m168-mains", encoded, nil)
	f := connect(t, e)
	require.Equal(t, 2, f.ID.Format)
	until := table.Day(10000)
	_, err = f.ProposePreset(1, &until)
	require.EqualError(t, err, "a preset that ends by itself, for which the firmware of m168-mains on test has no room: leave the date out; the plan button, or mealtab preset, puts the first preset in force again (nothing was written)")
	c, err := f.ProposePreset(1, nil)
	require.NoError(t, err)
	require.False(t, c.Writes())
	st, err := c.Set()
	require.NoError(t, err)
	require.Equal(t, 1, st.Preset)
}
