package scenario

import (
	"time"

	"mealtab/emulator/board"
)

// supplyActions are what can happen to supply, oscillator and reference.
var supplyActions = map[string]action{
	"supply": {"volts, ohms", []bound{{"volts", "V", 0, 6}, {"ohms", "Ω", 0, 1000}}, setSupply},
	"current limit": {"amps, after, off", []bound{{"amps", "A (0: none)", 0, 10}}, func(r *run, e *Event) error {
		l := board.Limit{MA: e.Amps * 1000}
		if err := times(e.After, &l.After, e.Off, &l.Off); err != nil {
			return err
		}
		r.b.SetLimit(l)
		return nil
	}},
	"servo supply": {"volts, ohms", []bound{{"volts", "V (0: none of its own)", 0, 7.4}, {"ohms", "Ω", 0, 1000}}, func(r *run, e *Event) error {
		r.b.SetServoSource(uint16(e.Volts*1000), e.Ohms*1000)
		return nil
	}},
	"unplug servo": plain(func(b *board.Board) { b.UnplugServo(true) }),
	"plug servo":   plain(func(b *board.Board) { b.UnplugServo(false) }),
	"oscillator": {"percent, per_volt, per_degree", []bound{{"percent", "%", -20, 20}, {"per_volt", "%/V", -5, 5}, {"per_degree", "%/K", -1, 1}}, func(r *run, e *Event) error {
		r.b.SetOscillator(board.Oscillator{PC: e.Percent, PCPerVolt: e.PerVolt, PCPerKelvin: e.PerDegree})
		return nil
	}},
	"reference": {"percent", []bound{{"percent", "%", -10, 10}}, func(r *run, e *Event) error { r.b.SetReference(e.Percent); return nil }},
}

func setSupply(r *run, e *Event) error {
	ohms := -1.0
	if e.Ohms > 0 {
		ohms = e.Ohms * 1000
	}
	r.b.SetSource(uint16(e.Volts*1000), ohms)
	return nil
}

// times reads texts of durations; none is 0.
func times(texts ...any) error {
	for i := 0; i < len(texts); i += 2 {
		text, to := texts[i].(string), texts[i+1].(*time.Duration)
		if text == "" {
			continue
		}
		d, err := duration(text)
		if err != nil {
			return err
		}
		*to = d
	}
	return nil
}
