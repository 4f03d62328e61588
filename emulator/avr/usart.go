package avr

// Bits of UCSR0A and UCSR0B [DS 20.11].
const (
	rxc  = 1 << 7
	txc  = 1 << 6
	udre = 1 << 5
	fe   = 1 << 4
	dor  = 1 << 3
	upe  = 1 << 2
	u2x  = 1 << 1

	rxcie = 1 << 7
	txcie = 1 << 6
	udrie = 1 << 5
	rxen  = 1 << 4
	txen  = 1 << 3
	ucsz2 = 1 << 2
)

// received is one character in the receive buffer, with its FE, DOR and UPE.
type receivedChar struct {
	data  uint8
	flags uint8
}

type usartState struct {
	sending   bool
	shift     uint8
	shiftFrom uint64 // cycle of its start bit
	buffer    uint8  // valid while UDRE is 0

	fifo    [3]receivedChar // two characters and the shift register's, which waits
	count   uint8           // characters in fifo
	overrun bool            // a character was lost before the next one stored
	line    rxLine
}

// bitCycles is the length of a bit: 16·(UBRR+1), or 8· with U2X [DS 20.3.1].
func (m *MCU) bitCycles() uint64 {
	n := uint64(m.mem[UBRR0L]) | uint64(m.mem[UBRR0H]&15)<<8
	if m.mem[UCSR0A]&u2x != 0 {
		return 8 * (n + 1)
	}
	return 16 * (n + 1)
}

func (m *MCU) dataBits() uint64 { return 5 + uint64(m.mem[UCSR0C]>>1&3) }

// frameBits is start, data, parity and stop bits.
func (m *MCU) frameBits() uint64 {
	n := 2 + m.dataBits() + uint64(m.mem[UCSR0C]>>5&1)
	if m.mem[UCSR0C]&0x08 != 0 {
		n++
	}
	return n
}

func (m *MCU) writeUSART(addr uint16, v uint8) {
	switch addr {
	case UDR0:
		m.writeUDR(v)
	case UCSR0A: // TXC clears by writing one; U2X and MPCM are kept
		m.mem[addr] = m.mem[addr]&^(u2x|1|v&txc) | v&(u2x|1)
	case UCSR0B:
		m.writeUCSRB(v)
	case UCSR0C:
		if v&0xC0 != 0 {
			m.violate(NotModelled, addr) // synchronous and SPI modes
		}
		m.mem[addr] = v
	case UBRR0H:
		m.mem[addr] = v & 15
	default:
		m.mem[addr] = v
	}
	m.updateUSART()
}

func (m *MCU) writeUCSRB(v uint8) {
	old := m.mem[UCSR0B]
	if v&ucsz2 != 0 {
		m.violate(NotModelled, UCSR0B) // nine data bits
	}
	m.mem[UCSR0B] = v
	if old&rxen != 0 && v&rxen == 0 { // flushes the buffer [DS 20.7.5]
		m.usart.count, m.usart.overrun = 0, false
		m.setIO(evReceive, never)
	}
	if old&rxen == 0 && v&rxen != 0 {
		m.hunt()
	}
	if (old^v)&(rxen|txen) != 0 {
		m.outputsChanged(PortD)
	}
}

// updateUSART recomputes RXC and the three requests.
func (m *MCU) updateUSART() {
	u := &m.usart
	a := m.mem[UCSR0A] &^ (rxc | fe | dor | upe)
	if u.count > 0 {
		a |= rxc | u.fifo[0].flags
	}
	m.mem[UCSR0A] = a
	b := m.mem[UCSR0B]
	m.request(VectorUSARTRX, a&b&rxc != 0)
	m.request(VectorUSARTUDRE, a&b&udre != 0)
	m.request(VectorUSARTTX, a&b&txc != 0)
}

// writeUDR is ignored while UDRE is 0 [DS 20.6.1] or the transmitter is off.
func (m *MCU) writeUDR(v uint8) {
	if m.mem[UCSR0B]&txen == 0 || m.mem[UCSR0A]&udre == 0 {
		return
	}
	if m.usart.sending {
		m.usart.buffer = v
		m.mem[UCSR0A] &^= udre
		return
	}
	m.startFrame(v)
}

func (m *MCU) startFrame(v uint8) {
	u := &m.usart
	u.sending, u.shift, u.shiftFrom = true, v, m.cycle
	m.setIO(evTransmit, m.ioNow()+m.frameBits()*m.bitCycles())
}

// transmitted ends a frame; the buffered one follows without a gap.
func (m *MCU) transmitted() {
	u := &m.usart
	u.sending = false
	frame := Frame{Data: u.shift, BitCycles: m.bitCycles(), Start: u.shiftFrom}
	if m.mem[UCSR0A]&udre == 0 {
		m.mem[UCSR0A] |= udre
		m.startFrame(u.buffer)
	} else {
		m.mem[UCSR0A] |= txc
	}
	m.updateUSART()
	if m.hooks.Transmit != nil {
		m.touched = true
		m.hooks.Transmit(frame)
	}
}

// readUDR takes the oldest character out of the buffer.
func (m *MCU) readUDR() uint8 {
	u := &m.usart
	v := u.fifo[0].data
	if u.count > 0 {
		u.count--
		u.fifo[0], u.fifo[1] = u.fifo[1], u.fifo[2]
		m.updateUSART()
	}
	return v
}

// startBit is a new start bit: with two characters in the buffer and a third
// waiting in the shift register, the third is lost [DS 20.7.4, 20.11.2 DOR].
func (u *usartState) startBit() {
	if u.count == 3 {
		u.count--
		u.overrun = true
	}
}

// push stores a received character; the first after a loss carries DOR.
func (u *usartState) push(c receivedChar) {
	u.startBit()
	if u.overrun {
		c.flags |= dor
		u.overrun = false
	}
	u.fifo[u.count] = c
	u.count++
}
