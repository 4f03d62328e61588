package avr_test

import (
	"testing"

	"mealtab/emulator/avr"
)

// edges runs m and returns the cycles at which a pin changes.
func edges(m *avr.MCU, p avr.Port, bit uint8, cycles uint64, hook *func(avr.Port)) (at []uint64, levels []bool) {
	last := m.PinState(p, bit).High
	*hook = func(q avr.Port) {
		if now := m.PinState(p, bit).High; q == p && now != last {
			last = now
			at, levels = append(at, m.Cycle()), append(levels, now)
		}
	}
	m.RunFor(cycles)
	return at, levels
}

func pinChip(t *testing.T, source string) (*avr.MCU, *func(avr.Port)) {
	hook := func(avr.Port) {}
	m := newChip(t, source, func(c *avr.Config) { c.Hooks.Pins = func(p avr.Port) { hook(p) } })
	return m, &hook
}

// wantPWM checks period and high time in cycles.
func wantPWM(t *testing.T, name string, at []uint64, levels []bool, period, high uint64) {
	t.Helper()
	if len(at) < 6 {
		t.Errorf("%s: %d edges", name, len(at))
		return
	}
	i := 2
	if !levels[i] {
		i++
	}
	if h, p := at[i+1]-at[i], at[i+2]-at[i]; h != high || p != period {
		t.Errorf("%s: high %d of %d cycles, want %d of %d", name, h, p, high, period)
	}
}

func TestTimer1FastPWMWithICR1(t *testing.T) {
	// 16.9.3 mode 14: a servo's 20 ms with prescaler 8 at 16 MHz: TOP 39999; the
	// output is high OCR1A+1 counts.
	m, hook := pinChip(t, `
		sbi DDRB, 1
		ldi r16, 0x9C
		sts ICR1H, r16
		ldi r16, 0x3F
		sts ICR1L, r16
		ldi r16, 0x0B
		sts OCR1AH, r16
		ldi r16, 0xB7
		sts OCR1AL, r16
		ldi r16, 0x82
		sts TCCR1A, r16
		ldi r16, 0x1A
		sts TCCR1B, r16
		ldi r16, 0x9C       ; ICR1 can be written now
		sts ICR1H, r16
		ldi r16, 0x3F
		sts ICR1L, r16
	end:	rjmp end`)
	at, levels := edges(m, avr.PortB, 1, 4*320_000, hook)
	wantPWM(t, "mode 14", at, levels, 320_000, 8*(0x0BB7+1))
}

func TestOCRIsBufferedInFastPWM(t *testing.T) {
	// 16.7: OCR1A written mid-period takes effect at BOTTOM.
	m, hook := pinChip(t, `
		sbi DDRD, 6
		ldi r16, 100
		out OCR0A, r16
		ldi r16, 0x83
		out TCCR0A, r16
		ldi r16, 1
		out TCCR0B, r16
	end:	rjmp end`)
	m.RunFor(256 * 4)
	for c := m.Peek(avr.TCNT0); c < 50 || c > 60; c = m.Peek(avr.TCNT0) {
		m.RunFor(1)
	}
	m.Poke(avr.OCR0A, 20)
	at, levels := edges(m, avr.PortD, 6, 256*4, hook)
	if len(at) < 3 || levels[0] || at[1]-at[0] != 256-101 || at[2]-at[1] != 21 {
		t.Errorf("edges %v %v: want the old 101 in this period and 21 in the next", at, levels)
	}
}

func TestPhaseCorrectPWM(t *testing.T) {
	// 15.7.4: period 2·TOP, high twice OCR.
	m, hook := pinChip(t, `
		sbi DDRB, 3
		ldi r16, 64
		sts OCR2A, r16
		ldi r16, 0x81
		sts TCCR2A, r16
		ldi r16, 1
		sts TCCR2B, r16
	end:	rjmp end`)
	at, levels := edges(m, avr.PortB, 3, 510*6, hook)
	wantPWM(t, "phase correct", at, levels, 510, 128)
}

func TestCTCTogglesPin(t *testing.T) {
	// 15.7.2: f = F/(2·N·(1+OCR)).
	m, hook := pinChip(t, `
		sbi DDRD, 6
		ldi r16, 124
		out OCR0A, r16
		ldi r16, 0x42
		out TCCR0A, r16
		ldi r16, 3
		out TCCR0B, r16
	end:	rjmp end`)
	at, levels := edges(m, avr.PortD, 6, 64*125*10, hook)
	wantPWM(t, "CTC", at, levels, 2*64*125, 64*125)
}

func TestTimerPrescalers(t *testing.T) {
	// Tables 15-9 and 18-9; Timer2 has seven taps.
	for reg, dividers := range map[uint16][]uint64{
		avr.TCCR0B: {0, 1, 8, 64, 256, 1024}, avr.TCCR1B: {0, 1, 8, 64, 256, 1024},
		avr.TCCR2B: {0, 1, 8, 32, 64, 128, 256, 1024},
	} {
		count := map[uint16]uint16{avr.TCCR0B: avr.TCNT0, avr.TCCR1B: avr.TCNT1L, avr.TCCR2B: avr.TCNT2}[reg]
		for cs, d := range dividers {
			m := newChip(t, "end:\trjmp end")
			m.Poke(reg, uint8(cs))
			m.RunFor(10_240)
			want := uint8(0)
			if d != 0 {
				want = uint8(10_240 / d)
			}
			if got := m.Peek(count); got != want && got != want+1 && got != want-1 {
				t.Errorf("register %#x clock %d: count %d, want %d", reg, cs, got, want)
			}
		}
	}
}

func TestSixteenBitAccessThroughTEMP(t *testing.T) {
	// 16.3: write the high byte first, read the low byte first.
	m := newChip(t, `
		ldi r16, 0x12
		sts TCNT1H, r16
		ldi r16, 0xFE
		sts TCNT1L, r16
		ldi r16, 1
		sts TCCR1B, r16     ; counts from here, through 0x12FF
		lds r20, TCNT1L
		lds r21, TCNT1H
		break`)
	runToBreak(t, m, 100)
	if got := uint16(m.Reg(21))<<8 | uint16(m.Reg(20)); got < 0x12FF || got > 0x1302 {
		t.Errorf("TCNT1 read %#x, want about 0x1300 without a torn byte", got)
	}
}

func TestOverflowAndCompareInterrupts(t *testing.T) {
	// 15.9.7: TOV0 at the wrap; 15.5: OCF0A one clock after the match; both clear on entry.
	m := newChip(t, `
		jmp start
		.org 28             ; TIMER0_COMPA
		inc r20
		reti
		.org 32             ; TIMER0_OVF
		inc r21
		reti
		.org 52
	start:	ldi r16, 99
		out OCR0A, r16
		ldi r16, 3
		sts TIMSK0, r16
		ldi r16, 2
		out TCCR0B, r16
		sei
	end:	rjmp end`)
	m.RunFor(8*256*10 + 100)
	wantRegs(t, m, map[uint8]uint8{20: 10, 21: 10})
}

func TestTOVPolledAndCleared(t *testing.T) {
	// 15.9.7: TOV0 is cleared by writing 1.
	m := newChip(t, `
		ldi r16, 1
		out TCCR0B, r16
	poll:	sbis TIFR0, 0
		rjmp poll
		sbi TIFR0, 0
		in r20, TIFR0
		in r21, TCNT0
		break`)
	start := m.Cycle()
	runToBreak(t, m, 1000)
	if d := m.Cycle() - start; d < 256 || d > 275 || m.Reg(20)&1 != 0 {
		t.Errorf("polled out after %d cycles, TIFR0 %#x", d, m.Reg(20))
	}
}

func TestInputCapture(t *testing.T) {
	// 16.6: the edge chosen by ICES1 copies TCNT1 to ICR1 and sets ICF1.
	m := newChip(t, `
		ldi r16, 0x41
		sts TCCR1B, r16
	poll:	sbis TIFR1, 5
		rjmp poll
		lds r20, ICR1L
		lds r21, ICR1H
		break`)
	m.SetInput(avr.PortB, 0, avr.Low)
	m.RunFor(1000)
	at := m.Peek(avr.TCNT1L)
	high := m.Peek(avr.TCNT1H)
	m.SetInput(avr.PortB, 0, avr.High)
	runToBreak(t, m, 1000)
	wantRegs(t, m, map[uint8]uint8{20: at, 21: high})
}

func TestPrescalerReset(t *testing.T) {
	// 17.4.1: PSRSYNC restarts the prescaler of Timer0 and Timer1.
	m := newChip(t, `
		ldi r16, 5
		out TCCR0B, r16
	end:	rjmp end`)
	m.RunFor(900)
	m.Poke(avr.TCNT0, 0)
	m.Poke(avr.GTCCR, 1)
	m.RunFor(1020)
	if m.Peek(avr.TCNT0) != 0 {
		t.Error("counted before 1024 cycles")
	}
	m.RunFor(10)
	if m.Peek(avr.TCNT0) != 1 {
		t.Errorf("count %d after 1030 cycles, want 1", m.Peek(avr.TCNT0))
	}
}
