package board

import "mealtab/emulator/avr"

// Pins of the firmware template.
const (
	pinServo   = 1 // port B
	pinLED     = 5
	pinBarrier = 0 // port C
	pinSDA     = 4
	pinSCL     = 5
	pinInt     = 2 // port D
	pinFeed    = 3 // and portion, preset
	pinIndex   = 6
	pinBoost   = 7
)

// pins looks at the outputs of a port after they changed.
func (b *Board) pins(p avr.Port) {
	high, low := b.mcu.Driven(p)
	switch p {
	case avr.PortB:
		b.servoPin(high>>pinServo&1 != 0)
		if on := high>>pinLED&1 != 0; on != b.led {
			b.led = on
			b.event(Light, bit(on))
		}
	case avr.PortC:
		b.busPins(low>>pinSCL&1 != 0, low>>pinSDA&1 != 0)
	case avr.PortD:
		b.servoSupply(high>>pinBoost&1 != 0)
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
	low := b.intWire && b.clock.Low(b.Nanos())
	if low == b.intLow {
		return
	}
	b.intLow = low
	b.event(ClockInt, bit(low))
	level := avr.High
	if low {
		level = avr.Low
	}
	b.mcu.SetInput(avr.PortD, pinInt, level)
}

// LED reports whether the light is on.
func (b *Board) LED() bool { return b.led }
