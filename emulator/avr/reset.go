package avr

// resetDelayCycles is added to the oscillator start-up after a reset [DS 9.2].
const resetDelayCycles = 14

// reset takes the causes requested. Registers and SRAM keep their contents
// [DS 11: only the I/O registers are reset].
func (m *MCU) reset(causes uint8) {
	if m.mode == modeRun {
		m.stats.Awake += m.cycle - m.awakeFrom
	}
	m.resetReq = 0
	m.stats.Resets++
	m.inhibit = false
	flags := m.mem[MCUSR] | causes
	if causes&resetPowerOn != 0 {
		// The other flags are cleared by a power-on reset [DS 11.9.1].
		flags = resetPowerOn
		m.supply.brownOut = m.belowBOD()
	}
	m.clearPeripherals()
	m.mem[MCUSR] = flags
	m.watchdogAfterReset(flags)
	m.mode = modeReset
	m.startAfterReset()
	for p := PortB; p <= PortD; p++ {
		m.outputsChanged(p)
	}
	if m.hooks.Reset != nil {
		m.hooks.Reset(causes)
	}
}

// clearPeripherals sets every I/O register to its initial value. An EEPROM write
// goes on [ATmega32U4 data sheet 5.3.5].
func (m *MCU) clearPeripherals() {
	keep := [...]uint16{EEDR, EEARL, EEARH, MCUSR} // EEAR's initial value is undefined [DS 8.6.1]
	var kept [len(keep)]uint8
	for i, a := range keep {
		kept[i] = m.mem[a]
	}
	clear(m.mem[0x20:ramStart])
	for i, a := range keep {
		m.mem[a] = kept[i]
	}
	m.mem[UCSR0A] = udre
	m.mem[UCSR0C] = 0x06
	m.mem[TWSR], m.mem[TWDR], m.mem[TWAR] = 0xF8, 0xFF, 0xFE
	m.mem[OSCCAL] = 0x80
	m.sp = m.ramEnd
	m.sreg = 0
	m.irq = 0
	m.resumeIO()
	line := m.usart.line
	m.timers, m.usart, m.twi, m.adc, m.spm = [3]timerState{}, usartState{}, twiState{}, adcState{}, spmState{}
	m.usart.line = line
	m.ee.armedUntil = 0
	m.wdt = watchdogState{start: m.cycle}
	m.gpio.override = [3]uint8{}
	m.gpio.ivceUntil, m.gpio.bodsUntil, m.clock.prescaleUntil = 0, 0, 0
	for slot := range m.events.real {
		if slot != evBoard && slot != evEEPROM && slot != evLine {
			m.events.real[slot] = never
		}
	}
	for slot := range m.events.io {
		m.events.io[slot] = never
	}
	prescale := uint8(0)
	if m.fuses.CKDIV8 {
		prescale = 3
	}
	m.mem[CLKPR] = prescale
	if hz := m.clock.baseHz >> prescale; hz != m.clock.hz {
		m.rebase(hz)
	}
	m.recomputeNext()
}

// startAfterReset begins the start-up delay once nothing holds the chip in reset.
func (m *MCU) startAfterReset() {
	if m.mode != modeReset || m.supply.external || m.supply.brownOut {
		return
	}
	delay := uint64(m.fuses.StartupCycles) + resetDelayCycles
	if m.fuses.ResetDelay != 0 {
		delay += m.micros(uint64(m.fuses.ResetDelay))
	}
	m.setReal(evStart, m.cycle+delay)
}

// started ends the delay after reset or sleep.
func (m *MCU) started() {
	switch m.mode {
	case modeWaking:
		m.awake()
	case modeReset:
		if m.supply.external || m.supply.brownOut {
			return
		}
		m.mode, m.awakeFrom = modeRun, m.cycle
		m.wdt.start = m.cycle
		m.scheduleWatchdog()
		m.pc = 0
		if m.fuses.BootReset {
			m.pc = m.bootStart()
		}
		if m.clock.hz > maxHz(m.supply.millivolts) {
			m.violate(OutOfSpec, 0)
		}
	}
	m.attention = true
}

func (m *MCU) bootStart() uint16 { return m.part.FlashWords - m.fuses.BootWords&m.pcMask }
