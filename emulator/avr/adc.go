package avr

// Bits of ADCSRA [DS 24.9.2].
const (
	aden  = 1 << 7
	adsc  = 1 << 6
	adate = 1 << 5
	adif  = 1 << 4
	adie  = 1 << 3
)

const bandgapMillivolts = 1100 // internal reference, typical: 1.0 to 1.2 V from part to part [DS table 29-16]

// SetReference gives this part's internal reference its own voltage, in millivolts.
func (m *MCU) SetReference(millivolts uint16) { m.bandgap = millivolts }

type adcState struct {
	result uint16
	locked bool // ADCL was read, ADCH not yet: a new result is lost [DS 24.2]
	first  bool // next conversion is the first since ADEN: 25 clocks instead of 13
	mux    uint8
}

func (m *MCU) writeADC(addr uint16, v uint8) {
	switch addr {
	case ADCL, ADCH:
		return
	case ADCSRA:
		m.writeADCSRA(v)
	case ADMUX:
		m.mem[addr] = v
		m.adcPublish()
	default:
		m.mem[addr] = v & 0x47
	}
}

func (m *MCU) writeADCSRA(v uint8) {
	old := m.mem[ADCSRA]
	flag := old & adif &^ v
	if old&aden == 0 && v&aden != 0 {
		m.adc.first = true
	}
	m.mem[ADCSRA] = v&^(adif|adsc) | flag | old&adsc
	switch {
	case v&aden == 0: // switching off ends a conversion [DS 24.9.2]
		m.mem[ADCSRA] &^= adsc
		m.setReal(evADC, never)
	case v&adsc != 0 && old&adsc == 0:
		m.startADC()
	}
	m.request(VectorADC, m.mem[ADCSRA]&(adif|adie) == adif|adie)
}

// startADC begins a conversion: 13 ADC clocks, 25 the first time [DS table 24-1].
func (m *MCU) startADC() {
	m.mem[ADCSRA] |= adsc
	m.adc.mux = m.mem[ADMUX]
	clocks := uint64(13)
	if m.adc.first {
		clocks = 25
		m.adc.first = false
	}
	prescaler := uint64(1) << max(1, m.mem[ADCSRA]&7)
	m.setReal(evADC, m.cycle+clocks*prescaler)
}

// adcDone stores the result: V·1024/Vref, at most 1023 [DS 24.7].
func (m *MCU) adcDone() {
	ref := uint32(m.supply.millivolts) // AVCC
	switch m.adc.mux >> 6 {
	case 0: // AREF pin: taken as AVCC, to which boards tie it [choice]
	case 3:
		ref = uint32(m.bandgap)
	}
	if !m.adc.locked {
		m.adc.result = uint16(min(m.analog(m.adc.mux&15)*1024/max(ref, 1), 1023))
		m.adcPublish()
	}
	m.mem[ADCSRA] = m.mem[ADCSRA]&^adsc | adif
	m.request(VectorADC, m.mem[ADCSRA]&adie != 0)
	if m.mem[ADCSRA]&adate != 0 && m.mem[ADCSRB]&7 == 0 { // free running
		m.startADC()
	}
}

// analog returns the millivolts of a multiplexer input.
func (m *MCU) analog(mux uint8) uint32 {
	switch {
	case mux < 8:
		if m.hooks.Analog == nil {
			return 0
		}
		return uint32(m.hooks.Analog(mux))
	case mux == 8: // temperature sensor: 314 mV at 25 °C [DS table 24-2]
		return 314
	case mux == 14:
		return uint32(m.bandgap)
	}
	return 0
}

// adcPublish puts the result in ADCH:ADCL, left adjusted with ADLAR.
func (m *MCU) adcPublish() {
	r := m.adc.result
	if m.mem[ADMUX]&0x20 != 0 {
		r <<= 6
	}
	m.mem[ADCL], m.mem[ADCH] = uint8(r), uint8(r>>8)
}

// adcSleeps: noise reduction starts a conversion [DS 24.6]; deeper modes stop one.
func (m *MCU) adcSleeps(s sleepMode) {
	switch {
	case s == sleepADC && m.mem[ADCSRA]&(aden|adsc) == aden:
		m.startADC()
	case s != sleepIdle && s != sleepADC && m.mem[ADCSRA]&adsc != 0:
		m.mem[ADCSRA] &^= adsc
		m.setReal(evADC, never)
	}
}
