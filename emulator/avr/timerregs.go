package avr

// timerOf returns the timer that a register belongs to.
func timerOf(addr uint16) int {
	switch addr {
	case TIFR0, TCCR0A, TCCR0B, TCNT0, OCR0A, OCR0B, TIMSK0:
		return 0
	case TIFR2, TCCR2A, TCCR2B, TCNT2, OCR2A, OCR2B, TIMSK2, ASSR:
		return 2
	}
	return 1
}

// readTimer reads a count or flag register, which follow the time. A loop that
// polls TIFRn may be skipped up to the next flag; one that reads TCNTn may not.
func (m *MCU) readTimer(addr uint16) uint8 {
	n := timerOf(addr)
	t := &m.timers[n]
	m.syncTimer(n)
	switch addr {
	case TIFR0, TIFR1, TIFR2:
		t.watched = true
		m.updateTimer(n)
		return t.flags
	case TCNT1L: // reading the low byte latches the high one [DS 16.3]
		m.volatile = true
		t.temp = uint8(t.count >> 8)
		return uint8(t.count)
	case ICR1L:
		m.volatile = true
		t.temp = uint8(t.icr >> 8)
		return uint8(t.icr)
	case TCNT1H, ICR1H:
		m.volatile = true
		return t.temp
	}
	m.volatile = true
	return uint8(t.count)
}

// peekTimer is readTimer without effects.
func (m *MCU) peekTimer(addr uint16) uint8 {
	n := timerOf(addr)
	c := *m
	c.hooks = Hooks{}
	c.syncTimer(n)
	t := &c.timers[n]
	switch addr {
	case TIFR0, TIFR1, TIFR2:
		return t.flags
	case TCNT1H:
		return uint8(t.count >> 8)
	}
	return uint8(t.count)
}

func (m *MCU) writeTimer(addr uint16, v uint8) {
	if addr == GTCCR {
		m.writeGTCCR(v)
		return
	}
	n := timerOf(addr)
	m.syncTimer(n)
	t := &m.timers[n]
	switch addr {
	case TIFR0, TIFR1, TIFR2:
		t.flags &^= v
	case TCNT0, TCNT2:
		t.count, t.blocked = uint16(v), true
	case OCR0A, OCR2A:
		m.setCompareValue(n, 0, uint16(v))
	case OCR0B, OCR2B:
		m.setCompareValue(n, 1, uint16(v))
	case TCNT1H, ICR1H, OCR1AH, OCR1BH: // the high byte waits in TEMP
		t.temp = v
	case TCNT1L:
		t.count, t.blocked = uint16(t.temp)<<8|uint16(v), true
	case OCR1AL:
		m.setCompareValue(n, 0, uint16(t.temp)<<8|uint16(v))
	case OCR1BL:
		m.setCompareValue(n, 1, uint16(t.temp)<<8|uint16(v))
	case ICR1L: // writable only where it is TOP [DS 16.6.1]
		if m.waveform(1).topKind == topICR {
			t.icr = uint16(t.temp)<<8 | uint16(v)
			m.mem[ICR1L], m.mem[ICR1H] = v, t.temp
		}
	case TIMSK0, TIMSK2:
		m.mem[addr] = v & 7
	case TIMSK1:
		m.mem[addr] = v & 0x27
	default:
		m.writeTimerControl(n, addr, v)
	}
	m.updateTimer(n)
}

// setCompareValue writes OCRnx, double buffered in the PWM modes.
func (m *MCU) setCompareValue(n, ch int, v uint16) {
	t := &m.timers[n]
	t.buffer[ch] = v
	if m.waveform(n).update == updateNow {
		t.ocr[ch] = v
	}
	switch n {
	case 0:
		m.mem[OCR0A+uint16(ch)] = uint8(v)
	case 1:
		a := OCR1AL + 2*uint16(ch)
		m.mem[a], m.mem[a+1] = uint8(v), uint8(v>>8)
	case 2:
		m.mem[OCR2A+uint16(ch)] = uint8(v)
	}
}

func (m *MCU) writeTimerControl(n int, addr uint16, v uint8) {
	t := &m.timers[n]
	switch addr {
	case ASSR:
		if v&0x60 != 0 {
			m.violate(NotModelled, addr) // 32 kHz crystal on Timer2
		}
		return
	case TCCR1C, TCCR0B, TCCR2B:
		m.forceCompare(n, v)
		v &= 0x0F
		if addr == TCCR1C {
			return
		}
	}
	if (addr == TCCR0B || addr == TCCR1B) && v&7 >= 6 {
		m.violate(NotModelled, addr) // clock from a pin
	}
	m.mem[addr] = v
	w := m.waveform(n)
	if w.update == updateNow {
		t.ocr = t.buffer
	}
	if !w.dual {
		t.down = false
	}
	m.updateOverride(n)
}

// forceCompare is FOCnx: in non-PWM modes the output behaves as on a match.
func (m *MCU) forceCompare(n int, v uint8) {
	w := m.waveform(n)
	if w.fast || w.dual {
		return
	}
	for ch := range 2 {
		if v&(0x80>>ch) != 0 {
			m.compareOutput(n, ch, w, false)
		}
	}
}

// writeGTCCR resets the prescalers: that of Timer0 and Timer1 with PSRSYNC, that
// of Timer2 with PSRASY; TSM keeps them held [DS 17.4.1].
func (m *MCU) writeGTCCR(v uint8) {
	for n := range m.timers {
		m.syncTimer(n)
		bit := uint8(1)
		if n == 2 {
			bit = 2
		}
		if v&bit != 0 || m.held(n) {
			m.timers[n].base = m.ioNow()
		}
	}
	m.mem[GTCCR] = v & 0x83
	if v&0x80 == 0 {
		m.mem[GTCCR] = 0
	}
	for n := range m.timers {
		m.updateTimer(n)
	}
}
