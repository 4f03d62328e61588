package avr_test

import (
	"math/rand/v2"
	"testing"

	"mealtab/emulator/avr"
)

// randomIO returns a program that writes random values to random I/O registers,
// polls, delays and sleeps, with a handler that counts at every vector.
func randomIO(r *rand.Rand) []uint16 {
	const handler = 60
	code := make([]uint16, 0, 700)
	for v := range 26 {
		to := uint16(handler)
		if v == 0 {
			to = handler + 12
		}
		code = append(code, 0x940C, to)
	}
	for len(code) < handler {
		code = append(code, 0)
	}
	// push r24; in r24, SREG; push r24; lds r24, 0x120; inc r24; sts 0x120, r24;
	// pop r24; out SREG, r24; pop r24; reti
	code = append(code, 0x938F, 0xB78F, 0x938F, 0x9180, 0x120, 0x9583, 0x9380, 0x120, 0x918F, 0xBF8F, 0x918F, 0x9518)
	registers := []uint16{
		avr.PINB, avr.DDRB, avr.PORTB, avr.PORTD, avr.DDRD, avr.EIMSK, avr.EICRA, avr.EIFR, avr.PCICR, avr.PCMSK0, avr.PCMSK2,
		avr.TCCR0A, avr.TCCR0B, avr.OCR0A, avr.TIMSK0, avr.TIFR0, avr.TCCR1A, avr.TCCR1B, avr.OCR1AL, avr.ICR1L, avr.TIMSK1,
		avr.TCCR2A, avr.TCCR2B, avr.OCR2A, avr.TIMSK2, avr.GTCCR, avr.TCNT1L, avr.TCNT0, avr.EECR, avr.EEDR, avr.EEARL,
		avr.WDTCSR, avr.WDTCSR, avr.SMCR, avr.SMCR, avr.UCSR0B, avr.UDR0, avr.UBRR0L, avr.TWCR, avr.TWDR, avr.TWBR,
		avr.ADCSRA, avr.ADMUX, avr.GPIOR0, avr.MCUSR,
	}
	for len(code) < 500 {
		reg := registers[r.IntN(len(registers))]
		k := uint16(r.IntN(256))
		ldi := 0xE000 | k&0xF0<<4 | k&15 // r16
		switch r.IntN(12) {
		case 0: // a poll with a limit: ldi r24; lds r17, reg; sbrs r17, b; rjmp +2; sbiw r24, 1; brne −6
			code = append(code, 0xEF8F, 0x9110, reg, 0xFF10|k&7, 0xC002, 0x9701, 0xF7D1)
		case 1: // ldi r24, k; ldi r25, 1; sbiw r24, 1; brne
			code = append(code, 0xE080|k&15, 0xE091, 0x9701, 0xF7F1)
		case 2: // sleep mode with SE; sei; sleep
			code = append(code, 0xE001|k&3<<1, 0xBF03, 0x9478, 0x9588)
		case 3: // the watchdog, by its timed sequence: interrupt every 16 ms
			code = append(code, 0xE108, 0x9300, avr.WDTCSR, 0xE400, 0x9300, avr.WDTCSR)
		case 4:
			code = append(code, 0x9478, 0, 0x9100, reg) // sei; nop; lds r16, reg
		case 5: // a frame: in r28, SPL; in r29, SPH; sbiw r28, k; in r0, SREG; cli; out SPH, r29; out SREG, r0; out SPL, r28
			enter, leave := 0x9720|k&15, 0x9620|k&15
			code = append(code, 0xB7CD, 0xB7DE, enter, 0xB60F, 0x94F8, 0xBFDE, 0xBE0F, 0xBFCD)
			code = append(code, leave, 0xB60F, 0x94F8, 0xBFDE, 0xBE0F, 0xBFCD)
		case 6: // sbi, cbi, sbic or sbis of GPIOR0; inc r18; out GPIOR0, r18
			code = append(code, 0x98F0|k&0x307, 0x98F0|uint16(r.IntN(4))<<8|k&7, 0x9523, 0xBB2E)
		case 7: // in r17, reg; sbrc r17, b; out GPIOR1, r17
			if reg < 0x60 {
				a := reg - 0x20
				code = append(code, 0xB110|a&0x30<<5|a&15, 0xFD10|k&7, 0xBD1A)
			}
		case 9: // the same poll with its exit before the jump back: … sbiw r24, 1; breq +1; rjmp −7
			code = append(code, 0xE085|k&0xF0<<4, 0xE090|k&1, 0x9110, reg, 0xFD10|k&7, 0xC003, 0x9701, 0xF009, 0xCFF9)
		case 8: // push r17; pop r18; sei; cli
			code = append(code, 0x931F, 0x912F, 0x9478, 0x94F8)
		default:
			code = append(code, ldi, 0x9300, reg)
		}
	}
	back := uint16(len(code)) - (handler + 12) + 1
	return append(code, 0xC000|-back&0xFFF)
}

// TestRandomProgramsRunAlikeWithEveryOption runs random I/O programs with all
// shortcuts and with none, with levels and bytes from outside, and compares whole
// states; it also shows that no register value makes the emulation panic.
func TestRandomProgramsRunAlikeWithEveryOption(t *testing.T) {
	r := rand.New(rand.NewPCG(328, 168))
	for round := range 100 {
		code := randomIO(r)
		chip := func(o avr.Options) *avr.MCU {
			m := avr.New(avr.Config{Fuses: avr.Fuses{StartupCycles: 6, BODMillivolts: 1800}, Options: o, Hooks: avr.Hooks{Bus: &bus{}}})
			if err := m.LoadWords(code); err != nil {
				t.Fatal(err)
			}
			return m
		}
		a, b := chip(avr.Options{}), chip(avr.Options{NoFuse: true, NoPollSkip: true, NoNapSkip: true})
		for stop := range 40 {
			n := 1 + r.Uint64N(1<<r.IntN(19))
			a.RunFor(n)
			b.RunFor(n)
			if a.Cycle() != b.Cycle() || a.Hash() != b.Hash() {
				t.Fatalf("round %d stop %d: cycle %d pc %#x, and %d %#x", round, stop, a.Cycle(), a.PC(), b.Cycle(), b.PC())
			}
			level := avr.Level(r.IntN(3))
			pin := uint8(r.IntN(8))
			data := uint8(r.IntN(256))
			for _, m := range []*avr.MCU{a, b} {
				switch stop % 4 {
				case 0:
					m.SetInput(avr.PortD, pin, level)
				case 1:
					m.SetInput(avr.PortB, pin, level)
				case 2:
					m.ReceiveFrame(data, 86_806)
				}
			}
		}
	}
}
