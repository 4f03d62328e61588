// Package cable is the serial line between a computer and an emulated board, as package flasher talks over it.
//
// In: a [board.Board]. Out: a [link.Transport] whose time is the board's own: while the host waits for an answer, the board runs, and nothing
// else lets time pass. There is no goroutine and no sleep, so a conversation repeats exactly, and takes as long as emulating it takes.
package cable

import (
	"fmt"
	"slices"
	"time"

	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/flasher/link"
)

// Cable is a line with a host at its end. Between conversations the board may be run by others; what it says then waits to be read, as at a
// port.
type Cable struct {
	Board *board.Board
	// Out and In are what computer and USB bridge add to each direction.
	Out, In time.Duration
	// Ahead is how far the computer's clock is ahead of the world's.
	Ahead time.Duration
	// HasReset says that the cable has a reset line; a header with three wires has none.
	HasReset bool

	// Run, if set, runs the board in the cable's stead: to an instant in nanoseconds since the board's beginning, or less far if it likes.
	// Its error ends the host's call.
	Run func(to uint64) error
	// Said, if set, sees what the host sends, and at which rate.
	Said func(octets []byte, baud int)
	// Heard, if set, is asked for every octet from the board; false loses it.
	Heard func() bool

	baud    int    // as the host has set it last
	first   int    // the bridge's at the beginning
	rates   []rate // the bridge's since, the present one first
	toHost  []octet
	reading bool
}

// octet is one from the board, and when the host can read it.
type octet struct {
	at   uint64
	data byte
}

// rate is one that is set at the bridge, from an instant on: what the host says comes to the bridge in order, rates too.
type rate struct {
	from uint64
	baud int
}

// room is how many octets a port keeps for a host that does not read them [common practice].
const room = 4096

// New connects a computer to a board, at the board's rate.
func New(b *board.Board) *Cable { return at(b, b.Baud()) }

func at(b *board.Board, baud int) *Cable {
	c := &Cable{Board: b, baud: baud, first: baud}
	b.Listen(c.hear)
	return c
}

// Baud is the rate that the host has set last.
func (c *Cable) Baud() int { return c.baud }

// Link is a conversation over the cable; name is for messages.
func (c *Cable) Link(name string) *link.Link { return link.New(c, name, c.baud) }

// Fork is an independent copy of board and cable in the same state. What is set to be called is not copied.
func (c *Cable) Fork() *Cable {
	f := at(c.Board.Fork(), c.baud)
	f.first, f.rates, f.toHost = c.first, slices.Clone(c.rates), slices.Clone(c.toHost)
	f.Out, f.In, f.Ahead, f.HasReset = c.Out, c.In, c.Ahead, c.HasReset
	return f
}

// Forget drops what the board has sent and nobody has read.
func (c *Cable) Forget() { c.toHost = nil }

// hear takes an octet from the board.
func (c *Cable) hear(data byte, bit time.Duration) {
	if c.Heard != nil && !c.Heard() || len(c.toHost) >= room {
		return
	}
	if !board.Receives(c.bridge(), bit) {
		data ^= 0xA5 // what a receiver makes of a character at a wrong rate is anything but the character
	}
	at := c.Board.Nanos() + uint64(c.In)
	if n := len(c.toHost); n > 0 {
		at = max(at, c.toHost[n-1].at) // octets keep their order
	}
	c.toHost = append(c.toHost, octet{at, data})
	if c.reading {
		c.Board.MCU().Stop()
	}
}

// bridge is the rate at the bridge now.
func (c *Cable) bridge() int {
	for len(c.rates) > 0 && c.rates[0].from <= c.Board.Nanos() {
		c.first, c.rates = c.rates[0].baud, c.rates[1:]
	}
	return c.first
}

// run lets the board run until an instant, or until something can be read.
func (c *Cable) run(to uint64, untilOctet bool) error {
	c.reading = untilOctet
	defer func() { c.reading = false }()
	for c.Board.Nanos() < to {
		next := to
		if untilOctet && len(c.toHost) > 0 {
			if c.toHost[0].at <= c.Board.Nanos() {
				return nil
			}
			next = min(next, c.toHost[0].at)
		}
		run := c.runBoard
		if c.Run != nil {
			run = c.Run
		}
		if err := run(next); err != nil {
			return err
		}
	}
	return nil
}

func (c *Cable) runBoard(to uint64) error {
	if reason := c.Board.RunTo(to); reason == avr.StopBreak || reason == avr.StopIllegal {
		return fmt.Errorf("the firmware stopped at word %#x: %v", c.Board.MCU().PC(), reason)
	}
	return nil
}

func (c *Cable) Read(p []byte, wait time.Duration) (int, error) {
	if err := c.run(c.Board.Nanos()+uint64(max(wait, 0)), true); err != nil {
		return 0, err
	}
	n := 0
	for n < len(p) && n < len(c.toHost) && c.toHost[n].at <= c.Board.Nanos() {
		p[n] = c.toHost[n].data
		n++
	}
	c.toHost = c.toHost[n:]
	return n, nil
}

func (c *Cable) Write(p []byte) (int, error) {
	if c.Said != nil {
		c.Said(p, c.baud)
	}
	c.Board.SendAt(c.Board.Nanos()+uint64(c.Out), c.baud, p)
	return len(p), nil
}

// SetBaud changes the rate of the bridge, after what has been sent to it before.
func (c *Cable) SetBaud(baud int) error {
	c.baud = baud
	c.rates = append(c.rates, rate{c.Board.Nanos() + uint64(c.Out), baud})
	return nil
}

// Reset pulls the board's reset line, if the cable has one.
func (c *Cable) Reset() error {
	if !c.HasReset {
		return link.ErrNoResetLine
	}
	c.Board.Reset()
	return nil
}

// Now is the computer's time.
func (c *Cable) Now() time.Time { return c.Board.Now().Add(c.Ahead) }

// Sleep lets the board run for a while. That its firmware stops shows when the host reads.
func (c *Cable) Sleep(d time.Duration) { _ = c.run(c.Board.Nanos()+uint64(max(d, 0)), false) }

// Close leaves the board as it is.
func (c *Cable) Close() error { return nil }
