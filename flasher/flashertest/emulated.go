// Package flashertest lets tests talk to feeders that are not there: the emulated board with the real firmware image, in its own
// time, and the firmware's line protocol on this computer, behind a pipe; with noise, cuts and resets.
//
// In: a board's name, a table, faults. Out: a [link.Transport]. No part of the product imports this package.
package flashertest

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/emulator/cable"
	"mealtab/flasher/link"
)

// Emulated is an emulated board at a cable to which things happen.
type Emulated struct {
	*cable.Cable
	// Jitter, if set, changes Out and In for every write and every octet from the board.
	Jitter func() (out, in time.Duration)
	// Rateless makes the port a pseudo-terminal: it keeps the rate of the board, whatever is set.
	Rateless bool
	// Crossed swaps TX and RX: nothing arrives on either side.
	Crossed bool
	// Unplugged, once true, makes every call fail.
	Unplugged bool
	// OnAnswer, if set, is asked for every octet from the board; true loses it.
	OnAnswer func() bool
	// PowerCut, if not 0, is when supply and cable go, in nanoseconds of the board's time.
	PowerCut uint64
	// Resets are instants, in nanoseconds of the board's time and ascending, at which its reset line is pulsed.
	Resets []uint64
	// Watch, if set, is called after every slice of at most a millisecond.
	Watch func()
	// Broken collects what the board did that is stricter than the chip would be (see [avr.Strict]), but for bytes torn by a cut.
	Broken []string
	// OnEvent, if set, sees the board's events too.
	OnEvent func(board.Event)
	// Cut, if set, is asked after every octet the host has sent or received; true cuts the cable.
	Cut func() bool
}

// NewEmulated connects a board.
func NewEmulated(b *board.Board) *Emulated { return at(cable.New(b)) }

func at(c *cable.Cable) *Emulated {
	e := &Emulated{Cable: c}
	c.Run, c.Heard = e.run, e.heard
	c.Board.Observe(e.event)
	return e
}

// Link is a conversation over the cable, with all that happens to it; name is for messages.
func (e *Emulated) Link(name string) *link.Link { return link.New(e, name, e.Baud()) }

func (e *Emulated) event(ev board.Event) {
	if ev.Kind == board.RuleBroken && !strings.Contains(ev.Text, avr.EEPROMLost.String()) {
		e.Broken = append(e.Broken, ev.Text)
	}
	if e.OnEvent != nil {
		e.OnEvent(ev)
	}
}

// heard reports whether an octet from the board arrives.
func (e *Emulated) heard() bool {
	if e.Crossed || e.OnAnswer != nil && e.OnAnswer() {
		return false
	}
	e.shake()
	return true
}

func (e *Emulated) shake() {
	if e.Jitter != nil {
		e.Out, e.In = e.Jitter()
	}
}

// run lets the board run until what is to happen next, at most to an instant.
func (e *Emulated) run(to uint64) error {
	now := e.Board.Nanos()
	if e.Watch != nil {
		to = min(to, now+uint64(time.Millisecond))
	}
	if e.PowerCut != 0 {
		to = min(to, max(e.PowerCut, now+1))
	}
	if len(e.Resets) > 0 {
		to = min(to, max(e.Resets[0], now+1))
	}
	if e.Board.RunTo(to) == avr.StopIllegal {
		panic(fmt.Sprintf("the board executes no instruction at word %x", e.Board.MCU().PC()))
	}
	now = e.Board.Nanos()
	if len(e.Resets) > 0 && now >= e.Resets[0] {
		e.Resets = e.Resets[1:]
		e.Board.Reset()
	}
	if e.PowerCut != 0 && now >= e.PowerCut {
		e.PowerCut, e.Unplugged = 0, true
		e.Board.PowerOff()
		return errUnplugged
	}
	if e.Watch != nil {
		e.Watch()
	}
	return nil
}

var errUnplugged = errors.New("unplugged")

func (e *Emulated) Read(p []byte, wait time.Duration) (int, error) {
	if e.Cut != nil {
		p = p[:1] // it is asked after each
	}
	n, err := e.Cable.Read(p, wait)
	if n > 0 && e.Cut != nil && e.Cut() {
		e.Unplugged = true
	}
	if e.Unplugged {
		return 0, errUnplugged
	}
	return n, err
}

func (e *Emulated) Write(p []byte) (int, error) {
	if e.Unplugged {
		return 0, errUnplugged
	}
	e.shake()
	if e.Crossed {
		return len(p), nil
	}
	for i := range p {
		if _, err := e.Cable.Write(p[i : i+1]); err != nil {
			return i, err
		}
		if e.Cut != nil && e.Cut() {
			e.Unplugged = true
			return i + 1, errUnplugged
		}
	}
	return len(p), nil
}

func (e *Emulated) SetBaud(baud int) error {
	if e.Rateless {
		return nil
	}
	return e.Cable.SetBaud(baud)
}

// Asleep reports whether the board is in power-down: SE set and SM = 010 in SMCR (ATmega328P data sheet, section 10.11.1).
func (e *Emulated) Asleep() bool { return e.Board.MCU().Peek(avr.SMCR)&0xF == 0x5 }

// Fork is an independent copy of board and cable in the same state, to which nothing happens yet.
func (e *Emulated) Fork() *Emulated {
	c := at(e.Cable.Fork())
	c.Rateless = e.Rateless
	return c
}

// Repower plugs cable and supply in again after so long and lets the board start.
func (e *Emulated) Repower(after time.Duration) {
	e.Sleep(after)
	e.Forget()
	e.PowerCut, e.Unplugged = 0, false
	e.Board.PowerOn()
}
