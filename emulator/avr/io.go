package avr

// load reads data address addr as an instruction does, at m.cycle. Reserved
// addresses and those beyond the SRAM read 0 [choice].
func (m *MCU) load(addr uint16) uint8 {
	if m.cycle >= m.events.next {
		m.runEvents()
	}
	switch {
	case addr < 0x20:
		m.volatile = true // a loop's own counter, perhaps
		return m.mem[addr]
	case addr >= ramStart:
		if addr > m.ramEnd {
			m.volatile = true // each of them is counted
			m.violate(OutsideMemory, addr)
			return 0
		}
		return m.mem[addr]
	}
	switch addr {
	case SREG:
		m.volatile = true // the flags of a loop's own counter, perhaps
	case TCNT0, TCNT1L, TCNT1H, TCNT2, TIFR0, TIFR1, TIFR2, ICR1L, ICR1H:
		return m.readTimer(addr)
	case UDR0:
		m.volatile = true
		return m.readUDR()
	case ADCL:
		m.volatile = true
		m.adc.locked = true
	case ADCH:
		m.volatile = true
		m.adc.locked = false
	case PIND:
		if m.usart.line.busy(m.cycle) {
			m.volatile = true
		}
	case WDTCSR, CLKPR, EECR, SPMCSR, MCUCR:
		// Their change-enable bits lapse after a few cycles, without an event.
		m.volatile = m.volatile || m.windowOpen()
	}
	return m.peek(addr)
}

// windowOpen reports whether a bit that clears itself after four cycles is set.
func (m *MCU) windowOpen() bool {
	t := m.cycle
	return t <= m.wdt.changeUntil || t <= m.clock.prescaleUntil || t <= m.ee.armedUntil ||
		t <= m.spm.armedUntil || t <= m.gpio.ivceUntil || t <= m.gpio.bodsUntil
}

// peek returns the I/O byte that a read at this moment sees, without effects.
func (m *MCU) peek(addr uint16) uint8 {
	if addr > m.ramEnd {
		return 0
	}
	switch addr {
	case SPL:
		return uint8(m.sp)
	case SPH:
		return uint8(m.sp >> 8)
	case SREG:
		return m.sreg
	case PINB, PINC, PIND:
		return m.pins(Port((addr - PINB) / 3))
	case EECR:
		return m.readEECR()
	case WDTCSR:
		return m.readWDTCSR()
	case CLKPR:
		if m.cycle > m.clock.prescaleUntil {
			return m.mem[CLKPR] & 0x7F
		}
	case SPMCSR:
		return m.readSPMCSR()
	case MCUCR:
		return m.readMCUCR()
	case TCNT0, TCNT1L, TCNT1H, TCNT2, TIFR0, TIFR1, TIFR2:
		return m.peekTimer(addr)
	case UDR0:
		return m.usart.fifo[0].data
	}
	return m.mem[addr]
}

// store writes data address addr as an instruction does, at m.cycle.
func (m *MCU) store(addr uint16, v uint8) {
	if m.cycle >= m.events.next {
		m.runEvents()
	}
	switch {
	case addr < 0x20:
		m.mem[addr] = v
		return
	case addr >= ramStart:
		if addr > m.ramEnd {
			m.violate(OutsideMemory, addr)
			return
		}
		m.mem[addr] = v
		return
	}
	m.volatile = true
	switch addr {
	case PINB, PINC, PIND, DDRB, DDRC, DDRD, PORTB, PORTC, PORTD:
		m.writeGPIO(addr, v)
	case TIFR0, TIFR1, TIFR2, GTCCR, TCCR0A, TCCR0B, TCNT0, OCR0A, OCR0B,
		TIMSK0, TIMSK1, TIMSK2, TCCR1A, TCCR1B, TCCR1C, TCNT1L, TCNT1H, ICR1L, ICR1H,
		OCR1AL, OCR1AH, OCR1BL, OCR1BH, TCCR2A, TCCR2B, TCNT2, OCR2A, OCR2B, ASSR:
		m.writeTimer(addr, v)
	case PCIFR, EIFR, EIMSK, PCICR, EICRA, PCMSK0, PCMSK1, PCMSK2:
		m.writeExternal(addr, v)
	case EECR, EEDR, EEARL, EEARH:
		m.writeEEPROM(addr, v)
	case SPL:
		m.sp = m.sp&0xFF00 | uint16(v)
		m.noteStack()
	case SPH:
		// Only as many bits exist as the SRAM needs [DS 7.5.1].
		// avr-gcc writes SPH before SPL, so only SPL shows a settled stack.
		m.sp = m.sp&0xFF | uint16(v)<<8&m.spMask
	case SREG:
		m.sreg = v
		m.attention = true
	case MCUSR:
		m.mem[addr] &= v // flags can only be cleared [DS 11.9.1]
	case MCUCR:
		m.writeMCUCR(v)
	case SMCR:
		m.mem[addr] = v & 0x0F
	case WDTCSR:
		m.writeWDTCSR(v)
	case CLKPR:
		m.writeCLKPR(v)
	case SPMCSR:
		m.writeSPMCSR(v)
	case ADCSRA, ADCSRB, ADMUX, ADCL, ADCH:
		m.writeADC(addr, v)
	case TWBR, TWSR, TWDR, TWCR, TWAR, TWAMR:
		m.writeTWI(addr, v)
	case UCSR0A, UCSR0B, UCSR0C, UBRR0L, UBRR0H, UDR0:
		m.writeUSART(addr, v)
	case ACSR:
		m.mem[addr] = v &^ 0x30 // the comparator is not modelled: ACO and ACI stay 0
	case SPCR, SPDR:
		if addr == SPCR && v&0x40 != 0 {
			m.violate(NotModelled, addr)
		}
		m.mem[addr] = v
	case SPSR:
		m.mem[addr] = v & 1
	case GPIOR0, GPIOR1, GPIOR2, PRR, OSCCAL, DIDR0, DIDR1:
		m.mem[addr] = v
	}
}

// setBit is SBI. On this part it touches the one bit only: elsewhere in the
// register a flag that reads 1 is not cleared, nor a pin toggled [DS 36 note 3].
func (m *MCU) setBit(addr uint16, bit uint8) {
	switch addr {
	case PINB, PINC, PIND, TIFR0, TIFR1, TIFR2, PCIFR, EIFR:
		m.store(addr, bit)
	default:
		m.store(addr, m.registerForBit(addr)|bit)
	}
}

// clearBit is CBI. Clearing a flag bit or a PINx bit does nothing.
func (m *MCU) clearBit(addr uint16, bit uint8) {
	switch addr {
	case PINB, PINC, PIND, TIFR0, TIFR1, TIFR2, PCIFR, EIFR:
		m.store(addr, 0)
	default:
		m.store(addr, m.registerForBit(addr)&^bit)
	}
}

// registerForBit returns the bits that SBI and CBI leave alone. EEPE and EEMPE
// are left out: a bit access to another bit neither starts a write nor arms one.
func (m *MCU) registerForBit(addr uint16) uint8 {
	if m.cycle >= m.events.next {
		m.runEvents()
	}
	if addr == EECR {
		return m.mem[EECR] & (eepm | eerie)
	}
	return m.peek(addr)
}
