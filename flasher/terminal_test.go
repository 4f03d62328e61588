package flasher_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
	"mealtab/flasher/ports"
)

// The same code path as with a board on USB: a port opened by name.
func TestUploadThroughTerminal(t *testing.T) {
	old := flashertest.Table(t, "m328-mains", []uint16{7 * 60, 18*60 + 30}, 0)
	tab := flashertest.Table(t, "m328-mains", []uint16{8 * 60, 19*60 + 30}, 40)
	name := flashertest.Terminal(t, flashertest.New(t, "m328-mains", old, nil))
	began := time.Now()
	l, err := ports.Open(name, flasher.DefaultBaud())
	require.NoError(t, err)
	defer l.Close()
	require.ErrorIs(t, l.Transport().Reset(), link.ErrNoResetLine)
	f, err := flasher.Connect(l)
	require.NoError(t, err)
	s, err := f.Status()
	require.NoError(t, err)
	require.NoError(t, f.Upload(tab, s, nil))
	s, err = f.Status()
	require.NoError(t, err)
	held, err := f.Table(s)
	require.NoError(t, err)
	require.True(t, flasher.Holds(held, tab))
	require.Equal(t, 1, s.Bank)
	t.Log(time.Since(began), f.Link().Stats)
}
