package avr

// com returns the compare output mode of channel ch (0: A, 1: B) [DS tables 15-2 … 15-7].
func (m *MCU) com(n, ch int) uint8 {
	return m.mem[timerPorts[n].tccrA] >> (6 - 2*ch) & 3
}

// comActive resolves mode 1, which toggles only channel A, and in PWM only where
// OCRnA is TOP.
func (m *MCU) comActive(n, ch int, w waveform) uint8 {
	com := m.com(n, ch)
	if com == 1 && (w.fast || w.dual) && (ch == 1 || w.topKind != topOCRA) {
		// Timer1 also toggles OC1A in mode 14 [DS table 16-2].
		if !(n == 1 && ch == 0 && w.fast && w.topKind == topICR) {
			return 0
		}
	}
	return com
}

func (p *timerPort) pin(ch int) (Port, uint8) {
	if ch == 0 {
		return p.portA, p.pinA
	}
	return p.portB, p.pinB
}

// compareOutput drives OCnx on a match.
func (m *MCU) compareOutput(n, ch int, w waveform, down bool) {
	switch m.comActive(n, ch, w) {
	case 1:
		m.setCompare(n, ch, !m.compareLevel(n, ch))
	case 2: // clear on match; in phase correct mode set when counting down
		m.setCompare(n, ch, w.dual && down)
	case 3:
		m.setCompare(n, ch, !w.dual || !down)
	}
}

// bottomOutput is fast PWM's other edge: non-inverting sets at BOTTOM.
func (m *MCU) bottomOutput(n int) {
	for ch := range 2 {
		switch m.com(n, ch) {
		case 2:
			m.setCompare(n, ch, true)
		case 3:
			m.setCompare(n, ch, false)
		}
	}
}

func (m *MCU) compareLevel(n, ch int) bool {
	port, pin := timerPorts[n].pin(ch)
	return m.gpio.compare[port]&pin != 0
}

func (m *MCU) setCompare(n, ch int, high bool) {
	port, pin := timerPorts[n].pin(ch)
	old := m.gpio.compare[port]
	now := old &^ pin
	if high {
		now |= pin
	}
	if now == old {
		return
	}
	m.gpio.compare[port] = now
	if m.gpio.override[port]&pin != 0 {
		m.outputsChanged(port)
	}
}

// updateOverride takes pins from PORTx where a compare output mode is set.
func (m *MCU) updateOverride(n int) {
	w := m.waveform(n)
	for ch := range 2 {
		port, pin := timerPorts[n].pin(ch)
		old := m.gpio.override[port]
		m.gpio.override[port] &^= pin
		if m.comActive(n, ch, w) != 0 {
			m.gpio.override[port] |= pin
		}
		if m.gpio.override[port] != old {
			m.outputsChanged(port)
		}
	}
}

// timerEvent brings timer n to its event.
func (m *MCU) timerEvent(n int) {
	m.timers[n].watched = false
	m.syncTimer(n)
	m.updateTimer(n)
}

// updateTimer recomputes requests and the next event.
func (m *MCU) updateTimer(n int) {
	p := &timerPorts[n]
	t := &m.timers[n]
	on := t.flags & m.mem[p.timsk]
	m.request(p.ovf, on&tov != 0)
	m.request(p.compA, on&ocfA != 0)
	m.request(p.compB, on&ocfB != 0)
	if p.wide {
		m.request(VectorTimer1Capt, on&icf != 0)
	}
	m.scheduleTimer(n)
}

// scheduleTimer makes the next step of interest an event, if anyone would notice:
// an interrupt whose flag is not yet set, an output pin, or a program that polls.
func (m *MCU) scheduleTimer(n int) {
	p := &timerPorts[n]
	t := &m.timers[n]
	shift := m.prescale(n)
	wanted := m.mem[p.timsk] &^ t.flags
	if t.watched {
		wanted |= (tov | ocfA | ocfB | icf) &^ t.flags
	}
	outputs := m.mem[p.tccrA]&0xF0 != 0
	if shift == stoppedClock || m.held(n) || wanted == 0 && !outputs {
		m.setIO(evTimer0+n, never)
		return
	}
	w := m.waveform(n)
	clocks := m.nextPoint(n, w, m.timerTop(n, w))
	at := t.base + ((t.synced-t.base)>>shift+clocks)<<shift
	m.setIO(evTimer0+n, at)
}

// timerServed clears the flag of the vector entered.
func (m *MCU) timerServed(v Vector) {
	for n := range timerPorts {
		p := &timerPorts[n]
		bit := uint8(0)
		switch {
		case v == p.ovf:
			bit = tov
		case v == p.compA:
			bit = ocfA
		case v == p.compB:
			bit = ocfB
		case p.wide && v == VectorTimer1Capt:
			bit = icf
		}
		if bit != 0 {
			m.syncTimer(n)
			m.timers[n].flags &^= bit
			m.updateTimer(n)
		}
	}
}

// inputCapture copies TCNT1 to ICR1 on the edge chosen by ICES1 on PB0, while
// the I/O clock runs. The noise canceller's delay is left out.
func (m *MCU) inputCapture(high bool) {
	if m.events.ioHalted || m.mode == modeReset || m.mode == modeOff {
		return
	}
	rising := m.mem[TCCR1B]&0x40 != 0
	if high != rising || m.waveform(1).topKind == topICR {
		return
	}
	m.syncTimer(1)
	m.timers[1].icr = m.timers[1].count
	m.timers[1].flags |= icf
	m.updateTimer(1)
}
