package avr_test

import (
	"math/rand/v2"
	"testing"

	"mealtab/emulator/avr"
)

// randomCode returns code made mostly of the sequences that are fused, on four
// registers and small constants, so that zero results and carries are common. It
// ends in an endless loop.
func randomCode(r *rand.Rand) []uint16 {
	const (
		add, adc, sub, sbc, cp, cpc, and, eor, mov = 0x0C00, 0x1C00, 0x1800, 0x0800, 0x1400, 0x0400, 0x2000, 0x2400, 0x2C00
		subi, sbci, cpi, ldi                       = 0x5000, 0x4000, 0x3000, 0xE000
		lsr, ror, dec, movw                        = 0x9406, 0x9407, 0x940A, 0x0100
		brbs, brbc, sbrc, sbrs, rjmp               = 0xF000, 0xF400, 0xFC00, 0xFE00, 0xC000
		ldd, std, lds, sts, bset                   = 0x8008, 0x8208, 0x9000, 0x9200, 0x9408
	)
	sequences := [][]uint16{
		{add, adc}, {adc, adc}, {sub, sbc}, {sbc, sbc}, {subi, sbci}, {sbci, sbci}, {cp, cpc}, {lsr, ror}, {ror, ror},
		{ldi, ldi}, {ldi, eor}, {mov, mov}, {movw, movw}, {sbrc, rjmp}, {sbrs, rjmp}, {lds, lds}, {sts, sts}, {ldd, ldd}, {std, std},
		{cp, brbs}, {cpc, brbc}, {cpi, brbs}, {subi, brbc}, {sbci, brbs}, {dec, brbc}, {and, brbs},
		{cp, cpc, brbc}, {cpi, cpc, brbs}, {cpc, cpc, brbc}, {bset}, {and}, {ldi, ldi, ldi},
	}
	small := func() uint16 { return [...]uint16{0, 1, 0xFF, 0x80, uint16(r.IntN(256))}[r.IntN(5)] }
	word := func(base uint16) uint16 {
		x, y, k := uint16(r.IntN(4)), uint16(r.IntN(4)), small()
		switch base {
		case subi, sbci, cpi, ldi:
			return base | x<<4 | k&0xF0<<4 | k&15
		case lsr, ror, dec, lds, sts:
			return base | 0x100 | x<<4
		case movw:
			return base | 0x80 | x&1<<4 | 8 | y&1
		case brbs, brbc:
			return base | uint16(r.IntN(4))<<3 | uint16(r.IntN(6))
		case sbrc, sbrs:
			return base | 0x100 | x<<4 | uint16(r.IntN(8))
		case rjmp:
			return base | x
		case ldd, std:
			return base | 0x100 | x<<4 | uint16(r.IntN(8))
		case bset:
			return base | uint16(r.IntN(16))<<4&^0x70 | uint16(r.IntN(7))<<4
		}
		return base | 0x300 | x<<4 | y
	}
	code := []uint16{0xE0C0 | uint16(r.IntN(16)), 0xE0D4} // Y into SRAM
	for len(code) < 400 {
		for _, base := range sequences[r.IntN(len(sequences))] {
			code = append(code, word(base))
			if base == lds || base == sts {
				code = append(code, 0x200+uint16(r.IntN(4)))
			}
		}
	}
	for range 8 {
		code = append(code, 0)
	}
	return append(code, 0xCFFF)
}

// TestFusedLeavesWhatSingleInstructionsLeave runs random code with and without
// fused pairs, stopping at random cycles, and compares whole states.
func TestFusedLeavesWhatSingleInstructionsLeave(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 328))
	for round := range 150 {
		code := randomCode(r)
		seed := r.Uint64()
		chip := func(o avr.Options) *avr.MCU { return scrambled(t, code, o, seed) }
		a, b := chip(avr.Options{}), chip(avr.Options{NoFuse: true, NoPollSkip: true})
		for range 20 {
			n := 1 + r.Uint64N(60)
			a.RunFor(n)
			b.RunFor(n)
			if a.Hash() != b.Hash() {
				t.Fatalf("round %d: fused %#x %d r %v sreg %02x\nplain %#x %d r %v sreg %02x", round,
					a.PC(), a.Cycle(), a.Regs(), a.SREG(), b.PC(), b.Cycle(), b.Regs(), b.SREG())
			}
		}
	}
}

// polling waits for the EEPROM, sends two characters, counts Timer0 overflows,
// and delays in the ways avr-gcc does.
const polling = `
		jmp start
		.org 32             ; TIMER0_OVF
		push r24
		in r24, SREG
		push r24
		lds r24, 0x110
		inc r24
		sts 0x110, r24
		pop r24
		out SREG, r24
		pop r24
		reti
		.org 52
	start:	ldi r16, 3
		out TCCR0B, r16
		ldi r16, 1
		sts TIMSK0, r16
		ldi r16, 8
		sts UCSR0B, r16
		sei
	main:	sbic EECR, 1
		rjmp main
		inc r20
		out EEARL, r20
		out EEDR, r20
		cli
		sbi EECR, 2
		sbi EECR, 1
		sei
	udre:	lds r17, UCSR0A
		sbrs r17, 5
		rjmp udre
		sts UDR0, r20
		lds r18, 0x110
		subi r18, 0xFB      ; wait for five overflows
	flag:	lds r19, 0x110
		cp r19, r18
		brne flag
		ldi r24, 0x10
		ldi r25, 0x27
	d2:	sbiw r24, 1
		brne d2
		ldi r24, 0x40
		ldi r25, 0x0D
		ldi r26, 0x00
	d3:	subi r24, 1
		sbci r25, 0
		sbci r26, 0
		brne d3
		ldi r24, 200
	d1:	dec r24
		brne d1
		ldi r24, 200        ; waits that count their rounds: out by the event …
		ldi r25, 100
	w1:	sbis EECR, 1
		rjmp w2
		sbiw r24, 1
		brne w1
	w2:	clr r1
		ldi r18, 0xE8
		ldi r19, 3
	w3:	lds r17, UCSR0A      ; … or by the count
		sbrc r17, 3
		rjmp w4
		subi r18, 1
		sbc r19, r1
		breq w4
		rjmp w3
	w4:	ldi r18, 250
	w5:	in r17, PIND
		andi r17, 0
		brne w6
		dec r18
		brne w5
	w6:	in r17, SREG
		push r17
		pop r23
		eor r22, r23
		sbis TIFR1, 0       ; a poll of a timer flag
		rjmp t1
		sbi TIFR1, 0
	t1:	sts TCCR1B, r16
		rjmp main`

// TestPollSkipIsExact compares runs with and without skipping at many stops.
func TestPollSkipIsExact(t *testing.T) {
	var sent [2][]uint64
	chip := func(i int, o avr.Options) *avr.MCU {
		return newChip(t, polling, func(c *avr.Config) {
			c.Options = o
			c.Hooks.Transmit = func(f avr.Frame) { sent[i] = append(sent[i], f.Start, uint64(f.Data)) }
		})
	}
	a, b := chip(0, avr.Options{}), chip(1, avr.Options{NoPollSkip: true, NoFuse: true})
	r := rand.New(rand.NewPCG(1, 2))
	for i := range 3000 {
		n := 1 + r.Uint64N(3000)
		a.RunFor(n)
		b.RunFor(n)
		if a.Cycle() != b.Cycle() || a.Hash() != b.Hash() {
			t.Fatalf("stop %d: cycle %d and %d, pc %#x and %#x, regs\n%v\n%v", i, a.Cycle(), b.Cycle(), a.PC(), b.PC(), a.Regs(), b.Regs())
		}
	}
	if len(sent[0]) == 0 || len(sent[0]) != len(sent[1]) {
		t.Fatalf("%d and %d frames", len(sent[0]), len(sent[1]))
	}
	for i := range sent[0] {
		if sent[0][i] != sent[1][i] {
			t.Fatalf("frame %d differs: %d and %d", i/2, sent[0][i], sent[1][i])
		}
	}
	if a.Stats().EEPROMWrites < 5 {
		t.Errorf("%d EEPROM writes: the program did not get on", a.Stats().EEPROMWrites)
	}
}

// TestSnapshotRestoreFork: a restored chip and a fork go on as the original does.
func TestSnapshotRestoreFork(t *testing.T) {
	m := newChip(t, polling)
	m.RunFor(123_456)
	s := m.Snapshot()
	f := m.Fork(avr.Hooks{})
	m.RunFor(500_000)
	want := m.Hash()
	f.RunFor(500_000)
	if f.Hash() != want {
		t.Error("the fork went another way")
	}
	m.Restore(s)
	m.RunFor(500_000)
	if m.Hash() != want {
		t.Error("the restored chip went another way")
	}
	f.RAM()[0x500] ^= 1
	if f.Hash() == want {
		t.Error("the hash does not see one bit of SRAM")
	}
}

// BenchmarkPollSkip is the time to emulate a second of a program that mostly waits.
func BenchmarkPollSkip(b *testing.B) {
	for name, o := range map[string]avr.Options{"skip": {}, "each": {NoPollSkip: true}} {
		b.Run(name, func(b *testing.B) {
			m := newChip(b, polling, func(c *avr.Config) { c.Options = o })
			for b.Loop() {
				m.RunFor(16_000_000)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1e9, "s/emulated-s")
		})
	}
}

// BenchmarkSnapshot is the cost of one fork, of which a cut sweep makes thousands.
func BenchmarkSnapshot(b *testing.B) {
	m := newChip(b, polling)
	for b.Loop() {
		m.Snapshot()
	}
}
