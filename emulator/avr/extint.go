package avr

// sense is the ISC field of one external interrupt [DS table 13-1].
const (
	senseLow = iota
	senseAny
	senseFalling
	senseRising
)

// externalEdges raises INTF0 and INTF1 for edges on PD2 and PD3.
//
// Edges need the I/O clock [DS 10.5 table note: level only], so in the sleep
// modes that stop it only a low level is seen; the 2014 sheet's chapter 13 reads
// otherwise, and firmware should not rely on it.
func (m *MCU) externalEdges(changed, now uint8) {
	if m.events.ioHalted {
		return
	}
	for n := uint8(0); n < 2; n++ {
		pin := uint8(4) << n
		if changed&pin == 0 {
			continue
		}
		high := now&pin != 0
		switch m.mem[EICRA] >> (2 * n) & 3 {
		case senseAny:
			m.mem[EIFR] |= 1 << n
		case senseFalling:
			if !high {
				m.mem[EIFR] |= 1 << n
			}
		case senseRising:
			if high {
				m.mem[EIFR] |= 1 << n
			}
		}
	}
}

// updateExternal recomputes the INT and PCINT requests. In level mode the pin
// itself is the request and INTF stays 0 [DS 13.2.3].
func (m *MCU) updateExternal() {
	for n := uint8(0); n < 2; n++ {
		request := m.mem[EIFR]&(1<<n) != 0
		if m.mem[EICRA]>>(2*n)&3 == senseLow {
			request = m.gpio.sampled[PortD]&(4<<n) == 0
		}
		m.request(VectorINT0+Vector(n), request && m.mem[EIMSK]&(1<<n) != 0)
	}
	for p := uint8(0); p < 3; p++ {
		m.request(VectorPCINT0+Vector(p), m.mem[PCIFR]&m.mem[PCICR]&(1<<p) != 0)
	}
}

func (m *MCU) writeExternal(addr uint16, v uint8) {
	switch addr {
	case PCIFR:
		m.mem[addr] &^= v & 7
	case EIFR:
		m.mem[addr] &^= v & 3
	case EIMSK:
		m.mem[addr] = v & 3
	case PCICR:
		m.mem[addr] = v & 7
	case EICRA:
		m.mem[addr] = v & 15
		for n := uint8(0); n < 2; n++ {
			if v>>(2*n)&3 == senseLow {
				m.mem[EIFR] &^= 1 << n
			}
		}
	default:
		m.mem[addr] = v
		m.scheduleLine()
	}
	if addr == PCICR {
		m.scheduleLine()
	}
	m.updateExternal()
}
