package avr

// Flags in TIFRn, the same positions as the enable bits in TIMSKn.
const (
	tov  = 1 << 0
	ocfA = 1 << 1
	ocfB = 1 << 2
	icf  = 1 << 5
)

// timerPort describes where one timer's registers, pins and vectors are.
type timerPort struct {
	tifr, timsk  uint16
	tccrA, tccrB uint16
	ovf          Vector
	compA, compB Vector
	pinA, pinB   uint8 // bit masks
	portA, portB Port
	wide         bool // Timer1
	prescaleBits [8]uint8
}

const stoppedClock = 0xFF

var timerPorts = [3]timerPort{
	{tifr: TIFR0, timsk: TIMSK0, tccrA: TCCR0A, tccrB: TCCR0B, ovf: VectorTimer0Ovf, compA: VectorTimer0CompA, compB: VectorTimer0CompB,
		pinA: 1 << 6, pinB: 1 << 5, portA: PortD, portB: PortD, prescaleBits: [8]uint8{stoppedClock, 0, 3, 6, 8, 10, stoppedClock, stoppedClock}},
	{tifr: TIFR1, timsk: TIMSK1, tccrA: TCCR1A, tccrB: TCCR1B, ovf: VectorTimer1Ovf, compA: VectorTimer1CompA, compB: VectorTimer1CompB,
		pinA: 1 << 1, pinB: 1 << 2, portA: PortB, portB: PortB, wide: true, prescaleBits: [8]uint8{stoppedClock, 0, 3, 6, 8, 10, stoppedClock, stoppedClock}},
	{tifr: TIFR2, timsk: TIMSK2, tccrA: TCCR2A, tccrB: TCCR2B, ovf: VectorTimer2Ovf, compA: VectorTimer2CompA, compB: VectorTimer2CompB,
		pinA: 1 << 3, pinB: 1 << 3, portA: PortB, portB: PortD, prescaleBits: [8]uint8{stoppedClock, 0, 3, 5, 6, 7, 8, 10}},
}

// waveform is a mode of operation [DS tables 15-8, 16-4, 18-8].
type waveform struct {
	dual    bool  // counts up and down
	fast    bool  // fast PWM: TOV at the wrap, compare registers updated at BOTTOM
	topKind uint8 // topMax …
	fixed   uint16
	update  uint8 // when a written OCR becomes active
}

const (
	topMax = iota // 0xFF or 0xFFFF
	topFixed
	topOCRA
	topICR
)

const (
	updateNow = iota
	updateBottom
	updateTop
)

var waveforms8 = [8]waveform{
	0: {topKind: topMax},
	1: {topKind: topMax, dual: true, update: updateTop},
	2: {topKind: topOCRA},
	3: {topKind: topMax, fast: true, update: updateBottom},
	4: {topKind: topMax}, // reserved
	5: {topKind: topOCRA, dual: true, update: updateTop},
	6: {topKind: topOCRA}, // reserved
	7: {topKind: topOCRA, fast: true, update: updateBottom},
}

var waveforms16 = [16]waveform{
	0:  {topKind: topMax},
	1:  {topKind: topFixed, fixed: 0x0FF, dual: true, update: updateTop},
	2:  {topKind: topFixed, fixed: 0x1FF, dual: true, update: updateTop},
	3:  {topKind: topFixed, fixed: 0x3FF, dual: true, update: updateTop},
	4:  {topKind: topOCRA},
	5:  {topKind: topFixed, fixed: 0x0FF, fast: true, update: updateBottom},
	6:  {topKind: topFixed, fixed: 0x1FF, fast: true, update: updateBottom},
	7:  {topKind: topFixed, fixed: 0x3FF, fast: true, update: updateBottom},
	8:  {topKind: topICR, dual: true, update: updateBottom},
	9:  {topKind: topOCRA, dual: true, update: updateBottom},
	10: {topKind: topICR, dual: true, update: updateTop},
	11: {topKind: topOCRA, dual: true, update: updateTop},
	12: {topKind: topICR},
	13: {topKind: topMax}, // reserved
	14: {topKind: topICR, fast: true, update: updateBottom},
	15: {topKind: topOCRA, fast: true, update: updateBottom},
}

// timerState is one timer. The count is exact at I/O time synced; syncTimer brings
// it forward.
type timerState struct {
	synced  uint64
	base    uint64 // I/O time at which the prescaler was 0
	count   uint16
	ocr     [2]uint16 // active compare values
	buffer  [2]uint16 // as written; reads return these
	icr     uint16
	temp    uint8 // Timer1's shared high byte
	down    bool
	blocked bool  // TCNT was written: no match in the next timer clock [DS 15.6.2, 16.7.2]
	flags   uint8 // TIFR
	watched bool  // the program reads TIFR: setting a flag must be an event
}

func (m *MCU) waveform(n int) waveform {
	p := &timerPorts[n]
	a, b := m.mem[p.tccrA], m.mem[p.tccrB]
	if p.wide {
		return waveforms16[a&3|b>>1&12]
	}
	return waveforms8[a&3|b>>1&4]
}

func (m *MCU) timerMax(n int) uint16 {
	if timerPorts[n].wide {
		return 0xFFFF
	}
	return 0xFF
}

func (m *MCU) timerTop(n int, w waveform) uint16 {
	switch w.topKind {
	case topFixed:
		return w.fixed
	case topOCRA:
		return m.timers[n].ocr[0]
	case topICR:
		return m.timers[n].icr
	}
	return m.timerMax(n)
}

// prescale returns the clock divider as a power of two, or stoppedClock. Clocks
// from the T0 and T1 pins are not modelled.
func (m *MCU) prescale(n int) uint8 {
	p := &timerPorts[n]
	return p.prescaleBits[m.mem[p.tccrB]&7]
}

// held reports whether GTCCR holds the prescalers in reset [DS 17.4.1].
func (m *MCU) held(n int) bool {
	bit := uint8(1)
	if n == 2 {
		bit = 2
	}
	return m.mem[GTCCR]&0x80 != 0 && m.mem[GTCCR]&bit != 0
}

// syncTimer advances timer n to the present I/O time.
func (m *MCU) syncTimer(n int) {
	t := &m.timers[n]
	now := m.ioNow()
	shift := m.prescale(n)
	if shift != stoppedClock && !m.held(n) {
		clocks := (now-t.base)>>shift - (t.synced-t.base)>>shift
		if clocks > 0 {
			m.advance(n, clocks)
		}
	}
	t.synced = now
}

// nextPoint returns the number of timer clocks to the next step at which
// something happens: leaving a compare value, TOP or BOTTOM. At least 1.
func (m *MCU) nextPoint(n int, w waveform, top uint16) uint64 {
	t := &m.timers[n]
	c := t.count
	best := uint64(m.timerMax(n)-c) + 1
	consider := func(v uint16) {
		if w.dual && t.down {
			if v <= c {
				best = min(best, uint64(c-v)+1)
			}
			return
		}
		if v >= c {
			best = min(best, uint64(v-c)+1)
		}
	}
	if w.dual && t.down {
		best = uint64(c) + 1
	}
	consider(top)
	consider(t.ocr[0])
	consider(t.ocr[1])
	return best
}

// advance counts clocks timer clocks, stopping at each point of interest. Whole
// periods of a steady timer are skipped: two rounds show every flag there is.
func (m *MCU) advance(n int, clocks uint64) {
	w := m.waveform(n)
	top := m.timerTop(n, w)
	if t := &m.timers[n]; t.count <= top {
		period := uint64(top) + 1
		if w.dual {
			period = max(2*uint64(top), 1)
		}
		if clocks > 4*period {
			clocks = 2*period + clocks%period
		}
	}
	for clocks > 0 {
		t := &m.timers[n]
		step := m.nextPoint(n, w, m.timerTop(n, w))
		if step > clocks {
			if w.dual && t.down {
				t.count -= uint16(clocks)
			} else {
				t.count += uint16(clocks)
			}
			t.blocked = false
			return
		}
		if w.dual && t.down {
			t.count -= uint16(step - 1)
		} else {
			t.count += uint16(step - 1)
		}
		if step > 1 {
			t.blocked = false
		}
		m.clockTimer(n, w)
		clocks -= step
	}
}

// clockTimer is one timer clock with the count at a point of interest. Flags and
// outputs follow a match by one timer clock [DS 15.5].
func (m *MCU) clockTimer(n int, w waveform) {
	t := &m.timers[n]
	top := m.timerTop(n, w)
	maximum := m.timerMax(n)
	for ch := range t.ocr {
		if t.count == t.ocr[ch] && !t.blocked {
			t.flags |= ocfA << ch
			m.compareOutput(n, ch, w, t.down)
		}
	}
	t.blocked = false
	if w.topKind == topICR && t.count == top && !t.down {
		t.flags |= icf
	}
	switch {
	case w.dual:
		m.clockDual(n, w, top)
	case t.count == top || t.count == maximum:
		if w.fast && t.count == top || t.count == maximum {
			t.flags |= tov
		}
		t.count = 0
		if w.update == updateBottom {
			t.ocr = t.buffer
		}
		if w.fast {
			m.bottomOutput(n)
		}
	default:
		t.count++
	}
}

// clockDual turns round at TOP and BOTTOM. TOV comes with the clock that leaves
// BOTTOM.
func (m *MCU) clockDual(n int, w waveform, top uint16) {
	t := &m.timers[n]
	switch {
	case !t.down && t.count >= top:
		t.down = true
		if w.update == updateTop {
			t.ocr = t.buffer
		}
	case t.down && t.count == 0:
		t.down = false
		t.flags |= tov
		if w.update == updateBottom {
			t.ocr = t.buffer
		}
	}
	switch {
	case top == 0:
	case t.down:
		t.count--
	default:
		t.count++
	}
}
