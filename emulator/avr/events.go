package avr

// Slots of events that happen in real time, whatever sleeps.
const (
	evStart    = iota // main oscillator or reset delay has ended
	evWatchdog        // watchdog time-out
	evEEPROM          // EEPROM write ends
	evADC             // conversion ends
	evSPM             // flash page operation ends
	evLine            // level change on RXD inside a frame that the board sends
	evBoard           // the board's own alarm
	realSlots
)

// Slots of events of the I/O clock, which stops in most sleep modes.
const (
	evTimer0 = iota
	evTimer1
	evTimer2
	evTransmit // USART frame sent
	evReceive  // USART frame received
	evTWI      // two-wire bus step done
	ioSlots
)

// eventState holds one due time per slot: real in cycles, io in cycles of the
// I/O clock. That clock lags behind by ioLag, the time it has been stopped.
type eventState struct {
	next     uint64 // earliest due time in cycles
	nextReal uint64
	nextIO   uint64
	ioLag    uint64
	ioSince  uint64 // cycle at which the I/O clock stopped, if it is stopped
	ioHalted bool
	real     [realSlots]uint64
	io       [ioSlots]uint64
}

func (e *eventState) init() {
	for i := range e.real {
		e.real[i] = never
	}
	for i := range e.io {
		e.io[i] = never
	}
	e.next, e.nextReal, e.nextIO = never, never, never
}

// ioNow returns the time of the I/O clock.
func (m *MCU) ioNow() uint64 {
	if m.events.ioHalted {
		return m.events.ioSince - m.events.ioLag
	}
	return m.cycle - m.events.ioLag
}

// setReal schedules slot at a cycle; never cancels it.
func (m *MCU) setReal(slot int, at uint64) {
	e := &m.events
	at = max(at, m.cycle)
	old := e.real[slot]
	e.real[slot] = at
	switch {
	case at <= e.nextReal:
		e.nextReal = at
	case old <= e.nextReal: // the earliest moved back
		e.earliestReal()
	}
	m.mergeNext()
	m.attention = true
}

// setIO schedules slot at a time of the I/O clock; never cancels it.
func (m *MCU) setIO(slot int, at uint64) {
	e := &m.events
	old := e.io[slot]
	if old == at {
		return
	}
	e.io[slot] = at
	switch {
	case at <= e.nextIO:
		e.nextIO = at
	case old <= e.nextIO:
		e.earliestIO()
	}
	m.mergeNext()
}

func (e *eventState) earliestReal() {
	next := uint64(never)
	for _, t := range &e.real {
		next = min(next, t)
	}
	e.nextReal = next
}

func (e *eventState) earliestIO() {
	next := uint64(never)
	for _, t := range &e.io {
		next = min(next, t)
	}
	e.nextIO = next
}

func (m *MCU) recomputeNext() {
	m.events.earliestReal()
	m.events.earliestIO()
	m.mergeNext()
}

func (m *MCU) mergeNext() {
	e := &m.events
	e.next = e.nextReal
	if !e.ioHalted && e.nextIO != never {
		e.next = min(e.next, e.nextIO+e.ioLag)
	}
	m.attention = true
}

// haltIO stops the I/O clock; resumeIO lets it go on.
func (m *MCU) haltIO() {
	if !m.events.ioHalted {
		m.events.ioHalted, m.events.ioSince = true, m.cycle
		m.mergeNext()
	}
}

func (m *MCU) resumeIO() {
	if m.events.ioHalted {
		m.events.ioHalted = false
		m.events.ioLag += m.cycle - m.events.ioSince
		m.mergeNext()
	}
}

// runEvents runs everything that is due, in order of time. While a handler runs,
// the time is that of its event, which may lie a few cycles back inside the last
// instruction, so that pins change and frames end at their exact cycles.
func (m *MCU) runEvents() {
	e := &m.events
	now := m.cycle
	for e.next <= now {
		t := e.next
		m.cycle = t
		if e.nextReal <= t {
			for slot := range e.real {
				if e.real[slot] <= t {
					e.real[slot] = never
					m.realEvent(slot)
				}
			}
			e.earliestReal()
		}
		if !e.ioHalted && e.nextIO != never && e.nextIO+e.ioLag <= t {
			for slot := range e.io {
				if e.io[slot] != never && e.io[slot]+e.ioLag <= t {
					e.io[slot] = never
					m.ioEvent(slot)
				}
			}
			e.earliestIO()
		}
		if m.cycle > t { // a handler let time pass: the halt after waking
			now = max(now, m.cycle)
		}
		m.mergeNext()
	}
	m.cycle = now
}

func (m *MCU) realEvent(slot int) {
	switch slot {
	case evStart:
		m.started()
	case evWatchdog:
		m.watchdogExpired()
	case evEEPROM:
		m.eepromDone()
	case evADC:
		m.adcDone()
	case evSPM:
		m.spmDone()
	case evLine:
		m.lineEdge()
	case evBoard:
		if m.hooks.Alarm != nil {
			m.touched = true
			m.hooks.Alarm()
		}
	}
}

func (m *MCU) ioEvent(slot int) {
	switch slot {
	case evTimer0, evTimer1, evTimer2:
		m.timerEvent(slot)
	case evTransmit:
		m.transmitted()
	case evReceive:
		m.received()
	case evTWI:
		m.twiDone()
	}
}

// SetAlarm asks for Hooks.Alarm at a cycle (at once if that is past); a second
// call replaces the first. The board keeps its own queue and sets the earliest.
func (m *MCU) SetAlarm(cycle uint64) { m.setReal(evBoard, cycle) }

// CancelAlarm withdraws SetAlarm.
func (m *MCU) CancelAlarm() { m.setReal(evBoard, never) }
