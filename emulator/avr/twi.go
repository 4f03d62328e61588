package avr

// Bits of TWCR [DS 22.9.2].
const (
	twint = 1 << 7
	twea  = 1 << 6
	twsta = 1 << 5
	twsto = 1 << 4
	twwc  = 1 << 3
	twen  = 1 << 2
	twie  = 1 << 0
)

// Status codes of the master [DS tables 22-3 and 22-4].
const (
	twiStart        = 0x08
	twiRepeated     = 0x10
	twiAddrWAck     = 0x18
	twiAddrWNack    = 0x20
	twiDataAck      = 0x28
	twiDataNack     = 0x30
	twiLost         = 0x38
	twiAddrRAck     = 0x40
	twiAddrRNack    = 0x48
	twiReceivedAck  = 0x50
	twiReceivedNack = 0x58
	twiNone         = 0xF8
)

// Answer is what a byte written to the bus met.
type Answer uint8

// The answers.
const (
	Nack Answer = iota // SDA stayed high in the ninth bit
	Ack
	Lost // another master, or a stuck line, pulled SDA low where a 1 was sent
)

// Bus is the two-wire bus with everything on it but this master. Calls come at the
// end of each step on the wire: Start after the start condition, Send and
// Receive after the ninth bit, Stop after the stop condition.
type Bus interface {
	// Free reports whether both lines are high and no one else holds the bus. A
	// START waits until they are: the board then calls MCU.BusChanged.
	Free() bool
	Start()
	// Send carries one byte from the master: the first after Start is SLA+R/W.
	Send(b uint8) Answer
	// Receive carries one byte to the master, which acknowledges it if ack.
	Receive(ack bool) uint8
	Stop()
}

// twiStep is what the interface is doing.
type twiStep uint8

const (
	twiIdle     twiStep = iota
	twiWaiting          // START wanted, bus not free
	twiStarting         // START or repeated START under way
	twiSending
	twiReceiving
	twiStopping
)

type twiState struct {
	step     twiStep
	owner    bool // between START and STOP
	address  bool // the next byte is SLA+R/W
	reading  bool // SLA+R was acknowledged
	restart  bool // START follows the STOP under way
	stepFrom uint64
}

// twiBit is the SCL period: 16 + 2·TWBR·4^TWPS cycles [DS 22.5.2].
func (m *MCU) twiBit() uint64 {
	return 16 + 2*uint64(m.mem[TWBR])<<(2*(m.mem[TWSR]&3))
}

func (m *MCU) twiAfter(bits uint64, step twiStep) {
	m.twi.step = step
	m.setIO(evTWI, m.ioNow()+bits*m.twiBit())
}

func (m *MCU) writeTWI(addr uint16, v uint8) {
	switch addr {
	case TWSR:
		m.mem[TWSR] = m.mem[TWSR]&0xF8 | v&3
	case TWDR: // accessible only while TWINT is 1; else write collision [DS 22.9.4]
		if m.mem[TWCR]&twint == 0 && m.mem[TWCR]&twen != 0 && m.twi.step != twiIdle {
			m.mem[TWCR] |= twwc
			return
		}
		m.mem[TWDR] = v
		m.mem[TWCR] &^= twwc
	case TWCR:
		m.writeTWCR(v)
	default:
		m.mem[addr] = v
	}
}

// writeTWCR: writing TWINT 1 clears it and starts the next step; while TWINT is
// 1 the clock line is held low.
func (m *MCU) writeTWCR(v uint8) {
	old := m.mem[TWCR]
	keep := old & (twint | twwc)
	m.mem[TWCR] = v&(twea|twsta|twsto|twen|twie) | keep
	if (old^v)&twen != 0 {
		m.twiEnable(v&twen != 0)
	}
	if v&twen != 0 && v&twint != 0 {
		m.mem[TWCR] &^= twint
		m.request(VectorTWI, false)
		m.twiNext()
	} else if v&twen != 0 && v&twsta != 0 && m.twi.step == twiIdle && old&twint == 0 {
		m.twiNext()
	}
	m.request(VectorTWI, m.mem[TWCR]&(twint|twie) == twint|twie)
}

// twiEnable: switching the interface off ends every transmission at once [DS 22.9.2].
func (m *MCU) twiEnable(on bool) {
	if !on {
		m.twi = twiState{}
		m.mem[TWSR] = m.mem[TWSR]&3 | twiNone
		m.setIO(evTWI, never)
	}
	m.outputsChanged(PortC)
}

// twiNext starts the step that TWCR asks for.
func (m *MCU) twiNext() {
	t := &m.twi
	cr := m.mem[TWCR]
	switch {
	case cr&twsto != 0:
		t.restart = cr&twsta != 0
		if !t.owner {
			// After lost arbitration or without a transfer nothing is sent: the
			// interface returns to idle [DS 22.9.2].
			m.twiStopped()
			return
		}
		m.twiAfter(1, twiStopping)
	case cr&twsta != 0:
		m.twiStart()
	case !t.owner:
		t.step = twiIdle
	case t.reading && !t.address:
		m.twiAfter(9, twiReceiving)
	default:
		m.twiAfter(9, twiSending)
	}
}

// twiStart sends START, or waits for a free bus.
func (m *MCU) twiStart() {
	if !m.twi.owner && m.hooks.Bus != nil && !m.hooks.Bus.Free() {
		m.twi.step = twiWaiting
		return
	}
	m.twiAfter(1, twiStarting)
}

// BusChanged tells that the bus may have become free.
func (m *MCU) BusChanged() {
	m.touched = true
	if m.twi.step == twiWaiting {
		m.twiStart()
	}
}

// twiDone ends a step: the bus learns of it, status and TWINT are set.
func (m *MCU) twiDone() {
	m.touched = true
	switch m.twi.step {
	case twiStarting:
		m.twiStarted()
	case twiSending:
		m.twiSent()
	case twiReceiving:
		m.twiReceived()
	case twiStopping:
		if m.hooks.Bus != nil {
			m.hooks.Bus.Stop()
		}
		m.twiStopped()
	}
}

func (m *MCU) twiFinish(status uint8) {
	m.twi.step = twiIdle
	m.mem[TWSR] = m.mem[TWSR]&3 | status
	m.mem[TWCR] |= twint
	m.request(VectorTWI, m.mem[TWCR]&twie != 0)
	m.attention = true
}

func (m *MCU) twiStarted() {
	t := &m.twi
	status := uint8(twiStart)
	if t.owner {
		status = twiRepeated
	}
	t.owner, t.address, t.reading = true, true, false
	if m.hooks.Bus != nil {
		m.hooks.Bus.Start()
	}
	m.twiFinish(status)
}

func (m *MCU) twiSent() {
	t := &m.twi
	answer := Nack
	if m.hooks.Bus != nil {
		answer = m.hooks.Bus.Send(m.mem[TWDR])
	}
	if answer == Lost {
		t.owner = false
		m.twiFinish(twiLost)
		return
	}
	status := uint8(twiDataAck)
	if t.address {
		t.address = false
		t.reading = m.mem[TWDR]&1 != 0
		status = twiAddrWAck
		if t.reading {
			status = twiAddrRAck
		}
	}
	if answer == Nack {
		status += 8 // each NACK code follows its ACK code by 8
	}
	m.twiFinish(status)
}

func (m *MCU) twiReceived() {
	ack := m.mem[TWCR]&twea != 0
	v := uint8(0xFF)
	if m.hooks.Bus != nil {
		v = m.hooks.Bus.Receive(ack)
	}
	m.mem[TWDR] = v
	if ack {
		m.twiFinish(twiReceivedAck)
	} else {
		m.twiFinish(twiReceivedNack)
	}
}

// twiStopped: TWSTO clears itself, TWINT is not set [DS 22.9.2].
func (m *MCU) twiStopped() {
	m.twi.owner = false
	m.twi.step = twiIdle
	m.mem[TWCR] &^= twsto
	m.mem[TWSR] = m.mem[TWSR]&3 | twiNone
	m.attention = true
	if m.twi.restart {
		m.twi.restart = false
		m.twiStart()
	}
}
