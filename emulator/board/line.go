package board

import (
	"time"

	"mealtab/emulator/avr"
)

// lineState is what the far end of the serial line has sent.
type lineState struct {
	queue []character
	free  uint64 // the line is busy until then
}

// character is one on its way to the AVR.
type character struct {
	at    uint64 // it does not begin before
	nanos uint64 // its length: ten bits
	data  byte
}

// Send puts bytes on the line to the AVR, one after the other, at the rate that the board is made for.
func (b *Board) Send(data []byte) { b.SendAt(b.Nanos(), b.Baud(), data) }

// SendAt is Send not before an instant, in nanoseconds since the beginning, and at a rate of the far end's choice.
func (b *Board) SendAt(nanos uint64, baud int, data []byte) {
	for _, v := range data {
		b.line.queue = append(b.line.queue, character{nanos, 10 * uint64(time.Second) / uint64(baud), v})
	}
	b.nextByte()
}

// Baud is the rate of the line that the board is made for.
func (b *Board) Baud() int { return int(b.cfg.Baud) }

// Listen makes f hear every character that the AVR sends, at its end, and how long a bit of it took; nil: nobody. It is the far end of the line,
// beside whoever observes the board.
func (b *Board) Listen(f func(data byte, bit time.Duration)) { b.listen = f }

// nextByte sends the next character when its time has come and the line is free.
func (b *Board) nextByte() {
	l := &b.line
	now := b.Nanos()
	if len(l.queue) == 0 {
		return
	}
	if next := l.queue[0]; now >= max(l.free, next.at) {
		l.queue = l.queue[1:]
		l.free = now + next.nanos
		b.event(LineReceived, int64(next.data))
		b.mcu.ReceiveFrame(next.data, next.nanos)
	}
	if len(l.queue) > 0 {
		b.set(slotLine, max(l.free, l.queue[0].at))
	}
}

// sent passes on a character from the AVR. One whose rate is off by more than a receiver takes is reported as broken.
func (b *Board) sent(f avr.Frame) {
	bit := time.Duration(f.BitCycles * uint64(time.Second) / b.mcu.ClockHz())
	broken := uint8(0)
	if !Receives(b.Baud(), bit) {
		broken = 1
	}
	b.eventArg(LineSent, broken, int64(f.Data))
	if b.listen != nil {
		b.listen(f.Data, bit)
	}
}

// Receives reports whether a receiver at a rate understands characters whose bits take so long: it samples the middle of the stop bit last, 9½ bits
// after the start, and so takes one rate for another up to 5 % away.
func Receives(baud int, bit time.Duration) bool {
	const percent = 5
	want := time.Second / time.Duration(baud)
	return 100*(bit-want).Abs() <= percent*want
}
