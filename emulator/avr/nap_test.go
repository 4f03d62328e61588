package avr_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"mealtab/emulator/avr"
)

// napping sleeps in power-down and is woken by the watchdog every 8 s. Each nap
// counts; after 112 (a quarter of an hour) the count starts again and GPIOR0 is
// incremented. r20–r23 count all naps.
const napping = `
	.equ WDCE_WDE, 0x18
		jmp start
		.org 12
		jmp watchdog
		.org 52
	start:	ldi r16, WDCE_WDE
		ldi r17, 0x61          ; WDIE, WDP 9: 8 s
		sts WDTCSR, r16
		sts WDTCSR, r17
		ldi r16, 0x05          ; SE, power-down
		out SMCR, r16
		clr r1
		clr r24
		sts 0x100, r1
		sei
	again:	sleep
		lds r24, 0x100
		cpi r24, 112
		brlo again
		sts 0x100, r1
		in r25, GPIOR0
		inc r25
		out GPIOR0, r25
		rjmp again
	watchdog:
		push r24
		in r24, SREG
		push r24
		lds r24, 0x100
		inc r24
		sts 0x100, r24
		subi r20, 0xFF
		sbci r21, 0xFF
		sbci r22, 0xFF
		sbci r23, 0xFF
		pop r24
		out SREG, r24
		pop r24
		reti`

// napPrograms are naps of several kinds; each ends a group now and then by doing
// something else. The last ones must not be skipped.
var napPrograms = map[string]string{
	"a carry that comes and goes": napFrame(`
		ldi r20, 200
		ldi r23, 128
	again:	sleep
		sbis GPIOR0, 1
		nop
		cp r20, r23
		ror r21
		dec r21
		dec r20
		rjmp again
	`, `
		reti`),
	"counted": napping,
	"16-bit counter, WDR, flag in GPIOR0": napFrame(`
	again:	sleep
		sbis GPIOR0, 0
		rjmp again
		cbi GPIOR0, 0
		wdr
		lds r24, 0x100
		lds r25, 0x101
		adiw r24, 1
		sts 0x101, r25
		sts 0x100, r24
		cpi r24, 0x2C
		ldi r18, 1
		cpc r25, r18
		brlo again
		sts 0x100, r1
		sts 0x101, r1
		inc r10
		rjmp again`, `
		push r24
		in r24, SREG
		push r24
		sbi GPIOR0, 0
		pop r24
		out SREG, r24
		pop r24
		reti`),
	"countdown, SMCR and WDTCSR each time": napFrame(`
		ldi r24, 200
		mov r12, r24
	again:	ldi r16, 5
		out SMCR, r16
		sei
		sleep
		out SMCR, r1
		tst r12
		brne again
		ldi r24, 77
		mov r12, r24
		rjmp again`, `
		push r16
		in r16, SREG
		push r16
		lds r16, WDTCSR
		ori r16, 0x40
		sts WDTCSR, r16
		dec r12
		pop r16
		out SREG, r16
		pop r16
		reti`),
	"call, stack frame, two counters": napFrame(`
	again:	sleep
		rcall count
		lds r24, 0x120
		andi r24, 0
		brne again
		rjmp again
	count:	push r28
		push r29
		ldi r28, 0x00
		ldi r29, 0x01
		ldd r24, Y+4
		ldd r25, Y+5
		ldd r26, Y+6
		ldd r27, Y+7
		subi r24, 0xF8
		sbci r25, 0xFF
		sbci r26, 0xFF
		sbci r27, 0xFF
		std Y+4, r24
		std Y+5, r25
		std Y+6, r26
		std Y+7, r27
		ldd r24, Y+2
		subi r24, 1
		std Y+2, r24
		pop r29
		pop r28
		ret`, `
		reti`),
	"bit test of the counter": napFrame(`
	again:	sleep
		inc r20
		sbrc r20, 3
		inc r21
		rjmp again`, "\treti"),
	"shifted counter": napFrame(`
	again:	sleep
		inc r20
		mov r21, r20
		lsr r21
		brcc again
		inc r22
		rjmp again`, "\treti"),
	"pin toggled": napFrame(`
		sbi DDRB, 5
	again:	sleep
		sbi PINB, 5
		inc r20
		rjmp again`, "\treti"),
	"timer running while awake": napFrame(`
		ldi r16, 1
		out TCCR0B, r16
		sts TIMSK0, r16
	again:	sleep
		in r20, TCNT0
		add r21, r20
		rjmp again`, "	reti"),
}

// napFrame is a program that sets the watchdog to 16 ms naps.
func napFrame(main, handler string) string {
	return `
		jmp start
		.org 10             ; PCINT2
		reti
		.org 12
		jmp watchdog
		.org 32
		inc r9
		reti
		.org 52
	start:	ldi r16, 0x18
		ldi r17, 0x40
		sts WDTCSR, r16
		sts WDTCSR, r17
		ldi r16, 0x05
		out SMCR, r16
		clr r1
		sei
	` + main + "\n\twatchdog:" + handler
}

// TestNapSkipIsExact compares whole states with and without skipping at random
// stops over thousands of naps.
func TestNapSkipIsExact(t *testing.T) {
	for name, source := range napPrograms {
		var edges [2]int
		chip := func(i int, o avr.Options) *avr.MCU {
			return newChip(t, source, func(c *avr.Config) {
				c.Fuses.StartupCycles = 16384
				c.Options = o
				c.Hooks.Pins = func(avr.Port) { edges[i]++ }
			})
		}
		a, b := chip(0, avr.Options{}), chip(1, avr.Options{NoNapSkip: true})
		r := rand.New(rand.NewPCG(7, 7))
		period := uint64(256_000)
		if name == "counted" {
			period = 128_000_000
		}
		for i := range 400 {
			n := 1 + r.Uint64N(period<<r.IntN(8))
			a.RunFor(n)
			b.RunFor(n)
			if a.Cycle() != b.Cycle() || a.Hash() != b.Hash() {
				t.Fatalf("%s, stop %d: cycle %d and %d\n%v\n%v", name, i, a.Cycle(), b.Cycle(), a.Regs(), b.Regs())
			}
			if i%20 == 19 { // something from outside
				a.SetInput(avr.PortC, 1, avr.Level(1+i/20%2))
				b.SetInput(avr.PortC, 1, avr.Level(1+i/20%2))
			}
		}
		if edges[0] != edges[1] {
			t.Errorf("%s: %d and %d pin changes", name, edges[0], edges[1])
		}
		t.Logf("%s: %d naps, %d skipped", name, a.Stats().Wakes, a.SkippedNaps())
	}
}

const year = 365 * 86400 * uint64(16_000_000)

// BenchmarkNapYear is one year of power-down with 8 s naps: 3.9 million.
func BenchmarkNapYear(b *testing.B) {
	for _, bench := range []struct {
		name string
		opt  avr.Options
	}{{"skip", avr.Options{}}, {"each", avr.Options{NoNapSkip: true}}} {
		b.Run(bench.name, func(b *testing.B) {
			m := newChip(b, napping, func(c *avr.Config) {
				c.Fuses.StartupCycles = 16384
				c.Options = bench.opt
			})
			m.RunFor(1_000_000)
			m.ClearStats()
			start := time.Now()
			for b.Loop() {
				m.RunFor(year)
			}
			naps := float64(m.Stats().Wakes)
			b.ReportMetric(float64(time.Since(start).Nanoseconds())/naps, "ns/nap")
			b.ReportMetric(naps/float64(b.N), "naps/year")
			b.ReportMetric(float64(m.Stats().Awake)/naps, "cycles/nap")
		})
	}
}
