package avr_test

import (
	"testing"

	"mealtab/emulator/avr"
)

// setWatchdog sets WDTCSR to r17 by the timed sequence.
const setWatchdog = `
	wdset:	ldi r16, 0x18
		sts WDTCSR, r16
		sts WDTCSR, r17
		ret
`

func TestWatchdogPeriods(t *testing.T) {
	// Table 11-2: 2048·2^WDP cycles of 128 kHz: 16 ms to 8 s. A reset follows.
	for wdp := range uint8(10) {
		m := newChip(t, "\trcall wdset\nend:\trjmp end\n"+setWatchdog)
		v := 0x08 | wdp&7 | wdp&8<<2
		m.SetReg(17, v)
		m.RunFor(20)
		start := m.Cycle()
		for m.Peek(avr.MCUSR)&8 == 0 && m.Cycle()-start < 200_000_000 {
			m.RunFor(1000)
		}
		want := uint64(256_000) << wdp
		if d := m.Cycle() - start; d+1000 < want || d > want+2000 {
			t.Errorf("WDP %d: reset after %d cycles, want %d", wdp, d, want)
		}
		if got := m.Peek(avr.WDTCSR); got != 8 {
			t.Errorf("WDTCSR %#x after the reset, want 8: on, 16 ms [11.9.2]", got)
		}
	}
}

func TestWatchdogWaitsForTheStartUp(t *testing.T) {
	// Table 9-4: with SUT 11 a reset takes 65 ms, longer than the 16 ms for which WDRF sets the watchdog.
	m := newChip(t, `
		lds r18, MCUSR
		sbrc r18, 3
		rjmp again
		ldi r17, 0x08
		rcall wdset
	hang:	rjmp hang
	again:	inc r20
		cpi r20, 3
		brne hang
		break
	`+setWatchdog, func(c *avr.Config) { c.Fuses.ResetDelay = 65_000 })
	m.SetReg(20, 0)
	resets := m.Stats().Resets
	if r := m.RunFor(16_000_000); r != avr.StopBreak {
		t.Fatalf("%v after %d resets and %d starts, want BREAK at the third start", r, m.Stats().Resets-resets, m.Reg(20))
	}
	if n := m.Stats().Resets - resets; n != 3 {
		t.Errorf("%d resets, want 3", n)
	}
	m = newChip(t, "hang:	rjmp hang", func(c *avr.Config) { c.Fuses.ResetDelay, c.Fuses.WatchdogOn = 65_000, true })
	start := m.Cycle()
	for n := m.Stats().Resets; m.Stats().Resets == n; {
		m.RunFor(1000)
	}
	if d := m.Cycle() - start; d+1000 < 256_000 || d > 257_000 {
		t.Errorf("WDTON: reset %d cycles after the start, want 256000", d)
	}
}

func TestWatchdogChangeNeedsTimedSequence(t *testing.T) {
	// 11.9.2: WDCE and WDE together, then the new value within four cycles.
	for nops, want := range map[int]uint8{0: 0x0E, 2: 0x0E, 3: 0x08} {
		src := "\tldi r16, 0x18\n\tldi r17, 0x0E\n\tsts WDTCSR, r16\n"
		for range nops {
			src += "\tnop\n"
		}
		m := newChip(t, src+"\tsts WDTCSR, r17\n\tnop\n\tnop\n\tnop\n\tnop\n\tlds r18, WDTCSR\n\tbreak")
		runToBreak(t, m, 100)
		if m.Reg(18) != want {
			t.Errorf("%d NOPs: WDTCSR %#x, want %#x", nops, m.Reg(18), want)
		}
	}
	m := newChip(t, "\tldi r16, 0x06\n\tsts WDTCSR, r16\n\tlds r18, WDTCSR\n\tbreak")
	runToBreak(t, m, 100)
	if m.Reg(18) != 0 {
		t.Errorf("WDP changed without the sequence: %#x", m.Reg(18))
	}
}

func TestWDCEClearsItself(t *testing.T) {
	// 11.9.2: WDCE lasts four cycles.
	m := newChip(t, `
		ldi r16, 0x18
		sts WDTCSR, r16
		lds r17, WDTCSR
		nop
		lds r18, WDTCSR
		nop
		lds r19, WDTCSR
		break`)
	runToBreak(t, m, 100)
	wantRegs(t, m, map[uint8]uint8{17: 0x18, 19: 0x08})
}

func TestWatchdogInterruptThenReset(t *testing.T) {
	// Table 11-1: both: first the interrupt, hardware clears WDIE, then the reset.
	m := newChip(t, `
		jmp start
		.org 12
		inc r20
		lds r21, WDTCSR
		reti
		.org 52
	start:	ldi r17, 0x48
		rcall wdset
		sei
	end:	rjmp end
	`+setWatchdog)
	m.RunFor(300_000)
	wantRegs(t, m, map[uint8]uint8{20: 1, 21: 0x08})
	m.RunFor(256_000)
	if m.Peek(avr.MCUSR)&8 == 0 {
		t.Error("no reset at the second time-out")
	}
}

func TestWatchdogResetsWhoDoesNotHear(t *testing.T) {
	// 11.9.2, WDIE: in interrupt and reset mode, "if the interrupt is not executed before the next time-out, a System Reset will be
	// applied"; with WDE clear it goes on waiting.
	for mode, want := range map[string]uint8{"0x48": 8, "0x40": 0} {
		m := newChip(t, "\tldi r17, "+mode+`
			rcall wdset
			cli
		end:	rjmp end
		`+setWatchdog)
		m.RunFor(300_000)
		if got := m.Peek(avr.MCUSR) & 8; got != 0 {
			t.Errorf("WDTCSR %s: a reset at the first time-out", mode)
		}
		m.RunFor(256_000)
		if got := m.Peek(avr.MCUSR) & 8; got != want {
			t.Errorf("WDTCSR %s: WDRF is %d after the second time-out, want %d", mode, got, want)
		}
	}
}

func TestWatchdogInterruptModeRepeats(t *testing.T) {
	// Table 11-1: WDE=0, WDIE=1: interrupt only, again and again.
	m := newChip(t, `
		jmp start
		.org 12
		inc r20
		reti
		.org 52
	start:	ldi r17, 0x40
		rcall wdset
		sei
	end:	rjmp end
	`+setWatchdog)
	m.RunFor(256_000*10 + 1000)
	wantRegs(t, m, map[uint8]uint8{20: 10})
}

func TestWDRFForcesWDE(t *testing.T) {
	// 11.9.2: WDE is overridden by WDRF: clear WDRF first.
	m := newChip(t, `
		in r20, MCUSR
		sbrc r20, 3
		rjmp again
		ldi r17, 0x08
		rcall wdset
	end:	rjmp end
	again:	clr r17
		rcall wdset
		lds r21, WDTCSR
		clr r16
		out MCUSR, r16
		rcall wdset
		lds r22, WDTCSR
		break
	`+setWatchdog)
	runToBreak(t, m, 1_000_000)
	wantRegs(t, m, map[uint8]uint8{21: 0x08, 22: 0})
}

func TestWDRRestartsTheCount(t *testing.T) {
	m := newChip(t, `
		ldi r17, 0x08
		rcall wdset
		ldi r20, 20
	outer:	ldi r24, 0
		ldi r25, 0xC0
	inner:	sbiw r24, 1
		brne inner
		wdr
		dec r20
		brne outer
		break
	`+setWatchdog)
	runToBreak(t, m, 20*4*0xC000+1000)
	if m.Peek(avr.MCUSR)&8 != 0 {
		t.Error("watchdog reset in spite of WDR")
	}
}

func TestWatchdogWakesPowerDown(t *testing.T) {
	// Table 10-1: the watchdog interrupt wakes from every sleep mode.
	for _, smcr := range []string{"1", "3", "5", "7", "0x0D", "0x0F"} {
		m := newChip(t, `
			jmp start
			.org 12
			inc r20
			reti
			.org 52
		start:	ldi r17, 0x40
			rcall wdset
			ldi r16, `+smcr+`
			out SMCR, r16
			sei
			sleep
			break
		`+setWatchdog)
		runToBreak(t, m, 300_000)
		wantRegs(t, m, map[uint8]uint8{20: 1})
	}
}

func TestWDTONFuse(t *testing.T) {
	// 11.5: WDTON forces system reset mode.
	m := newChip(t, "end:\trjmp end", func(c *avr.Config) { c.Fuses.WatchdogOn = true })
	m.RunFor(300_000)
	if m.Peek(avr.MCUSR)&8 == 0 {
		t.Error("no watchdog reset")
	}
}
