package board

import (
	"time"

	"mealtab/compiler/profile"
	"mealtab/emulator/avr"
	"mealtab/emulator/board/ds3231"
)

// What a builder gets wrong. Wires in the wrong hole are part of the configuration; the rest can also be mended while the board runs.

// Role is a part whose wire may go elsewhere.
type Role uint8

// The roles.
const (
	ServoPulseWire Role = iota
	ServoSupplyWire
	LEDWire
	ClockIntWire
	FeedWire
	PortionWire
	PlanWire
)

func (w *wires) role(r Role) *wire {
	return [...]*wire{&w.servoPulse, &w.servoSupply, &w.led, &w.clockInt, &w.buttons[ButtonFeed], &w.buttons[ButtonPortion], &w.buttons[ButtonPreset]}[r]
}

// MoveWire puts a part's wire on another pin; a pin that nothing uses leaves it open.
func (c *Config) MoveWire(r Role, to profile.Pin) {
	w := c.wires.role(r)
	w.port, w.bit = avr.Port(to.Port()-'B'), to.Bit()
}

// SwapWires exchanges the pins of two parts.
func (c *Config) SwapWires(a, b Role) {
	p, q := c.wires.role(a), c.wires.role(b)
	p.port, p.bit, q.port, q.bit = q.port, q.bit, p.port, p.bit
}

// InvertIndex wires the index switch to its other contact: open at a pocket's place.
func (c *Config) InvertIndex() { c.wires.index.high = !c.wires.index.high }

// BusWiring is how the clock module is connected.
type BusWiring uint8

// The ways.
const (
	BusRight BusWiring = iota
	BusSwapped
	BusSDAOpen
	BusSCLOpen
	BusNoPullUps
	BusNoSupply // of the module: its pull-ups and the protection of its pins pull both wires down
)

// miswired is what is wrong with a board beside its pins.
type miswired struct {
	bus      BusWiring
	byHand   handMade
	intShort bool
	ledDark  bool // the wrong way round
	inReset  bool // for good
}

// SetBusWiring connects the clock module so.
func (b *Board) SetBusWiring(w BusWiring) {
	b.wrong.bus = w
	b.busLevel(pinSDA)
	b.busLevel(pinSCL)
	b.mcu.BusChanged()
}

// ShortInt shorts the interrupt wire to ground, or ends that.
func (b *Board) ShortInt(on bool) {
	b.wrong.intShort = on
	b.clockChanged()
}

// HoldReset holds the AVR's RESET pin low for good, or lets it go.
func (b *Board) HoldReset(on bool) {
	b.wrong.inReset = on
	b.mcu.SetReset(on)
}

// TurnLED turns the LED round.
func (b *Board) TurnLED() {
	b.wrong.ledDark = !b.wrong.ledDark
	b.pins(b.cfg.wires.led.port)
}

// BreakBeam puts something into the light barrier for so long.
func (b *Board) BreakBeam(d time.Duration) {
	now := b.Nanos()
	b.sensors.falling[fallingMost-1] = span{now, now + uint64(d)}
	b.beamNow(now)
}

// SetTwelveHours makes the clock chip count in twelve hours, as other programs leave it.
func (b *Board) SetTwelveHours() {
	const twelve, afternoon = 0x40, 0x20
	now := b.Nanos()
	hours := int(b.clock.Register(now, ds3231.Hours)&0x3F>>4)*10 + int(b.clock.Register(now, ds3231.Hours)&0xF)
	v := uint8(twelve)
	if hours >= 12 {
		v |= afternoon
	}
	h := uint8((hours+11)%12 + 1)
	b.clock.Start(now, false)
	b.clock.Write(now, ds3231.Hours)
	b.clock.Write(now, v|h/10<<4|h%10)
	b.clock.Stop()
	b.clockChanged()
}

// floats reports whether a wire of the bus has no pull-up and nothing that drives it; dead, whether something pulls it down.
func (s *miswired) floats(pin uint8) bool {
	return s.bus == BusNoPullUps || s.bus == BusSDAOpen && pin == pinSDA || s.bus == BusSCLOpen && pin == pinSCL
}

func (s *miswired) reachable() bool { return s.bus == BusRight }

// pulled reports whether both wires rise by themselves.
func (s *miswired) pulled() bool { return s.bus == BusRight || s.bus == BusSwapped }

// busLevel puts the level of a wire of the bus on the AVR's pin.
func (b *Board) busLevel(pin uint8) {
	level := avr.High
	switch {
	case pin == pinSDA && b.bus.held != 0, b.wrong.bus == BusNoSupply, b.wrong.byHand.pulls(pin):
		level = avr.Low
	case b.wrong.floats(pin):
		level = avr.Float
	}
	b.mcu.SetInput(avr.PortC, pin, level)
}

// floating: a wire that nothing drives keeps the level that the AVR has given it.
func (b *Board) floating(pin uint8, low bool) {
	if low && b.wrong.floats(pin) {
		b.mcu.SetInput(avr.PortC, pin, avr.Low)
		b.mcu.SetInput(avr.PortC, pin, avr.Float)
	}
}

// handMade follows a transfer that a program makes by hand on exchanged wires, as far as the acknowledge of the clock's address.
type handMade struct {
	clock, data bool // low, driven by the AVR
	started     bool
	bits        uint8
	shift       uint8
	answering   bool
}

// pulls reports whether the clock holds a wire low: its data, which is on SCL.
func (h *handMade) pulls(pin uint8) bool { return h.answering && pin == pinSCL }

// byHand watches the wires where the module's SCL is on SDA and its SDA on SCL.
func (b *Board) byHand(clock, data bool) {
	h := &b.wrong.byHand
	wasClock, wasData := h.clock, h.data
	h.clock, h.data = clock, data
	switch {
	case !clock && !wasClock && data != wasData: // start or stop
		h.started, h.bits, h.shift = data, 0, 0
	case wasClock && !clock && h.started && h.bits < 8:
		h.shift = h.shift << 1
		if !data {
			h.shift |= 1
		}
		h.bits++
	case !wasClock && clock && h.answering:
		h.answering, h.started = false, false
		b.busLevel(pinSCL)
	case !wasClock && clock && h.started && h.bits == 8:
		if h.shift>>1 == ds3231.Address {
			h.answering = true
			b.busLevel(pinSCL)
		}
	}
}
