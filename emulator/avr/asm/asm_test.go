package asm_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"mealtab/emulator/avr/asm"
)

// source has every mnemonic, with operands at the ends of their ranges.
const source = `
	nop
	movw r0, r30
	movw r24, r2
	muls r16, r31
	mulsu r16, r23
	fmul r17, r22
	fmuls r18, r21
	fmulsu r19, r20
	cpc r0, r31
	sbc r31, r0
	add r1, r2
	lsl r17
	cpse r15, r16
	cp r8, r24
	sub r9, r25
	adc r10, r26
	rol r11
	and r12, r27
	tst r28
	eor r13, r29
	clr r14
	or r15, r30
	mov r16, r31
	mul r31, r31
	cpi r16, 255
	sbci r17, 0
	subi r18, -1
	ori r19, 0x5A
	sbr r20, 0x80
	andi r21, 0x0F
	ldi r31, 1<<7|3
	com r0
	neg r1
	swap r2
	inc r3
	asr r4
	lsr r5
	ror r6
	dec r7
	ser r16
	adiw r24, 63
	sbiw r30, 1
	ld r0, Z
	ld r1, Y
	ldd r2, Z+63
	ldd r3, Y+1
	ld r4, X
	ld r5, X+
	ld r6, -X
	ld r7, Y+
	ld r8, -Y
	ld r9, Z+
	ld r10, -Z
	lds r11, 0x100
	pop r12
	st Z, r13
	st Y, r14
	std Z+32, r15
	std Y+63, r16
	st X, r17
	st X+, r18
	st -X, r19
	st Y+, r20
	st -Y, r21
	st Z+, r22
	st -Z, r23
	sts 0x8FF, r24
	push r25
	lpm
	lpm r26, Z
	lpm r27, Z+
	spm
	bld r0, 7
	bst r31, 0
	sbrc r1, 1
	sbrs r2, 2
	bset 7
	bclr 0
	sec
	sez
	sen
	sev
	ses
	seh
	set
	sei
	clc
	clz
	cln
	clv
	cls
	clh
	clt
	cli
back:
	rjmp back
	rcall ahead
	jmp back
	call ahead
	ijmp
	icall
	ret
	reti
	brcs back
	brlo ahead
	breq back
	brmi ahead
	brvs back
	brlt ahead
	brhs back
	brts ahead
	brie back
ahead:
	brcc back
	brsh ahead
	brne back
	brpl ahead
	brvc back
	brge ahead
	brhc back
	brtc ahead
	brid back
	brbs 3, back
	brbc 4, ahead
	sleep
	break
	wdr
`

// inputOutput is written apart: we take data addresses, as takes I/O addresses.
const inputOutput = "\tin r0, %[1]s\n\tout %[2]s, r31\n\tcbi %[3]s, 0\n\tsbic %[3]s, 7\n\tsbi %[3]s, 3\n\tsbis %[3]s, 4\n"

// TestAgainstBinutils assembles the same text with avr-as.
func TestAgainstBinutils(t *testing.T) {
	p, err := asm.Assemble(source + fmt.Sprintf(inputOutput, "SREG", "GPIOR2", "EECR"))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	text := filepath.Join(dir, "all.s")
	if err := os.WriteFile(text, []byte(source+fmt.Sprintf(inputOutput, "0x3F", "0x2B", "0x1F")), 0o600); err != nil {
		t.Fatal(err)
	}
	run := func(name string, args ...string) {
		cmd := exec.Command(name, args...)
		cmd.Dir = dir
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("%s: %v\n%s", name, err, out)
		}
	}
	run("avr-as", "-mmcu=atmega328p", "-o", "all.o", text)
	run("avr-ld", "-m", "avr5", "-Ttext", "0", "-o", "all.elf", "all.o")
	run("avr-objcopy", "-O", "binary", "all.elf", "all.bin")
	want, err := os.ReadFile(filepath.Join(dir, "all.bin"))
	if err != nil {
		t.Fatal(err)
	}
	if len(want) != 2*len(p.Words) {
		t.Fatalf("%d words, binutils has %d", len(p.Words), len(want)/2)
	}
	for i, w := range p.Words {
		if ref := uint16(want[2*i]) | uint16(want[2*i+1])<<8; w != ref {
			t.Errorf("word %#x: %04x, binutils has %04x", i, w, ref)
		}
	}
}

func TestErrorsNameLineAndRemedy(t *testing.T) {
	for _, c := range []struct{ source, want string }{
		{"\tfoo r1", `line 1: no instruction "foo"`},
		{"\n\tldi r15, 1", "line 2: ldi, operand 1: r15 cannot be used here"},
		{"\tldi r16, 256", "line 1: ldi, operand 2: 256 is outside -128 to 255"},
		{"\tadiw r25, 1", "line 1: adiw, operand 1: r25 cannot be used here"},
		{"\trjmp nowhere", `line 1: rjmp, operand 1: "nowhere" is not defined`},
		{"\tin r0, TWCR", "line 1: in, operand 2: 188 is outside 32 to 95"},
		{"a:\na:", `line 2: label "a" is empty or already defined`},
		{"\tmov r1", "line 1: mov takes 2 operands, not 1"},
		{"\tmov r1, q2", `line 1: mov, operand 2: "q2" is not a register r0 to r31`},
	} {
		_, err := asm.Assemble(c.source)
		if err == nil || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%q: %v, want %s", c.source, err, c.want)
		}
	}
}
