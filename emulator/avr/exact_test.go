package avr_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/avr"
	"mealtab/emulator/avr/asm"
)

// plainly is the chip that takes no shortcut.
var plainly = avr.Options{NoFuse: true, NoPollSkip: true, NoNapSkip: true}

// TestShortcutsAreExact: programs on which shortcuts were wrong once. Each runs with all of them, with none, and step by step, and
// must be the same at each stop.
func TestShortcutsAreExact(t *testing.T) {
	for _, c := range []struct {
		name, source string
		every, stops uint64 // cycles between stops
	}{
		{"the watchdog resets a nap", `
			ldi r16, 0x18       ; WDCE, WDE
			sts WDTCSR, r16
			ldi r16, 0x08       ; WDE alone: 16 ms
			sts WDTCSR, r16
			ldi r16, 5          ; power-down
			out SMCR, r16
		again:	sei
			sleep
			rjmp again`, 5_000_000, 2},
		{"an ADC conversion ends in a nap", `
			jmp start
			.org 12             ; WDT
			inc r20
			reti
			.org 42             ; ADC
			lds r21, ADCL
			lds r23, ADCH
			inc r22
			reti
			.org 52
		start:	ldi r16, 0x8F       ; ADEN, ADIE, clk/128
			sts ADCSRA, r16
			ldi r16, 0x18
			sts WDTCSR, r16
			ldi r16, 0x40       ; an interrupt each 16 ms
			sts WDTCSR, r16
			ldi r16, 5          ; power-down
			out SMCR, r16
			sei
		again:	sleep
			lds r16, ADCSRA
			ori r16, 0x40       ; ADSC
			sts ADCSRA, r16
			ldi r24, lo8(600)
			ldi r25, hi8(600)
		wait:	sbiw r24, 1
			brne wait
			rjmp again`, 13_000_000, 5},
		{"a jump over what sets the flag", `
			ldi r18, 221
			com r18
			com r18
		l:	in r16, GPIOR0
			sbrs r16, 0
			rjmp m
			tst r17
		m:	brpl o
			dec r18
			rjmp l
		o:	inc r20
			rjmp o`, 3000, 4},
		{"the address word of LDS is SREG's", `
		l:	in r17, PIND
			lds r16, 0x5F
			dec r18
			brne l
		o:	inc r20
			in r21, SREG
			rjmp o`, 1999, 4},
		{"a loop that reads beyond the memory", `
		l:	lds r16, 0x0900
			tst r16
			breq l
			break`, 1000, 8},
		{"an indirect jump beyond the flash", `
			ldi r30, 3
			ldi r31, 0xC0
			ijmp
		here:	inc r16
			rjmp here`, 1000, 5},
		{"an indirect call beyond the flash", `
			ldi r30, 5
			ldi r31, 0x80
			ldi r16, 8
			out SPH, r16
			icall
		here:	inc r17
			rjmp here`, 1000, 5},
		{"a return beyond the flash", `
			ldi r16, 4
			out SPH, r16
			ldi r16, 6
			push r16
			ldi r16, 0xFF
			push r16
			ret
		here:	rjmp here`, 1000, 5},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := asm.Assemble(c.source)
			require.NoError(t, err)
			for seed := range uint64(60) {
				sameEveryWay(t, p.Words, seed, c.every, c.stops)
			}
		})
	}
}

// TestBootSectionErasesItself: behind the SPM that erases the page with itself in it stands erased flash, through which the processor
// runs to address 0, and never the instruction that was there.
func TestBootSectionErasesItself(t *testing.T) {
	p, err := asm.Assemble(`
		inc r17
		jmp boot
		.org 0x3F00
	boot:	ldi r30, lo8(0x7E00)
		ldi r31, hi8(0x7E00)
		ldi r24, 3          ; PGERS, SPMEN
		out SPMCSR, r24
		spm
		inc r16
		break`)
	require.NoError(t, err)
	for _, o := range []avr.Options{{}, plainly} {
		m := avr.New(avr.Config{Fuses: avr.Fuses{StartupCycles: 6, BootWords: 256}, Options: o})
		require.NoError(t, m.LoadWords(p.Words))
		require.Equal(t, avr.StopLimit, m.RunFor(100_000))
		require.Zero(t, m.Reg(16))
		require.Greater(t, m.Reg(17), uint8(1))
	}
}

// TestStopIsNeverLost: whenever in an instruction an event stops the chip, and wherever the limit of that run is, one run says so; a
// BREAK at that cycle is told too.
func TestStopIsNeverLost(t *testing.T) {
	p, err := asm.Assemble("again: lds r16, UDR0\n sts 0x100, r16\n out SREG, r16\n push r16\n pop r16\n break\n rjmp again")
	require.NoError(t, err)
	chip := scrambled(t, p.Words, avr.Options{}, 1)
	for _, o := range []avr.Options{{}, plainly} {
		for at := uint64(15); at < 60; at++ {
			for every := uint64(1); every < 8; every++ {
				var m *avr.MCU
				m = chip.Fork(avr.Hooks{Alarm: func() { m.Stop() }})
				m.SetOptions(o)
				m.SetAlarm(at)
				told := map[avr.StopReason]int{}
				for limit := every; limit < 72; {
					reason := m.Run(limit)
					told[reason]++
					if reason == avr.StopLimit {
						limit += every
					}
				}
				require.Equal(t, 1, told[avr.StopCalled], "alarm at %d, runs of %d cycles", at, every)
				require.Equal(t, 4, told[avr.StopBreak], "alarm at %d, runs of %d cycles", at, every)
			}
		}
	}
}

// TestCountsMayBeClearedAnywhere: with the stack pointer among the I/O registers, too, a PUSH there writes them.
func TestCountsMayBeClearedAnywhere(t *testing.T) {
	p, err := asm.Assemble("ldi r16, 0\n out SPH, r16\n ldi r16, 0x2B\n out SPL, r16\n ldi r16, 0xFF\n nop\n push r16\n break")
	require.NoError(t, err)
	m := avr.New(avr.Config{Fuses: avr.Fuses{StartupCycles: 6}})
	require.NoError(t, m.LoadWords(p.Words))
	told := 0
	m.SetHooks(avr.Hooks{Pins: func(avr.Port) { told++ }})
	for m.SP() != 0x2B {
		m.Step()
	}
	m.SetSP(0x20)
	m.ClearStats()
	m.SetSP(0x2B)
	told = 0
	require.Equal(t, avr.StopBreak, m.RunFor(100))
	require.Equal(t, 1, told)
}

// sameEveryWay runs code with all shortcuts, with none, and by Step, and wants the same state at each stop.
func sameEveryWay(t *testing.T, code []uint16, seed, every, stops uint64) {
	t.Helper()
	all, none := scrambled(t, code, avr.Options{}, seed), scrambled(t, code, plainly, seed)
	step, beside := none.Fork(avr.Hooks{}), none.Fork(avr.Hooks{})
	for n := range stops {
		limit := all.Cycle() + every
		require.Equal(t, none.Run(limit), all.Run(limit), "stop %d", n)
		same(t, none, all, "stop %d", n)
		reason := avr.StopLimit
		for step.Cycle() < limit && reason == avr.StopLimit {
			reason = step.Step()
		}
		require.Equal(t, beside.Run(step.Cycle()), reason, "stop %d, step by step", n)
		same(t, beside, step, "stop %d, step by step", n)
	}
}

func same(t *testing.T, want, got *avr.MCU, format string, args ...any) {
	t.Helper()
	if want.Cycle() != got.Cycle() || want.Hash() != got.Hash() {
		t.Fatalf(format+"\ncycle %d, PC %#x, SREG %02x, %v\nwant  %d, PC %#x, SREG %02x, %v",
			append(args, got.Cycle(), got.PC(), got.SREG(), got.Regs(), want.Cycle(), want.PC(), want.SREG(), want.Regs())...)
	}
}
