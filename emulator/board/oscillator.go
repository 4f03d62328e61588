package board

import "math"

// Oscillator is how far the AVR's oscillator is off. One inside the chip is trimmed to 10 % at 3 V and 25 °C
// [ATmega328P data sheet, table 29-9], and runs some 1 % faster for each volt and 0.05 % slower for each degree
// [the same, "Typical Characteristics", read off the figures; they differ from part to part]. A ceramic resonator is good to
// 0.5 %, a crystal to 0.01 % [makers' sheets].
type Oscillator struct {
	PC          float64 // per cent too fast
	PCPerVolt   float64 // further, for each volt above 3 V
	PCPerKelvin float64 // further, for each degree above 25 °C
}

const (
	trimVolts    = 3.0
	trimQuarters = 25 * 4 // quarter degrees
)

// SetOscillator changes the AVR's oscillator.
func (b *Board) SetOscillator(o Oscillator) {
	b.oscillator = o
	b.tune()
}

// tune lets the oscillator follow supply and temperature.
func (b *Board) tune() {
	o := &b.oscillator
	if b.supply.millivolts == 0 {
		return
	}
	pc := o.PC + o.PCPerVolt*(float64(b.supply.millivolts)/1000-trimVolts) + o.PCPerKelvin*float64(b.quarterDegrees-trimQuarters)/4
	if hz := uint64(math.Round(float64(b.cfg.ClockHz) * (1 + pc/100))); hz != b.baseHz {
		b.baseHz = hz
		b.mcu.SetClockHz(hz)
	}
}

// SetReference makes the AVR's internal reference so many per cent too high: 1.1 V is typical, 1.0 to 1.2 V are within the
// sheet [ATmega328P data sheet, table 29-16]. A supply measured against it reads lower by as much.
func (b *Board) SetReference(percent float64) {
	b.mcu.SetReference(uint16(math.Round(1100 * (1 + percent/100))))
}
