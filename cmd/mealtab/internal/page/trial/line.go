package trial

import (
	"time"

	"mealtab/emulator/board"
	"mealtab/flasher/link"
)

// line is the serial line of the emulated feeder. Its time is the board's: reading lets the board run, so that a whole upload
// takes a moment of ours.
type line struct {
	b      *board.Board
	baud   int
	proper int // the rate the board was made for
	toHost []octet
	inUse  bool
}

type octet struct {
	at   uint64 // ns of the board
	data byte
}

func newLine(b *board.Board, baud int) *line { return &line{b: b, baud: baud, proper: baud} }

// heard takes an octet from the board.
func (l *line) heard(e board.Event) {
	data := byte(e.Value)
	if e.Arg != 0 || l.baud != l.proper {
		data ^= 0xA5 // a receiver at another rate makes anything of it but the octet
	}
	l.toHost = append(l.toHost, octet{e.At, data})
	if l.inUse {
		l.b.MCU().Stop()
	}
}

// forget drops what nobody reads.
func (l *line) forget() { l.toHost = l.toHost[:0] }

// Talk lets f speak with the feeder; nothing else happens to it meanwhile.
func (f *Feeder) Talk(do func(link.Transport) error) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.line.inUse = true
	defer func() {
		f.line.inUse = false
		f.line.forget()
	}()
	return do(transport{f})
}

// transport is the line as a program sees it.
type transport struct{ f *Feeder }

func (t transport) Read(p []byte, wait time.Duration) (int, error) {
	b, l := t.f.b, t.f.line
	for end := b.Nanos() + uint64(max(wait, 0)); len(l.toHost) == 0 && b.Nanos() < end; {
		b.RunTo(end)
	}
	n := 0
	for n < len(p) && n < len(l.toHost) {
		p[n] = l.toHost[n].data
		n++
	}
	l.toHost = l.toHost[n:]
	return n, nil
}

func (t transport) Write(p []byte) (int, error) {
	b, l := t.f.b, t.f.line
	if l.baud == l.proper {
		b.Send(p)
	} else {
		wrong := make([]byte, len(p))
		for i, v := range p {
			wrong[i] = v ^ 0x5A
		}
		b.Send(wrong)
	}
	return len(p), nil
}

func (t transport) SetBaud(baud int) error {
	t.f.line.baud = baud
	return nil
}

// Reset does nothing: the emulated feeder has no reset line, as a header with three wires has none.
func (t transport) Reset() error { return link.ErrNoResetLine }

func (t transport) Now() time.Time { return t.f.b.Now() }

func (t transport) Sleep(d time.Duration) {
	b := t.f.b
	for end := b.Nanos() + uint64(max(d, 0)); b.Nanos() < end; {
		b.RunTo(end)
	}
}

func (t transport) Close() error { return nil }
