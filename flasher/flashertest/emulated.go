// Package flashertest lets tests talk to feeders that are not there: the emulated board with the real firmware image, in its own
// time, and the firmware's line protocol on this computer, behind a pipe; with noise, cuts and resets.
//
// In: a board's name, a table, faults. Out: a [link.Transport]. No part of the product imports this package.
package flashertest

import (
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"

	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/flasher/link"
)

// Emulated is an emulated board as a transport. Its time is the board's: reading lets the board run.
type Emulated struct {
	Board *board.Board
	// Out and In are what computer and USB bridge add to each direction.
	Out, In time.Duration
	// Jitter, if set, changes Out and In for every write and every octet from the board.
	Jitter func() (out, in time.Duration)
	// Rateless makes the port a pseudo-terminal: it keeps the rate of the board, whatever is set.
	Rateless bool
	// HasReset says that the port has a reset line.
	HasReset bool
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

	toBoard []delivery
	toHost  []delivery
	free    uint64 // the line to the board is busy until then
	baud    int    // as the host has set it last
	first   int    // the bridge's at the beginning
	rates   []rate // the bridge's since, the present one first
}

type delivery struct {
	at        uint64
	data      byte
	character uint64 // its length in nanoseconds
}

// rate is one that is set at the bridge, from an instant on: what the host says comes to the bridge in order, rates too.
type rate struct {
	from uint64
	baud int
}

// NewEmulated connects a board whose far end is set to a rate.
func NewEmulated(b *board.Board, baud int) *Emulated {
	e := &Emulated{Board: b, baud: baud, first: baud}
	b.Observe(e.event)
	return e
}

func (e *Emulated) event(ev board.Event) {
	if ev.Kind == board.LineSent && !e.Crossed {
		data := byte(ev.Value)
		if !e.atRate() {
			data ^= 0xA5 // what a receiver makes of a character at a wrong rate is anything but the character
		}
		if e.OnAnswer == nil || !e.OnAnswer() {
			e.shake()
			at := ev.At + uint64(e.In)
			if n := len(e.toHost); n > 0 {
				at = max(at, e.toHost[n-1].at) // octets keep their order
			}
			e.toHost = append(e.toHost, delivery{at: at, data: data})
		}
		e.Board.MCU().Stop()
	}
	if ev.Kind == board.RuleBroken && !strings.Contains(ev.Text, avr.EEPROMLost.String()) {
		e.Broken = append(e.Broken, ev.Text)
	}
	if e.OnEvent != nil {
		e.OnEvent(ev)
	}
}

// atRate reports whether the AVR sends at this side's rate, as near as a receiver needs. Its own is its clock through the divisor in UBRR0, by 16,
// or by 8 with U2X0 (ATmega328P data sheet, section 20.3.1): a bootloader and the firmware after it have different ones.
func (e *Emulated) atRate() bool {
	const u2x0, percent = 1 << 1, 5
	m := e.Board.MCU()
	cycles := 16*(int(m.Peek(avr.UBRR0L))|int(m.Peek(avr.UBRR0H))<<8) + 16
	if m.Peek(avr.UCSR0A)&u2x0 != 0 {
		cycles /= 2
	}
	baud := e.bridge()
	off := int(m.ClockHz())/cycles - baud
	return max(off, -off)*100 <= percent*baud
}

// bridge is the rate at the bridge now.
func (e *Emulated) bridge() int {
	for len(e.rates) > 1 && e.rates[1].from <= e.Board.Nanos() {
		e.rates = e.rates[1:]
	}
	if len(e.rates) > 0 && e.rates[0].from <= e.Board.Nanos() {
		return e.rates[0].baud
	}
	return e.first
}

func (e *Emulated) shake() {
	if e.Jitter != nil {
		e.Out, e.In = e.Jitter()
	}
}

// advance lets the board run until an instant, or until something can be read.
func (e *Emulated) advance(to uint64, stopAtInput bool) {
	for e.Board.Nanos() < to {
		next := to
		if len(e.toBoard) > 0 {
			next = min(next, e.toBoard[0].at)
		}
		if len(e.toHost) > 0 && stopAtInput {
			if e.toHost[0].at <= e.Board.Nanos() {
				return
			}
			next = min(next, e.toHost[0].at)
		}
		if e.Watch != nil {
			next = min(next, e.Board.Nanos()+uint64(time.Millisecond))
		}
		if e.PowerCut != 0 {
			next = min(next, max(e.PowerCut, e.Board.Nanos()+1))
		}
		if len(e.Resets) > 0 {
			next = min(next, max(e.Resets[0], e.Board.Nanos()+1))
		}
		if next > e.Board.Nanos() && e.Board.RunTo(next) == avr.StopIllegal {
			panic("the board executes no instruction at word " + strconv.FormatUint(uint64(e.Board.MCU().PC()), 16))
		}
		if len(e.Resets) > 0 && e.Board.Nanos() >= e.Resets[0] {
			e.Resets = e.Resets[1:]
			e.Board.Reset()
		}
		if e.PowerCut != 0 && e.Board.Nanos() >= e.PowerCut {
			e.PowerCut, e.Unplugged = 0, true
			e.Board.PowerOff()
			return
		}
		if e.Watch != nil {
			e.Watch()
		}
		for len(e.toBoard) > 0 && e.toBoard[0].at <= e.Board.Nanos() {
			e.Board.MCU().ReceiveFrame(e.toBoard[0].data, e.toBoard[0].character)
			e.toBoard = e.toBoard[1:]
		}
	}
}

// character is the length of ten bits in nanoseconds.
func (e *Emulated) character() uint64 { return 10 * uint64(time.Second) / uint64(e.baud) }

var errUnplugged = errors.New("unplugged")

func (e *Emulated) Read(p []byte, wait time.Duration) (int, error) {
	e.advance(e.Board.Nanos()+uint64(max(wait, 0)), true)
	n := 0
	for n < len(p) && len(e.toHost) > 0 && e.toHost[0].at <= e.Board.Nanos() {
		p[n] = e.toHost[0].data
		e.toHost = e.toHost[1:]
		n++
		if e.Cut != nil && e.Cut() {
			e.Unplugged = true
			break
		}
	}
	if e.Unplugged {
		return 0, errUnplugged
	}
	return n, nil
}

func (e *Emulated) Write(p []byte) (int, error) {
	if e.Unplugged {
		return 0, errUnplugged
	}
	e.shake()
	if e.Crossed {
		return len(p), nil
	}
	for i, b := range p {
		at := max(e.Board.Nanos()+uint64(e.Out), e.free)
		e.free = at + e.character()
		e.toBoard = append(e.toBoard, delivery{at, b, e.character()})
		if e.Cut != nil && e.Cut() {
			e.Unplugged = true
			return i + 1, errUnplugged
		}
	}
	return len(p), nil
}

func (e *Emulated) SetBaud(baud int) error {
	if !e.Rateless {
		e.baud = baud
		e.rates = append(e.rates, rate{e.Board.Nanos() + uint64(e.Out), baud})
	}
	return nil
}

func (e *Emulated) Reset() error {
	if !e.HasReset {
		return link.ErrNoResetLine
	}
	e.Board.Reset()
	return nil
}

// Now is the world's time, in which host and board agree.
func (e *Emulated) Now() time.Time { return e.Board.Now() }

func (e *Emulated) Sleep(d time.Duration) { e.advance(e.Board.Nanos()+uint64(d), false) }

func (e *Emulated) Close() error { return nil }

// Asleep reports whether the board is in power-down: SE set and SM = 010 in SMCR (ATmega328P data sheet, section 10.11.1).
func (e *Emulated) Asleep() bool { return e.Board.MCU().Peek(avr.SMCR)&0xF == 0x5 }

// Fork is an independent copy of board and cable in the same state.
func (e *Emulated) Fork() *Emulated {
	c := NewEmulated(e.Board.Fork(), e.baud)
	c.first, c.rates = e.first, slices.Clone(e.rates)
	c.Out, c.In, c.HasReset, c.Rateless = e.Out, e.In, e.HasReset, e.Rateless
	return c
}

// Repower plugs cable and supply in again after so long and lets the board start.
func (e *Emulated) Repower(after time.Duration) {
	e.advance(e.Board.Nanos()+uint64(after), false)
	e.toBoard, e.toHost, e.PowerCut, e.Unplugged = nil, nil, 0, false
	e.free = 0
	e.Board.PowerOn()
}
