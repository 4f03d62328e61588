package avr

// Reset flags in MCUSR [DS 11.9.1].
const (
	resetPowerOn  = 1 << 0 // PORF
	resetExternal = 1 << 1 // EXTRF
	resetBrownOut = 1 << 2 // BORF
	resetWatchdog = 1 << 3 // WDRF
)

// Thresholds of the supply in millivolts.
const (
	powerOnMillivolts = 1100 // typical power-on reset threshold [DS table 29-11: rising 1.1 to 1.6 V]
	bodHysteresis     = 50   // [DS table 29-12]
	bodDelayMicros    = 2    // pulse shorter than this is ignored [DS table 29-12 tBOD]
)

type supplyState struct {
	millivolts uint16
	external   bool // RESET pin held low
	brownOut   bool // held by the brown-out detector
}

// Supply returns the supply voltage in millivolts.
func (m *MCU) Supply() uint16 { return m.supply.millivolts }

// SetSupply changes the supply voltage. Below the brown-out level the chip is
// held in reset; without supply SRAM contents decay (see Scramble) and an EEPROM
// write in progress leaves a torn byte. A voltage too low for the clock while not
// in reset is reported as OutOfSpec [DS 29.3].
func (m *MCU) SetSupply(millivolts uint16) {
	s := &m.supply
	s.millivolts = millivolts
	m.attention = true
	m.touched = true
	switch {
	case millivolts < powerOnMillivolts:
		if m.mode != modeOff {
			m.powerOff()
		}
	case m.mode == modeOff:
		s.brownOut = m.belowBOD()
		m.resetReq |= resetPowerOn
	case m.belowBOD():
		if !s.brownOut {
			s.brownOut = true
			m.resetReq |= resetBrownOut
		}
	default:
		if s.brownOut {
			s.brownOut = false
			m.startAfterReset()
		}
		if m.clock.hz > maxHz(millivolts) {
			m.violate(OutOfSpec, 0)
		}
	}
}

// belowBOD compares the supply with the detector's level and hysteresis. BODS
// switches the detector off during sleep [DS 10.3].
func (m *MCU) belowBOD() bool {
	level := m.fuses.BODMillivolts
	if level == 0 || m.mode == modeSleep && m.mem[MCUCR]&0x40 != 0 {
		return false
	}
	if m.supply.brownOut {
		level += bodHysteresis
	}
	return m.supply.millivolts < level
}

// maxHz is the highest clock at a supply: 4 MHz at 1.8 V, 10 MHz at 2.7 V,
// 20 MHz at 4.5 V, linear between [DS 29.3].
func maxHz(millivolts uint16) uint64 {
	v := uint64(millivolts)
	switch {
	case v >= 4500:
		return 20_000_000
	case v >= 2700:
		return 10_000_000 + (v-2700)*10_000_000/1800
	case v >= 1800:
		return 4_000_000 + (v-1800)*6_000_000/900
	}
	return 0
}

// powerOff is the moment the supply is gone.
func (m *MCU) powerOff() {
	m.tearEEPROM()
	if m.mode == modeRun {
		m.stats.Awake += m.cycle - m.awakeFrom
	}
	m.mode = modeOff
	m.inhibit = false
	m.clearPeripherals()
	for slot := range m.events.real {
		if slot != evBoard {
			m.events.real[slot] = never
		}
	}
	m.supply.brownOut = false
	m.recomputeNext()
	for p := PortB; p <= PortD; p++ {
		m.outputsChanged(p)
	}
}

// SetReset drives the RESET pin; held is low.
func (m *MCU) SetReset(held bool) {
	s := &m.supply
	if held == s.external {
		return
	}
	s.external = held
	m.attention = true
	m.touched = true
	if m.mode == modeOff {
		return
	}
	if held {
		m.resetReq |= resetExternal
	} else {
		m.startAfterReset()
	}
}

// Scramble fills registers and SRAM with what a seeded generator gives
// (xorshift64*): their contents after a loss of supply are anything.
func (m *MCU) Scramble(seed uint64) {
	s := seed | 1
	fill := func(b []byte) {
		for i := range b {
			s ^= s >> 12
			s ^= s << 25
			s ^= s >> 27
			b[i] = uint8(s * 0x2545F4914F6CDD1D >> 56)
		}
	}
	fill(m.mem[:32])
	fill(m.RAM())
}
