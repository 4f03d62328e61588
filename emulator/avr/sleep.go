package avr

// sleepMode is the SM field of SMCR [DS table 10-2].
type sleepMode uint8

const (
	sleepIdle         sleepMode = 0
	sleepADC          sleepMode = 1
	sleepPowerDown    sleepMode = 2
	sleepPowerSave    sleepMode = 3
	sleepStandby      sleepMode = 6
	sleepExtStandby   sleepMode = 7
	wakeExternal                = 1<<VectorINT0 | 1<<VectorINT1 | 1<<VectorPCINT0 | 1<<VectorPCINT1 | 1<<VectorPCINT2 | 1<<VectorWDT
	wakeADC                     = wakeExternal | 1<<VectorADC | 1<<VectorEEReady | 1<<VectorSPMReady
	wakeAny                     = ^uint32(0)
	standbyWakeCycles           = 6 // [DS 10.7]
)

// wakeMask returns the vectors that can end each sleep mode [DS table 10-1].
func (s sleepMode) wakeMask() uint32 {
	switch s {
	case sleepIdle:
		return wakeAny
	case sleepADC:
		return wakeADC
	}
	return wakeExternal
}

// sleep executes SLEEP at m.cycle: nothing without SE [DS 10.11.1].
func (m *MCU) sleep() {
	smcr := m.mem[SMCR]
	mode := sleepMode(smcr >> 1 & 7)
	if smcr&1 == 0 || mode == 4 || mode == 5 {
		return
	}
	m.stats.Awake += m.cycle - m.awakeFrom
	m.mode, m.sleepMode = modeSleep, mode
	m.attention = true
	m.mem[MCUCR] = m.readMCUCR() // BODS counts only if set within the last three cycles
	if mode != sleepIdle {
		m.haltIO()
		if mode != sleepADC && m.ee.busy {
			m.strictEEPROM(EEPROMSleep, m.ee.addr)
		}
	}
	m.adcSleeps(mode)
	m.tellSleep(true)
}

// sleeping waits for an interrupt that can wake, jumping to the next event. The
// global interrupt flag must be set; with it clear only a reset wakes [DS 10.2:
// "an enabled interrupt"; choice].
func (m *MCU) sleeping(limit uint64) {
	if m.irq&m.sleepMode.wakeMask() != 0 && m.sreg&flagI != 0 {
		m.wake()
		return
	}
	if !m.opt.NoNapSkip && m.skipNaps(limit) {
		return
	}
	from := m.cycle
	m.cycle = min(limit, m.events.next)
	m.account(m.cycle - from)
}

func (m *MCU) tellSleep(asleep bool) {
	if m.hooks.Sleep != nil {
		m.touched = m.touched || m.hooks.Naps == nil
		m.hooks.Sleep(asleep)
	}
}

func (m *MCU) account(slept uint64) {
	if m.sleepMode == sleepIdle {
		m.stats.Idle += slept
	} else {
		m.stats.Asleep += slept
	}
}

// wake starts the main oscillator where it was stopped; the CPU then halts four
// cycles before the interrupt is served [DS 7.7.1].
func (m *MCU) wake() {
	m.stats.Wakes++
	delay := uint64(0)
	switch m.sleepMode {
	case sleepPowerDown, sleepPowerSave:
		// An EEPROM write keeps the oscillator running [ATmega165A data sheet 8.3.2].
		if !m.ee.busy {
			delay = uint64(m.fuses.StartupCycles)
			if m.mem[MCUCR]&0x40 != 0 { // BODS: the detector needs 60 µs to settle [DS 10.3]
				delay += m.micros(60)
			}
		}
	case sleepStandby, sleepExtStandby:
		delay = standbyWakeCycles
	}
	if delay == 0 {
		m.awake()
		return
	}
	m.mode = modeWaking
	m.account(delay)
	m.setReal(evStart, m.cycle+delay)
}

// awake lets the CPU run: four cycles halted, then the interrupt if it is still
// requested. A level that ended during start-up wakes without one [DS 10.5].
func (m *MCU) awake() {
	m.mode, m.awakeFrom = modeRun, m.cycle
	m.mem[MCUCR] &^= 0x60
	m.resumeIO()
	m.attention = true
	if m.irq != 0 {
		m.cycle += 4
	}
	m.tellSleep(false)
}
