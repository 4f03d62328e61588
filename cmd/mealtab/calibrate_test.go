package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/food/calibrate"
	"mealtab/emulator/board"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
)

// scale answers the questions of a calibration: it waits for the pockets to fall and tells their grams.
type scale struct {
	board *flashertest.Emulated
	lines []string
}

func (s *scale) Read(p []byte) (int, error) {
	s.board.Sleep(20 * time.Second)
	line := s.lines[0]
	s.lines = s.lines[1:]
	return copy(p, line), nil
}

// The firmware on the emulated board turns the pockets, and after the table's two servings an hour no more; what has been
// weighed is kept.
func TestLiveCalibration(t *testing.T) {
	e := flashertest.New(t, "m328-mains", flashertest.Table(t, "m328-mains", []uint16{420, 1110}, 0), nil)
	f, err := flasher.Connect(e.Link("emulated"))
	require.NoError(t, err)
	fell := 0
	e.OnEvent = func(ev board.Event) {
		if ev.Kind == board.PocketFell {
			fell++
		}
	}
	wheel, err := newLiveWheel(f)
	require.NoError(t, err)
	var out bytes.Buffer
	list, err := calibrate.Ask(&scale{e, []string{"\n", "24.8\n", "\n", "25.0\n", "\n"}}, &out, wheel, 4)
	require.ErrorIs(t, err, flasher.ErrRefused)
	assert.Regexp(t, `Here: it has given what its table allows by hand in an hour \(2 servings\); the next from \w+ [-0-9]+ [0-9:]+ UTC on, if there is none before\.\nIn a day two weighings of 20 pockets each fit into what is given by hand, 40 pockets`, err.Error())
	require.Len(t, list, 2)
	assert.Equal(t, 4, list[1].Pockets)
	assert.Equal(t, 8, fell)
	assert.Equal(t, 3, strings.Count(out.String(), "Enter turns 4 pockets"))
}
