package avr

import "math/bits"

// clockState relates cycles to real time. baseHz is the oscillator, hz the CPU
// clock after the prescaler (CLKPR).
type clockState struct {
	baseHz, hz, wdtHz uint64
	sinceCycle        uint64 // hz has been in force from this cycle on
	sinceNanos        uint64
	prescaleUntil     uint64 // CLKPS may be written until this cycle [DS 9.12.2]
}

// mulDiv returns a·b/c without overflow in between, rounded down.
func mulDiv(a, b, c uint64) uint64 {
	hi, lo := bits.Mul64(a, b)
	if hi >= c {
		return never
	}
	q, _ := bits.Div64(hi, lo, c)
	return q
}

// Nanos returns the time in nanoseconds since construction, rounded down.
func (m *MCU) Nanos() uint64 { return m.NanosAt(m.cycle) }

// NanosAt converts a cycle not before the last change of the clock to nanoseconds.
func (m *MCU) NanosAt(cycle uint64) uint64 {
	return m.clock.sinceNanos + mulDiv(cycle-m.clock.sinceCycle, 1_000_000_000, m.clock.hz)
}

// CycleAt returns the first cycle that begins at or after a time in nanoseconds.
func (m *MCU) CycleAt(nanos uint64) uint64 {
	c := &m.clock
	if nanos <= c.sinceNanos {
		return c.sinceCycle
	}
	cycle := c.sinceCycle + mulDiv(nanos-c.sinceNanos, c.hz, 1_000_000_000)
	if m.NanosAt(cycle) < nanos {
		cycle++
	}
	return cycle
}

// ClockHz returns the present CPU clock frequency.
func (m *MCU) ClockHz() uint64 { return m.clock.hz }

// SetClockHz changes the main oscillator's frequency, as temperature or supply
// do to the internal RC oscillator. Events in real time keep their instants.
func (m *MCU) SetClockHz(hz uint64) {
	m.clock.baseHz = hz
	m.rebase(hz >> (m.mem[CLKPR] & 15))
}

// rebase makes hz the CPU clock from now on and moves pending real-time events.
func (m *MCU) rebase(hz uint64) {
	c := &m.clock
	nanos, old := m.Nanos(), c.hz
	c.sinceCycle, c.sinceNanos, c.hz = m.cycle, nanos, hz
	for slot := range m.events.real {
		due := m.events.real[slot]
		if due != never && due > m.cycle {
			m.events.real[slot] = m.cycle + mulDiv(due-m.cycle, hz, old)
		}
	}
	m.wdt.start = m.cycle - mulDiv(m.cycle-m.wdt.start, hz, old)
	m.recomputeNext()
	if m.hooks.ClockChanged != nil {
		m.hooks.ClockChanged()
	}
}

// micros returns the number of cycles in a real duration, rounded up.
func (m *MCU) micros(us uint64) uint64 {
	return mulDiv(us, m.clock.hz, 1_000_000) + 1
}

// writeCLKPR: CLKPCE alone opens the window, CLKPS within four cycles [DS 9.12.2].
func (m *MCU) writeCLKPR(v uint8) {
	if v == 0x80 {
		m.mem[CLKPR] |= 0x80
		m.clock.prescaleUntil = m.cycle + 4
		return
	}
	if v&0x80 == 0 && m.mem[CLKPR]&0x80 != 0 && m.cycle <= m.clock.prescaleUntil {
		m.mem[CLKPR] = min(v&15, 8)
		m.rebase(m.clock.baseHz >> m.mem[CLKPR])
	}
	m.mem[CLKPR] &= 0x7F
}
