package flasher_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
)

func connect(t testing.TB, e *flashertest.Emulated) *flasher.Feeder {
	t.Helper()
	require.NoError(t, e.SetBaud(flasher.DefaultBaud()))
	f, err := flasher.Connect(link.New(e, "test", flasher.DefaultBaud()))
	require.NoError(t, err)
	return f
}

func TestUploadOnEmulatedBoard(t *testing.T) {
	old := flashertest.Table(t, "m328-mains", []uint16{7 * 60, 18*60 + 30}, 0)
	tab := flashertest.Table(t, "m328-mains", []uint16{8 * 60, 19*60 + 30}, 40)
	e := flashertest.New(t, "m328-mains", old, nil)
	f := connect(t, e)
	s, err := f.Status()
	require.NoError(t, err)
	require.Equal(t, 0, s.Bank)
	held, err := f.Table(s)
	require.NoError(t, err)
	require.Equal(t, old, held)
	require.NoError(t, f.Upload(tab, s, nil))
	s, err = f.Status()
	require.NoError(t, err)
	held, err = f.Table(s)
	require.NoError(t, err)
	require.True(t, flasher.Holds(held, tab))
	next, err := f.Next(table.MinuteOf(s.Now.Unix()), table.Minute(14000*1440), 5)
	require.NoError(t, err)
	t.Log(next, f.Link().Stats, e.Board.Now())
}
