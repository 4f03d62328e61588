package board

import (
	"mealtab/compiler/profile"
	"mealtab/emulator/avr"
)

// Pins of port C that the chip gives its two-wire interface.
const (
	pinSDA = 4
	pinSCL = 5
)

// wire is a pin that something is connected to.
type wire struct {
	port avr.Port
	bit  uint8
	high bool // it is high while it does what it is for
}

func wireTo(p profile.Pin, active profile.Level) wire {
	return wire{avr.Port(p.Port() - 'B'), p.Bit(), active.High()}
}

// wires are a board's connections, by what its description says of pins.
type wires struct {
	servoPulse, servoSupply, led, index, barrier, clockInt wire
	buttons                                                [buttonCount]wire
}

func wiresOf(p *profile.Profile) wires {
	const toGround = profile.Level("low")
	return wires{
		servoPulse:  wireTo(p.Pins.ServoPulse, "high"),
		servoSupply: wireTo(p.Pins.ServoSupply, p.Active.ServoSupply),
		led:         wireTo(p.Pins.LED, p.Active.LED),
		index:       wireTo(p.Pins.IndexSwitch, p.Active.IndexSwitch),
		barrier:     wireTo(p.Pins.LightBarrier, p.Active.LightBarrier),
		clockInt:    wireTo(p.Pins.ClockInt, toGround),
		buttons: [buttonCount]wire{
			ButtonFeed: wireTo(p.Pins.ButtonFeed, toGround), ButtonPortion: wireTo(p.Pins.ButtonPortion, toGround), ButtonPreset: wireTo(p.Pins.ButtonPlan, toGround),
		},
	}
}

// input puts a contact's or a sensor's output on its pin: it conducts to ground or not at all, and then the AVR's pull-up takes the pin high.
func (b *Board) input(w wire, active bool) {
	level := avr.Float
	if active != w.high {
		level = avr.Low
	}
	b.mcu.SetInput(w.port, w.bit, level)
}

// pins looks at the outputs of a port after they changed.
func (b *Board) pins(p avr.Port) {
	high, low := b.mcu.Driven(p)
	// active tells whether an output does what it is for: whatever it drives keeps a pin that is not driven from that.
	active := func(w wire) bool {
		if w.high {
			return high>>w.bit&1 != 0
		}
		return low>>w.bit&1 != 0
	}
	w := &b.cfg.wires
	if w.servoPulse.port == p {
		b.servoPin(active(w.servoPulse))
	}
	if w.led.port == p {
		if on := active(w.led) && !b.wrong.ledDark; on != b.led {
			b.led = on
			b.event(Light, bit(on))
		}
	}
	if p == avr.PortC {
		b.busPins(low>>pinSCL&1 != 0, low>>pinSDA&1 != 0)
	}
	if w.servoSupply.port == p {
		b.servoSupply(active(w.servoSupply))
	}
}

// CutInt breaks the wire between the clock's INT pin and the AVR, or mends it.
func (b *Board) CutInt(cut bool) {
	b.intWire = !cut
	b.clockChanged()
}

// clockChanged brings INT up to date and schedules its next change.
func (b *Board) clockChanged() {
	now := b.Nanos()
	b.clock.Sync(now)
	b.clockPin()
	b.set(slotClock, b.clock.Next(now))
}

// clockPin: INT is open-drain; released, the AVR's pull-up and the module's hold it high.
func (b *Board) clockPin() {
	low := b.wrong.intShort || b.intWire && b.clock.Low(b.Nanos())
	if low == b.intLow {
		return
	}
	b.intLow = low
	b.event(ClockInt, bit(low))
	level := avr.High
	if low {
		level = avr.Low
	}
	b.mcu.SetInput(b.cfg.wires.clockInt.port, b.cfg.wires.clockInt.bit, level)
}

// LED reports whether the light is on.
func (b *Board) LED() bool { return b.led }
