package avr

// rxLine is the frame that the board is sending on RXD, as a waveform: the
// receiver samples it with its own bit time, so wrong rates give wrong bytes.
type rxLine struct {
	active bool
	bits   uint16 // levels, start bit first, stop bit last
	count  uint64 // bits in the frame
	start  uint64 // cycle of the start edge
	length uint64 // cycles of the whole frame
	hunted uint64 // cycle of the edge that the receiver took for a start bit
}

// levelAt returns RXD at a cycle: 0 or 1, idle high outside the frame.
func (l *rxLine) levelAt(cycle uint64) uint8 {
	if !l.active || cycle < l.start || cycle >= l.start+l.length {
		return 1
	}
	return uint8(l.bits >> ((cycle - l.start) * l.count / l.length) & 1)
}

// edge returns the first level change after a cycle, or never.
func (l *rxLine) edge(after uint64) uint64 {
	if !l.active {
		return never
	}
	level := l.levelAt(after)
	for n := uint64(0); n <= l.count; n++ {
		at := l.start + (n*l.length+l.count-1)/l.count
		if at > after && l.levelAt(at) != level {
			return at
		}
	}
	return never
}

// busy reports whether the line may still change at or after a cycle.
func (l *rxLine) busy(cycle uint64) bool {
	return l.active && cycle < l.start+l.length
}

// ReceiveFrame puts a character of eight data bits and one stop bit on RXD, from
// now on, lasting nanos nanoseconds in all (ten bits). The board calls it again
// only after that time.
func (m *MCU) ReceiveFrame(data uint8, nanos uint64) {
	m.ReceiveBits(uint16(data)<<1|0x200, 10, nanos)
}

// ReceiveBits puts count levels on RXD, bit 0 first (a start bit is 0), lasting
// nanos nanoseconds in all: other formats, breaks, or a broken frame.
func (m *MCU) ReceiveBits(levels uint16, count uint8, nanos uint64) {
	m.touched = true
	if m.mode == modeOff {
		return
	}
	l := &m.usart.line
	*l = rxLine{active: true, bits: levels, count: uint64(count), start: m.cycle}
	l.length = max(mulDiv(nanos, m.clock.hz, 1_000_000_000), uint64(count))
	m.pinsChanged(PortD)
	m.hunt()
	m.scheduleLine()
}

// scheduleLine makes the level changes events while a pin change interrupt looks
// at RXD; otherwise only the end of the frame is one.
func (m *MCU) scheduleLine() {
	l := &m.usart.line
	if !l.active {
		return
	}
	at := l.start + l.length
	if m.mem[PCICR]&4 != 0 && m.mem[PCMSK2]&1 != 0 {
		at = min(at, l.edge(m.cycle))
	}
	m.setReal(evLine, max(at, m.cycle+1))
}

func (m *MCU) lineEdge() {
	l := &m.usart.line
	if !l.busy(m.cycle) {
		l.active = false
	}
	m.pinsChanged(PortD)
	m.scheduleLine()
}

// hunt looks for a start bit: the line low now with the edge just made, or the
// next falling edge of the frame. A receiver switched on, or a CPU woken, inside a
// frame thus finds a wrong start, as the real one does. While the I/O clock
// stands still nothing is received.
func (m *MCU) hunt() {
	l := &m.usart.line
	if !l.active || m.mem[UCSR0B]&rxen == 0 || m.events.ioHalted || m.events.io[evReceive] != never {
		return
	}
	at := m.cycle
	if at != l.start {
		for at = l.edge(at); at != never && l.levelAt(at) != 0; {
			at = l.edge(at)
		}
	}
	if at == never {
		return
	}
	if at == m.cycle {
		m.usart.startBit()
	}
	l.hunted = at
	bit := m.bitCycles()
	samples := (1+m.dataBits()+uint64(m.mem[UCSR0C]>>5&1))*bit + bit/2
	m.setIO(evReceive, m.ioNow()+at-m.cycle+samples)
}

// received samples the middle of each bit and stores the character.
func (m *MCU) received() {
	l := &m.usart.line
	bit := m.bitCycles()
	at := l.hunted + bit/2
	if l.levelAt(at) != 0 { // no start bit: noise
		m.hunt()
		return
	}
	var c receivedChar
	parity := uint8(0)
	for n := range m.dataBits() {
		at += bit
		level := l.levelAt(at)
		parity ^= level
		c.data |= level << n
	}
	if pm := m.mem[UCSR0C] >> 4 & 3; pm >= 2 {
		at += bit
		if l.levelAt(at) != parity^pm&1 {
			c.flags |= upe
		}
	}
	at += bit
	if l.levelAt(at) == 0 {
		c.flags |= fe
	}
	m.usart.push(c)
	m.updateUSART()
	m.hunt()
}
