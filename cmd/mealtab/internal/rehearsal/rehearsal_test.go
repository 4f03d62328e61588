package rehearsal_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/cmd/mealtab/internal/rehearsal"
	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/flasher/flashertest"
)

// A year of two meals a day, from the day before the table's first; at the end it has come to the end of its span, no further.
func TestRehearsesAYear(t *testing.T) {
	tab := flashertest.Table(t, "m328-mains", []uint16{420, 1110}, 0)
	r := rehearsal.Start(tab, 1, func(board string) (*avr.Image, error) { return flashertest.Image(t, board), nil })
	text, err := r.Wait(time.Hour, func(table.Minute) {})
	require.NoError(t, err)
	require.Equal(t, "rehearsed on the firmware through 1 year: 728 servings as replayed\n", text)
	from, to := r.Span()
	require.Equal(t, to, r.At())
	require.Equal(t, table.Minute(365*table.MinutesPerDay), to-from)
}

func TestNothingToRehearse(t *testing.T) {
	tab := flashertest.Table(t, "m328-mains", []uint16{420}, 0)
	none := func(string) (*avr.Image, error) { return nil, errors.New("no such image") }
	text, err := rehearsal.Start(tab, 0, none).Result()
	require.NoError(t, err)
	require.Empty(t, text)
	_, err = rehearsal.Start(tab, 1, none).Result()
	require.EqualError(t, err, "the firmware for m328-mains to rehearse with: no such image")
}
