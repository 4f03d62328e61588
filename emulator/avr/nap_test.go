package avr_test

import (
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
