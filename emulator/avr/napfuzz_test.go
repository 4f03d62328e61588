package avr_test

import (
	"math/rand/v2"
	"testing"

	"mealtab/emulator/avr"
	"mealtab/emulator/avr/asm"
)

// randomNap returns the code of one nap: short, straight but for skips and forward
// branches, on four registers, a few bytes of SRAM and GPIOR0.
func randomNap(r *rand.Rand) string {
	reg := func() string { return []string{"r20", "r21", "r22", "r23"}[r.IntN(4)] }
	mem := func() string { return []string{"0x100", "0x101", "0x102", "0x103"}[r.IntN(4)] }
	num := func() string { return []string{"0", "1", "255", "3", "100", "0x80"}[r.IntN(6)] }
	label := 0
	one := func() string {
		switch r.IntN(24) {
		case 0, 1:
			return "inc " + reg()
		case 2:
			return "dec " + reg()
		case 3:
			return "subi " + reg() + ", " + num()
		case 4:
			return "sbci " + reg() + ", " + num()
		case 5:
			return "add " + reg() + ", " + reg()
		case 6:
			return "adc " + reg() + ", " + reg()
		case 7:
			return "mov " + reg() + ", " + reg()
		case 8:
			return "ldi " + reg() + ", " + num()
		case 9, 10:
			return "lds " + reg() + ", " + mem()
		case 11, 12:
			return "sts " + mem() + ", " + reg()
		case 13:
			return []string{"and ", "or ", "eor ", "sub ", "sbc ", "mul ", "cp ", "cpc "}[r.IntN(8)] + reg() + ", " + reg()
		case 14:
			return []string{"com ", "neg ", "swap ", "lsr ", "ror ", "asr ", "tst ", "clr "}[r.IntN(8)] + reg()
		case 15:
			return "adiw r24, 1"
		case 16:
			return "sbiw r24, 1"
		case 17:
			return []string{"bst ", "bld "}[r.IntN(2)] + reg() + ", 3"
		case 18:
			return []string{"in " + reg() + ", GPIOR0", "out GPIOR0, " + reg(), "sbi GPIOR0, 1", "cbi GPIOR0, 1"}[r.IntN(4)]
		case 19:
			return []string{"st X+, " + reg() + "\n\tld " + reg() + ", -X", "std Y+2, " + reg(), "ldd " + reg() + ", Y+3", "lpm " + reg() + ", Z+"}[r.IntN(4)]
		case 20:
			return "push " + reg() + "\n\tpop " + reg()
		case 21:
			return "rcall sub"
		case 22:
			return "cpi " + reg() + ", " + num()
		}
		return "nop"
	}
	code := ""
	for range 3 + r.IntN(12) {
		switch r.IntN(8) {
		case 0:
			code += "\t" + []string{"sbrc ", "sbrs "}[r.IntN(2)] + reg() + ", 4\n\tnop\n"
		case 1:
			code += "\tsbis GPIOR0, 1\n\tnop\n"
		case 2:
			label++
			l := string(rune('a'+label)) + "_"
			code += "\t" + []string{"brne ", "breq ", "brlo ", "brsh ", "brmi ", "brge "}[r.IntN(6)] + l + "\n\tinc r23\n" + l + ":\n"
		default:
			code += "\t" + one() + "\n"
		}
	}
	return code
}

// TestRandomNapsAreSkippedExactly compares whole states over random naps, executed
// and skipped.
func TestRandomNapsAreSkippedExactly(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 2099))
	skipped, programs := uint64(0), 0
	for round := range 250 {
		source := napFrame(`
			ldi r27, 1
			ldi r29, 1
			ldi r28, 8
			ldi r26, 0x10
			ldi r24, 4
			sts PCICR, r24
			sts PCMSK2, r24
		again:	sleep
			ldi r30, 0
			ldi r31, 0
		`+randomNap(r)+`
			rjmp again
		sub:	inc r18
			ret`, `
			push r24
			in r24, SREG
			push r24
			pop r24
			out SREG, r24
			pop r24
			reti`)
		p, err := asm.Assemble(source)
		if err != nil {
			t.Fatalf("%v in\n%s", err, source)
		}
		chip := func(o avr.Options) *avr.MCU { return scrambled(t, p.Words, o, uint64(round)) }
		a, b := chip(avr.Options{}), chip(avr.Options{NoNapSkip: true, NoPollSkip: true, NoFuse: true})
		for stop := range 6 {
			n := 1 + r.Uint64N(400*256_000)
			a.RunFor(n)
			b.RunFor(n)
			if r.IntN(2) == 0 { // woken in mid-nap: the next one begins at another distance from the time-out
				for _, m := range []*avr.MCU{a, b} {
					m.SetInput(avr.PortD, 2, avr.Low+avr.Level(stop%2))
				}
			}
			if a.Cycle() != b.Cycle() || a.Hash() != b.Hash() {
				t.Fatalf("round %d, cycle %d and %d\n%v\n%v\n% x\n% x\n%s", round, a.Cycle(), b.Cycle(), a.Regs(), b.Regs(), a.RAM()[:32], b.RAM()[:32], source)
			}
		}
		skipped += a.SkippedNaps()
		if a.SkippedNaps() > 0 {
			programs++
		}
	}
	t.Logf("%d naps of %d programs were skipped", skipped, programs)
	if programs < 50 {
		t.Errorf("only %d of 250 programs had naps to skip: the comparison shows little", programs)
	}
}
