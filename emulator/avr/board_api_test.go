package avr_test

import (
	"testing"

	"mealtab/emulator/avr"
)

func TestAlarmComesAtItsCycle(t *testing.T) {
	var at []uint64
	var chip *avr.MCU
	m := newChip(t, "end:\trjmp end", func(c *avr.Config) {
		c.Hooks.Alarm = func() {
			at = append(at, chip.Cycle())
			if len(at) < 3 {
				chip.SetAlarm(chip.Cycle() + 1001)
			}
		}
	})
	chip = m
	m.SetAlarm(5000)
	m.Run(20_000)
	if len(at) != 3 || at[0] != 5000 || at[1] != 6001 || at[2] != 7002 {
		t.Errorf("alarms at %v, want 5000, 6001, 7002", at)
	}
	m.SetAlarm(25_000)
	m.CancelAlarm()
	m.SetAlarm(1) // past: at once
	now := m.Cycle()
	m.Run(30_000)
	if len(at) != 4 || at[3] != now {
		t.Errorf("alarms at %v, want a fourth at %d only", at, now)
	}
}

func TestAlarmIsRealTimeInSleep(t *testing.T) {
	var at uint64
	var chip *avr.MCU
	m := newChip(t, "\tldi r16, 5\n\tout SMCR, r16\n\tsei\n\tsleep", func(c *avr.Config) {
		c.Hooks.Alarm = func() { at = chip.Cycle() }
	})
	chip = m
	m.SetAlarm(1_000_003)
	m.Run(2_000_000)
	if at != 1_000_003 {
		t.Errorf("alarm at %d", at)
	}
}

func TestOscillatorDriftKeepsRealTime(t *testing.T) {
	// A faster CPU clock makes more cycles of the same milliseconds: the EEPROM write
	// and the watchdog keep their instants, a serial bit its cycles.
	changed := 0
	m := newChip(t, writeByte+"\nend:\trjmp end", func(c *avr.Config) {
		c.ClockHz = 8_000_000
		c.Hooks.ClockChanged = func() { changed++ }
	})
	m.RunFor(100)
	_, _, end, _ := m.EEPROMBusy()
	due := m.NanosAt(end)
	m.SetClockHz(8_800_000)
	if changed != 1 || m.ClockHz() != 8_800_000 {
		t.Errorf("told %d times, clock %d", changed, m.ClockHz())
	}
	m.Run(m.CycleAt(due - 2000))
	if m.EEPROM()[5] == 0x5A {
		t.Error("the write ended early")
	}
	m.Run(m.CycleAt(due + 2000))
	if m.EEPROM()[5] != 0x5A {
		t.Error("the write ended late")
	}
}

func TestCycleAtAndNanosAtAgree(t *testing.T) {
	m := newChip(t, "end:\trjmp end", func(c *avr.Config) { c.ClockHz = 7_372_800 })
	for _, ns := range []uint64{0, 1, 135, 136, 1e9, 12345678901, 3e17} {
		c := m.CycleAt(ns)
		if m.NanosAt(c) < ns || c > 0 && m.NanosAt(c-1) >= ns {
			t.Errorf("%d ns is cycle %d, which begins at %d", ns, c, m.NanosAt(c))
		}
	}
}

func TestStoresThroughPointersReachIO(t *testing.T) {
	// Data addresses 0x20 to 0xFF are I/O for every store and load.
	m := newChip(t, `
		ldi r26, PORTB
		ldi r27, 0
		ldi r16, 0x11
		st X+, r16          ; PORTB, then X = PINC
		in r20, PORTB
		ldi r28, DDRB-2
		ldi r29, 0
		std Y+2, r16
		in r21, DDRB
		ldi r30, PORTC+1
		ldi r31, 0
		st -Z, r16
		in r22, PORTC
		ld r23, Z
		ldi r28, 10         ; a register by its address
		ldi r16, 0x77
		st Y, r16
		mov r24, r10
		break`)
	runToBreak(t, m, 100)
	wantRegs(t, m, map[uint8]uint8{20: 0x11, 21: 0x11, 22: 0x11, 23: 0x11, 24: 0x77, 26: 0x26, 30: 0x28})
}

func TestIVSELMovesVectors(t *testing.T) {
	// 12.4.2: IVCE, then IVSEL within four cycles; vectors in the boot section.
	m := newChip(t, `
		ldi r16, 1
		ldi r17, 2
		out MCUCR, r16
		out MCUCR, r17
		sbi EIMSK, 0
		sei
		nop
		nop
		break
		.org 0x3F02
		inc r20
		cbi EIMSK, 0
		reti`)
	m.SetInput(avr.PortD, 2, avr.Low)
	runToBreak(t, m, 100)
	wantRegs(t, m, map[uint8]uint8{20: 1})
}

func TestBODSSequence(t *testing.T) {
	// 10.11.2: BODS and BODSE together, then BODS alone; it lasts three cycles, and
	// waking then takes 60 µs more [7810D 9.2].
	for nops, want := range map[string]uint64{"": 60 * 16, "nop\n nop\n nop\n": 0} {
		m := newChip(t, `
			jmp start
			cbi EIMSK, 0
			reti
			.org 52
		start:	sbi EIMSK, 0
			ldi r16, 5
			out SMCR, r16
			ldi r16, 0x60
			ldi r17, 0x40
			out MCUCR, r16
			out MCUCR, r17
			`+nops+`
			sei
			sleep
			break`)
		m.SetInput(avr.PortD, 2, avr.High)
		m.RunFor(1000)
		m.SetInput(avr.PortD, 2, avr.Low)
		if d := afterWake(t, m); d < want || d > want+30 {
			t.Errorf("NOPs %q: handler starts after %d cycles, want %d and a little", nops, d, want)
		}
	}
}

func TestNotModelledIsReported(t *testing.T) {
	for name, reg := range map[string][2]uint16{
		"SPI": {avr.SPCR, 0x40}, "nine bits": {avr.UCSR0B, 4}, "synchronous": {avr.UCSR0C, 0x40},
		"asynchronous Timer2": {avr.ASSR, 0x20}, "clock from T0": {avr.TCCR0B, 6},
	} {
		var seen []avr.Violation
		m := newChip(t, "end:\trjmp end", func(c *avr.Config) {
			c.Hooks.Violation = func(v avr.Violation) { seen = append(seen, v) }
		})
		m.Poke(reg[0], uint8(reg[1]))
		if len(seen) != 1 || seen[0].Rule != avr.NotModelled || seen[0].Addr != reg[0] {
			t.Errorf("%s: %v", name, seen)
		}
	}
}

func TestOutsideMemoryIsReported(t *testing.T) {
	var seen []avr.Violation
	m := newChip(t, "\tlds r16, 0x900\n\tsts 0xFFFF, r16\n\tbreak", func(c *avr.Config) {
		c.Hooks.Violation = func(v avr.Violation) { seen = append(seen, v) }
	})
	runToBreak(t, m, 100)
	if len(seen) != 2 || seen[0].Addr != 0x900 || seen[1].Addr != 0xFFFF {
		t.Errorf("violations %v", seen)
	}
}

func TestSignatureRow(t *testing.T) {
	// 26.8.10: SIGRD and SPMEN, then LPM within three cycles: 1E 95 0F.
	m := newChip(t, `
		ldi r17, 0x21
		clr r31
		clr r30
		out SPMCSR, r17
		lpm r20, Z
		ldi r30, 2
		out SPMCSR, r17
		lpm r21, Z
		ldi r30, 4
		out SPMCSR, r17
		lpm r22, Z
		clr r30
		lpm r23, Z          ; flash again
		break`)
	runToBreak(t, m, 100)
	wantRegs(t, m, map[uint8]uint8{20: 0x1E, 21: 0x95, 22: 0x0F, 23: 0x11})
}
