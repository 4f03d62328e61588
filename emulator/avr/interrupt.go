package avr

// request sets or withdraws the request of vector v: its flag and its enable bit
// are both set.
func (m *MCU) request(v Vector, on bool) {
	bit := uint32(1) << v
	if on == (m.irq&bit != 0) {
		return
	}
	m.irq ^= bit
	m.attention = true
}

// enterInterrupt pushes the PC and jumps to the vector of the highest priority:
// four cycles, after which the JMP there takes three more [DS 7.7.1].
func (m *MCU) enterInterrupt() {
	v := Vector(1)
	for m.irq>>v&1 == 0 {
		v++
	}
	m.checkEEPROMWindow()
	m.sreg &^= flagI
	m.cycle += 2
	m.call(m.pc & m.pcMask)
	m.cycle += 2
	m.pc = m.vectorBase() + 2*uint16(v)
	m.stats.Interrupts++
	m.acknowledge(v)
}

// vectorBase is the start of the vector table: flash 0, or the boot section with
// IVSEL [DS 12.4.2].
func (m *MCU) vectorBase() uint16 {
	if m.mem[MCUCR]&2 != 0 {
		return m.bootStart()
	}
	return 0
}

// acknowledge clears the flag of a vector whose flag clears on entry. TWINT, RXC,
// UDRE, EERDY and low levels stay: their source must be served.
func (m *MCU) acknowledge(v Vector) {
	switch v {
	case VectorINT0, VectorINT1:
		m.mem[EIFR] &^= 1 << (v - VectorINT0)
		m.updateExternal()
	case VectorPCINT0, VectorPCINT1, VectorPCINT2:
		m.mem[PCIFR] &^= 1 << (v - VectorPCINT0)
		m.updateExternal()
	case VectorWDT:
		m.watchdogServed()
	case VectorTimer0CompA, VectorTimer0CompB, VectorTimer0Ovf,
		VectorTimer1Capt, VectorTimer1CompA, VectorTimer1CompB, VectorTimer1Ovf,
		VectorTimer2CompA, VectorTimer2CompB, VectorTimer2Ovf:
		m.timerServed(v)
	case VectorUSARTTX:
		m.mem[UCSR0A] &^= txc
		m.updateUSART()
	case VectorADC:
		m.mem[ADCSRA] &^= adif
		m.request(VectorADC, false)
	}
}

// call pushes a return address, low byte first, at m.cycle.
func (m *MCU) call(ret uint16) {
	ret &= m.pcMask
	if sp := m.sp; sp > ramStart && sp <= m.ramEnd {
		m.mem[sp&(memBytes-1)] = uint8(ret)
		m.mem[(sp-1)&(memBytes-1)] = uint8(ret >> 8)
	} else {
		m.store(sp, uint8(ret))
		m.store(sp-1, uint8(ret>>8))
	}
	m.sp -= 2
	if m.sp < m.stats.MinSP {
		m.noteStack()
	}
}

// popPC pops a return address.
func (m *MCU) popPC() uint16 {
	sp := m.sp
	m.sp += 2
	if sp+1 >= ramStart && sp+2 <= m.ramEnd {
		return (uint16(m.mem[(sp+1)&(memBytes-1)])<<8 | uint16(m.mem[(sp+2)&(memBytes-1)])) & m.pcMask
	}
	return (uint16(m.load(sp+1))<<8 | uint16(m.load(sp+2))) & m.pcMask
}
