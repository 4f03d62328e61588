package avr_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"mealtab/emulator/avr"
	"mealtab/emulator/avr/asm"
)

// randomWait returns loops that wait, with and without a count of rounds; some look
// at their counter or at flags of the round before, and must not be skipped.
func randomWait(r *rand.Rand, n int) string {
	reg := func() string { return []string{"r16", "r17", "r18", "r19", "r24"}[r.IntN(9)%5] }
	lines := []string{}
	add := func(format string, a ...any) { lines = append(lines, "\t"+fmt.Sprintf(format, a...)) }
	add("ldi r24, %d", r.IntN(256))
	add("ldi r25, %d", r.IntN(8))
	if r.IntN(3) == 0 { // enter in the middle
		add("rjmp m%d", n)
	}
	lines = append(lines, fmt.Sprintf("l%d:", n))
	items, item, counter, end := 1+r.IntN(4), 12, r.IntN(6), r.IntN(4)
	if r.IntN(3) == 0 { // the commonest wait, as it is
		items, item, counter, end = 1, 1, 0, r.IntN(2)*2
	}
	for range items {
		switch 11 - r.IntN(item) {
		case 0, 1:
			add("lds %s, 0x120", reg())
		case 2:
			add("in %s, GPIOR0", reg())
		case 3:
			add("lds %s, UCSR0A", reg())
		case 4:
			add("in %s, TIFR0", reg())
		case 5:
			add("mov %s, %s", reg(), reg())
		case 6:
			add("%s %s, %s", []string{"and", "or", "eor", "cp", "add", "adc", "cpc"}[r.IntN(7)], reg(), reg())
		case 7:
			add("%s %s", []string{"lsr", "ror", "com", "tst", "swap"}[r.IntN(5)], reg())
		case 8:
			add("cpi %s, %d", reg(), r.IntN(256))
		case 9:
			add("in %s, SREG", reg())
		case 10:
			add("sbis GPIOR0, %d", r.IntN(8))
			add("rjmp o%d", n)
		case 11:
			add("lds r17, 0x120")
			add("%s r17, %d", []string{"sbrs", "sbrc"}[r.IntN(2)], r.IntN(8))
			add("rjmp %s%d", []string{"o", "o", "o", "m"}[r.IntN(4)], n)
		}
	}
	lines = append(lines, fmt.Sprintf("m%d:", n))
	switch counter {
	case 0:
		add("sbiw r24, 1")
	case 1:
		add("subi r24, 1")
		add("sbci r25, 0")
	case 2:
		add("subi r24, 1")
		add("sbc r25, r1")
	case 3:
		add("dec r24")
	case 4:
		add("tst r17")
	}
	switch end {
	case 0:
		add("breq o%d", n)
		add("rjmp l%d", n)
	case 1:
		add("sbrs r16, 2")
		add("rjmp l%d", n)
	default:
		add("%s l%d", []string{"brne", "brne", "brne", "brcc", "brpl"}[r.IntN(5)], n)
	}
	lines = append(lines, fmt.Sprintf("o%d:", n))
	add("inc r20")
	add("in r21, SREG")
	return strings.Join(lines, "\n") + "\n"
}

// TestRandomWaitsAreSkippedExactly runs such loops under a timer interrupt that
// changes what they look at, with and without skipping.
func TestRandomWaitsAreSkippedExactly(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	for round := range 200 {
		source := `
			jmp start
			.org 32
			push r24
			in r24, SREG
			push r24
			lds r24, 0x120
			subi r24, 0xB7
			sts 0x120, r24
			out GPIOR0, r24
			pop r24
			out SREG, r24
			pop r24
			reti
			.org 52
		start:	clr r1
			ldi r16, 2
			out TCCR0B, r16
			ldi r16, 1
			sts TIMSK0, r16
			sei
		main:
		`
		for n := range 6 {
			source += randomWait(r, n)
		}
		source += "\trjmp main\n"
		p, err := asm.Assemble(source)
		if err != nil {
			t.Fatalf("%v in\n%s", err, source)
		}
		chip := func(o avr.Options) *avr.MCU { return scrambled(t, p.Words, o, uint64(round)) }
		a, b := chip(avr.Options{}), chip(avr.Options{NoPollSkip: true, NoFuse: true})
		for range 12 {
			n := 1 + r.Uint64N(30_000)
			a.RunFor(n)
			b.RunFor(n)
			if a.Cycle() != b.Cycle() || a.Hash() != b.Hash() {
				t.Fatalf("round %d: cycle %d pc %#x, and %d %#x\n%v\n%v\n%s", round, a.Cycle(), a.PC(), b.Cycle(), b.PC(), a.Regs(), b.Regs(), source)
			}
		}
	}
}
