package cable_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/emulator/cable"
	"mealtab/firmware-template/image"
	"mealtab/flasher"
)

// start is a whole second, as the clock chip counts.
var start = time.Date(2027, 6, 1, 12, 0, 0, 0, time.UTC)

// bare is a board without a table, half a minute after its supply came on.
func bare(t *testing.T, name string) *board.Board {
	t.Helper()
	c, err := board.ForBoard(name)
	require.NoError(t, err)
	hex, ok := image.Hex(name)
	require.True(t, ok)
	c.Firmware, err = avr.ReadImage(hex)
	require.NoError(t, err)
	c.Start = start
	b, err := board.New(c)
	require.NoError(t, err)
	b.SetClock(start)
	b.Run(30 * time.Second)
	return b
}

// The uploader finds each board at its own rate: a character at another rate is anything but the character, in both directions.
func TestFindsABoardAtItsRate(t *testing.T) {
	for name, baud := range map[string]int{"m328-mains": 57600, "m328-cells": 19200} {
		b := bare(t, name)
		require.Equal(t, baud, b.Baud())
		c := cable.New(b)
		for _, first := range []int{57600, 19200} {
			require.NoError(t, c.SetBaud(first))
			f, err := flasher.Connect(c.Link("test"))
			require.NoError(t, err, "%s, opened at %d", name, first)
			require.Equal(t, name, f.BoardName())
			require.Equal(t, baud, c.Baud())
		}
	}
}

// Two forks of a board and its cable have the same conversation to the nanosecond, also with what a computer adds; and the board they came from
// knows nothing of it.
func TestConversationsRepeat(t *testing.T) {
	c := cable.New(bare(t, "m328-mains"))
	c.Out, c.In = 3*time.Millisecond, 16*time.Millisecond
	before, from := c.Board.Hash(), c.Board.Nanos()
	var ends []uint64
	for range 2 {
		fork := c.Fork()
		f, err := flasher.Connect(fork.Link("test"))
		require.NoError(t, err)
		r, err := f.SetClock()
		require.NoError(t, err)
		require.LessOrEqual(t, r.Offset.Abs(), 20*time.Millisecond)
		ends = append(ends, fork.Board.Nanos())
	}
	require.Equal(t, ends[0], ends[1])
	require.Greater(t, ends[0]-from, uint64(time.Second), "a clock is set when a second begins, and compared when one does")
	require.Equal(t, before, c.Board.Hash())
}

// A computer whose clock is wrong sets the feeder's wrong by as much.
func TestComputerWithAnotherTime(t *testing.T) {
	c := cable.New(bare(t, "m328-mains"))
	c.Ahead = -5 * time.Hour
	f, err := flasher.Connect(c.Link("test"))
	require.NoError(t, err)
	_, err = f.SetClock()
	require.NoError(t, err)
	require.InDelta(t, c.Ahead.Seconds(), c.Board.ClockTime().Sub(c.Board.Now()).Seconds(), 1.1)
}

// A host that does not read loses what comes when its port is full, and no more; a firmware that stops is an error, and no wait without end.
func TestEdges(t *testing.T) {
	c := cable.New(bare(t, "m328-mains"))
	f, err := flasher.Connect(c.Link("test"))
	require.NoError(t, err)
	heard := 0
	c.Heard = func() bool { heard++; return true }
	var request []byte
	c.Said = func(octets []byte, _ int) { request = append([]byte{0x7E}, octets...) }
	_, err = f.Status()
	require.NoError(t, err)
	c.Said = nil
	for heard <= 5000 { // each answered at once
		_, err = c.Write(request)
		require.NoError(t, err)
		c.Sleep(100 * time.Millisecond)
	}
	unread, b := 0, make([]byte, 300)
	for {
		n, err := c.Read(b, 0)
		require.NoError(t, err)
		if n == 0 {
			break
		}
		unread += n
	}
	require.Equal(t, 4096, unread)
	_, err = f.Status()
	require.NoError(t, err)

	require.NoError(t, c.Board.MCU().LoadWords([]uint16{0x9404})) // reserved (AVR instruction set manual)
	c.Board.Reset()
	_, err = c.Read(b, time.Hour)
	require.ErrorContains(t, err, "the firmware stopped")
}
