package flashertest

import (
	"time"

	"mealtab/flasher/bootload"
	"mealtab/flasher/link"
)

// Bootloader is a model of a board whose bootloader listens, in its own time. It behaves as both families do where they were watched: answers only at its rate,
// stays silent on a wrong end byte (the short family then restarts into the application), ignores the memory letter (the short family), has a window after reset.
type Bootloader struct {
	Family    bootload.Family
	Signature [3]byte
	Flash     []byte
	// Garble, if set, alters, drops (nil) or doubles an octet on its way.
	Garble func(b byte) []byte
	// NoResetLine makes the port a pseudo-terminal's.
	NoResetLine bool
	// Stale is what the port still holds after a reset.
	Stale  []byte
	Writes int // pages written

	now      time.Time
	baud     int
	free     time.Time // until the wire to the board is free
	until    time.Time // the window closes
	running  bool      // the application runs
	input    []byte
	output   []reply
	address  int
	unwanted int // bad end bytes
}

type reply struct {
	at   time.Time
	data byte
}

// taken moves what has come by an instant to p, and returns how much that is.
func taken(p []byte, from *[]reply, now time.Time) (n int) {
	list := *from
	for n < len(p) && n < len(list) && !list[n].at.After(now) {
		p[n] = list[n].data
		n++
	}
	*from = list[n:]
	return n
}

// NewBootloader makes a board with an empty flash, whose port is open at a rate.
func NewBootloader(f bootload.Family, c bootload.Chip, baud int) *Bootloader {
	b := &Bootloader{Family: f, Signature: c.Signature, Flash: make([]byte, c.Flash), now: Start, baud: baud, running: true}
	for i := range b.Flash {
		b.Flash[i] = 0xFF
	}
	return b
}

func (b *Bootloader) window() time.Duration {
	if b.Family.Section == 512 {
		return time.Second // the watchdog
	}
	return 1600 * time.Millisecond
}

func (b *Bootloader) Reset() error {
	if b.NoResetLine {
		return link.ErrNoResetLine
	}
	b.now = b.now.Add(100 * time.Millisecond)
	b.running, b.input, b.unwanted = false, nil, 0
	b.until = b.now.Add(65*time.Millisecond + b.window())
	for _, octet := range b.Stale {
		b.output = append(b.output, reply{b.now, octet})
	}
	return nil
}

func (b *Bootloader) Write(p []byte) (int, error) {
	if b.free.Before(b.now) {
		b.free = b.now
	}
	for _, octet := range p {
		b.free = b.free.Add(10 * time.Second / time.Duration(b.baud))
		if b.free.After(b.until) {
			b.running = true
		}
		if b.running {
			continue
		}
		for _, got := range b.garbled(octet) {
			b.receive(got)
		}
	}
	return len(p), nil
}

func (b *Bootloader) garbled(octet byte) []byte {
	if b.baud != b.Family.Baud {
		return []byte{octet ^ 0x5A} // not what was sent
	}
	if b.Garble == nil {
		return []byte{octet}
	}
	return b.Garble(octet)
}

// needed is the length of the command that the input begins, end byte included.
func (b *Bootloader) needed() int {
	switch b.input[0] {
	case 0x41, 0x55:
		return map[byte]int{0x41: 3, 0x55: 4}[b.input[0]]
	case 0x42:
		return 22
	case 0x45, 0x56:
		return map[byte]int{0x45: 7, 0x56: 6}[b.input[0]]
	case 0x64:
		if len(b.input) < 4 {
			return 5
		}
		return 5 + int(b.input[1])<<8 + int(b.input[2])
	case 0x74:
		return 5
	}
	return 2
}

func (b *Bootloader) receive(octet byte) {
	b.input = append(b.input, octet)
	if len(b.input) < b.needed() {
		return
	}
	command := b.input
	b.input = nil
	if command[len(command)-1] != 0x20 {
		b.unwanted++
		if b.Family.Section == 512 || b.unwanted >= 5 {
			b.running = true
		}
		return
	}
	b.until = b.free.Add(b.window())
	b.obey(command)
}

func (b *Bootloader) obey(c []byte) {
	at := b.free.Add(200 * time.Microsecond)
	answer := []byte{0x14}
	switch c[0] {
	case 0x41, 0x56:
		answer = append(answer, 3)
	case 0x51:
		b.running = true
	case 0x55:
		b.address = 2 * (int(c[1]) | int(c[2])<<8)
	case 0x64:
		b.Writes++
		copy(b.Flash[min(b.address, len(b.Flash)):], c[4:len(c)-1]) // whatever the memory letter says
		at = at.Add(9 * time.Millisecond)
	case 0x74:
		n := int(c[1])<<8 | int(c[2])
		from := min(b.address, len(b.Flash))
		answer = append(answer, b.Flash[from:min(from+n, len(b.Flash))]...)
	case 0x75:
		answer = append(answer, b.Signature[:]...)
	}
	for _, octet := range append(answer, 0x10) {
		at = at.Add(10 * time.Second / time.Duration(b.baud))
		for _, got := range b.garbled(octet) {
			b.output = append(b.output, reply{at, got})
		}
	}
}

func (b *Bootloader) Read(p []byte, wait time.Duration) (int, error) {
	end := b.now.Add(max(wait, 0))
	if len(b.output) == 0 || b.output[0].at.After(end) {
		b.now = end
		return 0, nil
	}
	if b.output[0].at.After(b.now) {
		b.now = b.output[0].at
	}
	return taken(p, &b.output, b.now), nil
}

func (b *Bootloader) SetBaud(baud int) error {
	b.baud = baud
	return nil
}

func (b *Bootloader) Now() time.Time        { return b.now }
func (b *Bootloader) Sleep(d time.Duration) { b.now = b.now.Add(d) }
func (b *Bootloader) Close() error          { return nil }
