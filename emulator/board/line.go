package board

import "mealtab/emulator/avr"

// lineState is the far end of the serial line.
type lineState struct {
	queue []byte // to be sent to the AVR
	free  uint64 // the line is busy until then
}

// Send puts bytes on the line to the AVR, one after the other at the far end's rate.
func (b *Board) Send(data []byte) {
	b.line.queue = append(b.line.queue, data...)
	b.nextByte()
}

// frameNanos is the length of a character: ten bits.
func (b *Board) frameNanos() uint64 { return 10 * 1_000_000_000 / b.cfg.Baud }

// nextByte sends the next character when the line is free.
func (b *Board) nextByte() {
	l := &b.line
	now := b.Nanos()
	if len(l.queue) == 0 {
		return
	}
	if now >= l.free {
		v := l.queue[0]
		l.queue = l.queue[1:]
		l.free = now + b.frameNanos()
		b.event(LineReceived, int64(v))
		b.mcu.ReceiveFrame(v, b.frameNanos())
	}
	if len(l.queue) > 0 {
		b.set(slotLine, l.free)
	}
}

// sent reports a character from the AVR. One whose rate is off by more than a receiver takes is reported as broken.
func (b *Board) sent(f avr.Frame) {
	nanos := f.BitCycles * 1_000_000_000 / b.mcu.ClockHz()
	want := b.frameNanos() / 10
	if off := int64(nanos) - int64(want); off*100 > int64(want)*5 || off*100 < -int64(want)*5 {
		b.eventArg(LineSent, 1, int64(f.Data))
		return
	}
	b.event(LineSent, int64(f.Data))
}
