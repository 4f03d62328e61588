package avr_test

import (
	"testing"

	"mealtab/emulator/avr"
)

// level wakes by a low level on INT0 (PD2), vector 1. r20 counts handler runs.
const level = `
	.equ SE_IDLE, 1
	.equ SE_DOWN, 5
		jmp start
		inc r20
		cbi EIMSK, 0
		reti
		.org 52
	start:	ldi r16, 1
		out EIMSK, r16
		out SMCR, r24
		sei
		sleep
		inc r21
		break`

func sleepingOn(t *testing.T, smcr uint8, adjust ...func(*avr.Config)) *avr.MCU {
	m := newChip(t, level, adjust...)
	m.SetInput(avr.PortD, 2, avr.High)
	m.SetReg(24, smcr)
	m.RunFor(200)
	if m.Reg(21) != 0 {
		t.Fatal("did not fall asleep")
	}
	return m
}

// afterWake returns the cycles from now to the handler's first instruction.
func afterWake(t *testing.T, m *avr.MCU) uint64 {
	start := m.Cycle()
	runUntil(t, m, 2, 100)
	return m.Cycle() - start
}

func TestWakeFromIdleTakesEightCycles(t *testing.T) {
	// 7.7.1: four cycles of interrupt response, and four more from sleep.
	m := sleepingOn(t, 1)
	m.SetInput(avr.PortD, 2, avr.Low)
	if d := afterWake(t, m); d != 8 {
		t.Errorf("handler starts after %d cycles, want 8", d)
	}
}

func TestWakeFromPowerDownAddsStartUpTime(t *testing.T) {
	// 7.7.1 and the start-up tables of chapter 9: 16K CK with a crystal, 6 CK on the RC oscillator.
	for _, startup := range []uint32{16384, 6} {
		m := sleepingOn(t, 5, func(c *avr.Config) { c.Fuses.StartupCycles = startup })
		if startup == 16384 {
			m.RunFor(40_000)
		}
		m.SetInput(avr.PortD, 2, avr.Low)
		if d := afterWake(t, m); d != uint64(startup)+8 {
			t.Errorf("handler starts after %d cycles, want %d + 8", d, startup)
		}
	}
}

func TestStandbyWakesInSixCycles(t *testing.T) {
	// 10.7: standby keeps the oscillator and wakes in six cycles.
	m := sleepingOn(t, 0x0D)
	m.SetInput(avr.PortD, 2, avr.Low)
	if d := afterWake(t, m); d != 6+8 {
		t.Errorf("handler starts after %d cycles, want 14", d)
	}
}

func TestShortLevelWakesWithoutInterrupt(t *testing.T) {
	// 10.5 note: a level that ends before start-up is complete wakes without interrupt.
	m := sleepingOn(t, 5, func(c *avr.Config) { c.Fuses.StartupCycles = 16384 })
	m.RunFor(40_000)
	m.SetInput(avr.PortD, 2, avr.Low)
	m.RunFor(1000)
	m.SetInput(avr.PortD, 2, avr.High)
	runToBreak(t, m, 20_000)
	wantRegs(t, m, map[uint8]uint8{20: 0, 21: 1})
}

func TestSleepNeedsSE(t *testing.T) {
	// 10.11.1: SLEEP does nothing unless SE is set.
	m := newChip(t, level)
	m.SetInput(avr.PortD, 2, avr.High)
	m.SetReg(24, 4)
	runToBreak(t, m, 100)
	wantRegs(t, m, map[uint8]uint8{20: 0, 21: 1})
}

func TestInstructionAfterSEIExecutesFirst(t *testing.T) {
	// 7.7: so SEI, SLEEP cannot lose a wake-up: with the line low beforehand SLEEP
	// executes, and the interrupt ends it.
	m := newChip(t, level)
	m.SetInput(avr.PortD, 2, avr.Low)
	m.SetReg(24, 1)
	runToBreak(t, m, 100)
	wantRegs(t, m, map[uint8]uint8{20: 1, 21: 1})
	if m.Stats().Wakes != 1 {
		t.Errorf("woke %d times, want 1: SLEEP must execute before the interrupt", m.Stats().Wakes)
	}
}

func TestInstructionAfterRETIExecutesFirst(t *testing.T) {
	// 7.7: after an interrupt one instruction of the main program always executes.
	m := newChip(t, `
		jmp start
		inc r20            ; INT0, level, never released
		reti
		.org 52
	start:	sbi EIMSK, 0
		sei
	loop:	inc r21
		inc r22
		rjmp loop`)
	m.SetInput(avr.PortD, 2, avr.Low)
	m.RunFor(1000)
	if total := int(m.Reg(21)) + int(m.Reg(22)); total < 20 || m.Reg(20) < 40 {
		t.Errorf("handler %d times, main instructions %d: want one per interrupt", m.Reg(20), total)
	}
}

func TestPowerDownStopsTimersIdleDoesNot(t *testing.T) {
	// 10.4–10.5: power-down halts the I/O clock.
	for smcr, want := range map[uint8]bool{1: true, 5: false} {
		m := sleepingOn(t, smcr)
		m.Poke(avr.TCCR0B, 1)
		before := m.Peek(avr.TCNT0)
		m.RunFor(100)
		if moved := m.Peek(avr.TCNT0) != before; moved != want {
			t.Errorf("SMCR %d: timer moved %v, want %v", smcr, moved, want)
		}
	}
}

func TestPinChangeWakesPowerDown(t *testing.T) {
	// Table 10-1.
	m := newChip(t, `
		jmp start
		.org 6             ; PCINT0
		inc r20
		reti
		.org 52
	start:	ldi r16, 1
		sts PCICR, r16
		sts PCMSK0, r16
		ldi r16, 5
		out SMCR, r16
		sei
		sleep
		break`)
	m.RunFor(100)
	m.SetInput(avr.PortB, 0, avr.High)
	runToBreak(t, m, 100)
	wantRegs(t, m, map[uint8]uint8{20: 1})
}

func TestEdgeOnINT0DoesNotWakePowerDown(t *testing.T) {
	// 7810D table 9-1 note 3: only level interrupts wake from power-down.
	m := sleepingOn(t, 5)
	m.Poke(avr.EICRA, 2)
	m.SetInput(avr.PortD, 2, avr.Low)
	m.RunFor(100_000)
	wantRegs(t, m, map[uint8]uint8{20: 0, 21: 0})
}

func TestEEPROMWriteKeepsOscillatorInPowerDown(t *testing.T) {
	// ATmega165A data sheet 8.3.2: the write completes and the clock runs on, so
	// waking needs no start-up; the strict check reports such a sleep.
	var seen []avr.Violation
	m := newChip(t, `
		jmp start
		cbi EIMSK, 0
		reti
		.org 52
	start:	sbi EIMSK, 0
		ldi r16, 5
		out SMCR, r16
		sbi EECR, 2
		sbi EECR, 1
		sei
		sleep
		break`, func(c *avr.Config) {
		c.Fuses.StartupCycles = 16384
		c.Options.Strict.EEPROM = true
		c.Hooks.Violation = func(v avr.Violation) { seen = append(seen, v) }
	})
	m.SetInput(avr.PortD, 2, avr.High)
	m.RunFor(1000)
	m.SetInput(avr.PortD, 2, avr.Low)
	if d := afterWake(t, m); d != 8 {
		t.Errorf("handler starts after %d cycles, want 8", d)
	}
	if len(seen) != 1 || seen[0].Rule != avr.EEPROMSleep {
		t.Errorf("violations %v, want one of sleep with EEPE=1", seen)
	}
	m.RunFor(54_400)
	if m.EEPROM()[0] == 0xFF && m.Stats().EEPROMWrites != 1 {
		t.Error("the write did not complete")
	}
}

func TestInterruptTakesFourCyclesPlusJump(t *testing.T) {
	// 7.7.1: four cycles, then the vector's JMP takes three; RETI four.
	m := newChip(t, `
		jmp start
		jmp handler
		.org 52
	start:	sbi EIMSK, 0
		sei
		nop
		nop
		break
	handler: reti`)
	m.SetInput(avr.PortD, 2, avr.Low)
	for range 4 { // jmp, sbi, sei, nop
		m.Step()
	}
	start := m.Cycle()
	m.Step()
	if d := m.Cycle() - start; d != 4 || m.PC() != 2 {
		t.Errorf("interrupt entry took %d cycles to %#x, want 4 to 2", d, m.PC())
	}
	m.Step()
	if d := m.Cycle() - start; d != 7 {
		t.Errorf("handler reached after %d cycles, want 7", d)
	}
	start = m.Cycle()
	m.Step()
	if d := m.Cycle() - start; d != 4 {
		t.Errorf("RETI took %d cycles, want 4", d)
	}
}
