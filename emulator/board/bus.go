package board

import (
	"mealtab/emulator/avr"
	"mealtab/emulator/board/ds3231"
)

// target is who was addressed.
type target uint8

const (
	nobody target = iota
	theClock
	theMemory
)

// forever holds SDA for good.
const forever = -1

type busState struct {
	target  target
	reading bool
	address bool // the next byte is SLA+R/W
	open    bool // between START and STOP
	silent  bool // the clock does not answer
	noMem   bool // the module has no memory chip
	held    int8 // SDA is held low for so many clocks of SCL; forever
	sclLow  bool // by the AVR's port
	sdaLow  bool
}

// Silence makes the clock chip not answer at its address, as one with a broken joint; its time runs on.
func (b *Board) Silence(silent bool) { b.bus.silent = silent }

// RemoveMemory takes the module's memory chip off the bus.
func (b *Board) RemoveMemory(gone bool) { b.bus.noMem = gone }

// HoldSDA shorts SDA to ground, or ends that. clocks > 0: a chip in the middle of a byte holds it for so many clocks
// of SCL, which the firmware can give it.
func (b *Board) HoldSDA(held bool, clocks int) {
	switch {
	case !held:
		b.bus.held = 0
	case clocks > 0:
		b.bus.held = int8(min(clocks, 9))
	default:
		b.bus.held = forever
	}
	b.sdaLevel()
}

// sdaLevel puts SDA on the AVR's pin, where a program that watches it sees it.
func (b *Board) sdaLevel() {
	b.busLevel(pinSDA)
	if b.bus.held == 0 {
		b.mcu.BusChanged()
	}
}

// masterReset: a chip that was sending when its master was reset goes on where it was; if its bit is 0 it holds SDA
// until clocked on [DS3231 data sheet p.11].
func (s *busState) masterReset(r *random) {
	if s.open && s.reading && s.target != nobody && s.held == 0 {
		s.held = int8(r.between(0, 8))
	}
	s.open, s.address, s.target = false, false, nobody
}

// busPins watches a program that pulls the lines low itself: SCL clocks a stuck chip free.
func (b *Board) busPins(scl, sda bool) {
	s := &b.bus
	if b.wrong.bus != BusRight {
		b.floating(pinSDA, sda)
		b.floating(pinSCL, scl)
		if b.wrong.bus == BusSwapped {
			b.byHand(sda, scl)
		}
	}
	rises := s.sclLow && !scl
	s.sclLow, s.sdaLow = scl, sda
	if rises && s.held > 0 {
		s.held--
		if s.held == 0 {
			b.sdaLevel()
		}
	}
}

// twoWire is the bus with clock and memory on it.
type twoWire struct{ b *Board }

func (w twoWire) Free() bool {
	return w.b.wrong.pulled() && w.b.bus.held == 0 && !w.b.bus.sclLow && !w.b.bus.sdaLow
}

func (w twoWire) Start() {
	s := &w.b.bus
	if s.open {
		w.end()
	}
	s.open, s.address, s.target = true, true, nobody
	w.b.eventArg(BusByte, BusStart, 0)
}

// end finishes the transfer with whoever was addressed.
func (w twoWire) end() {
	b := w.b
	switch b.bus.target {
	case theClock:
		b.clock.Stop()
	case theMemory:
		b.memory.stop(b.Nanos())
	}
}

func (w twoWire) Send(v uint8) avr.Answer {
	answer := w.send(v)
	arg := uint8(BusSend)
	if answer != avr.Ack {
		arg |= BusNack
	}
	w.b.eventArg(BusByte, arg, int64(v))
	return answer
}

func (w twoWire) send(v uint8) avr.Answer {
	b, s := w.b, &w.b.bus
	if s.held != 0 {
		if v != 0 {
			return avr.Lost // a 1 was sent, a 0 was seen
		}
		return avr.Ack
	}
	now := b.Nanos()
	if s.address {
		s.address = false
		s.reading = v&1 != 0
		s.target = w.find(v>>1, now)
	} else {
		switch s.target {
		case theClock:
			if b.clock.Write(now, v) {
				b.clockChanged()
			}
		case theMemory:
			b.memory.write(v)
		}
	}
	if s.target == nobody {
		return avr.Nack
	}
	return avr.Ack
}

// find tells who answers at an address.
func (w twoWire) find(address uint8, now uint64) target {
	b := w.b
	switch {
	case !b.wrong.reachable():
	case address == ds3231.Address && !b.bus.silent:
		b.clock.Start(now, b.bus.reading)
		return theClock
	case address == memoryAddress && !b.bus.noMem && b.memory.start(now, b.bus.reading):
		return theMemory
	}
	return nobody
}

func (w twoWire) Receive(ack bool) uint8 {
	b := w.b
	v := uint8(0xFF)
	switch {
	case b.bus.held != 0:
		v = 0
	case b.bus.target == theClock:
		v = b.clock.Read(b.Nanos())
	case b.bus.target == theMemory:
		v = b.memory.read()
	}
	arg := uint8(BusReceive)
	if !ack {
		arg |= BusNack
	}
	b.eventArg(BusByte, arg, int64(v))
	return v
}

func (w twoWire) Stop() {
	w.end()
	w.b.bus.open, w.b.bus.target = false, nobody
	w.b.eventArg(BusByte, BusStop, 0)
}
