package avr_test

import (
	"testing"

	"mealtab/emulator/avr"
)

// Figures below: ATmega328P data sheet, section numbers of DS40002061.

const writeByte = `
	.equ EEPE, 1
	.equ EEMPE, 2
	ldi r16, 5
	out EEARL, r16
	ldi r16, 0x5A
	out EEDR, r16
	sbi EECR, EEMPE
	sbi EECR, EEPE
`

func TestEEPROMWriteTakes3400MicrosAndKeepsOldByte(t *testing.T) {
	// 8.4.1 table 8-1: 3.4 ms for erase and write; EEPE reads 1 all that time.
	m := newChip(t, writeByte+`
	wait:	sbic EECR, EEPE
		rjmp wait
		break`)
	m.EEPROM()[5] = 0x11
	for _, _, _, busy := m.EEPROMBusy(); !busy; _, _, _, busy = m.EEPROMBusy() {
		m.Step()
	}
	_, _, end, _ := m.EEPROMBusy()
	began := m.Cycle()
	if d := end - began; d < 54390 || d > 54410 {
		t.Errorf("write lasts %d cycles, want 54400 at 16 MHz", d)
	}
	m.Run(end - 100)
	if m.EEPROM()[5] != 0x11 {
		t.Error("the byte changed before the write was complete")
	}
	runToBreak(t, m, 1000)
	if m.EEPROM()[5] != 0x5A {
		t.Errorf("byte = %#x, want 0x5A", m.EEPROM()[5])
	}
	if d := m.Cycle() - end; d > 12 {
		t.Errorf("EEPE still 1 %d cycles after the end", d)
	}
}

func TestEEPROMBusyTimeDoesNotScaleWithClock(t *testing.T) {
	// Table 8-2: the RC oscillator times the write.
	m := newChip(t, writeByte+`
	wait:	rjmp wait`, func(c *avr.Config) { c.ClockHz = 8_000_000 })
	m.RunFor(50)
	_, _, end, busy := m.EEPROMBusy()
	if left := end - m.Cycle(); !busy || left < 27100 || left > 27200 {
		t.Errorf("busy %v, %d cycles left, want about 27200 − 40 at 8 MHz", busy, left)
	}
}

func TestEEPROMNeedsArmingWithinFourCycles(t *testing.T) {
	// 8.6.3: EEPE must be written within four cycles of EEMPE; without it nothing happens.
	for nops, wantBusy := range map[int]bool{0: true, 1: true, 2: true, 3: false, 4: false} {
		src := "\tsbi EECR, 2\n"
		for range nops {
			src += "\tnop\n"
		}
		m := newChip(t, src+"\tsbi EECR, 1\n\tbreak")
		runToBreak(t, m, 100)
		if _, _, _, busy := m.EEPROMBusy(); busy != wantBusy {
			t.Errorf("%d NOPs between: busy %v, want %v", nops, busy, wantBusy)
		}
	}
	m := newChip(t, "\tsbi EECR, 1\n\tbreak")
	runToBreak(t, m, 100)
	if _, _, _, busy := m.EEPROMBusy(); busy {
		t.Error("EEPE without EEMPE started a write")
	}
}

func TestEEMPEClearsAfterFourCycles(t *testing.T) {
	// 8.6.3. IN takes one cycle: r16 sees the first, r20 the fifth cycle after.
	m := newChip(t, `
		sbi EECR, 2
		in r16, EECR
		in r17, EECR
		in r18, EECR
		in r19, EECR
		in r20, EECR
		break`)
	runToBreak(t, m, 100)
	wantRegs(t, m, map[uint8]uint8{16: 4, 19: 4, 20: 0})
}

func TestEEPROMReadHaltsFourCycles(t *testing.T) {
	// 8.4.1: four cycles on a read, two on starting a write.
	m := newChip(t, "\tsbi EECR, 0\n\tin r16, EEDR\n\tbreak")
	m.EEPROM()[0] = 0x77
	start := m.Cycle()
	m.Step()
	if d := m.Cycle() - start; d != 2+4 {
		t.Errorf("SBI EECR,EERE took %d cycles, want 6", d)
	}
	m.Step()
	wantRegs(t, m, map[uint8]uint8{16: 0x77})

	m = newChip(t, "\tsbi EECR, 2\n\tsbi EECR, 1\n\tbreak")
	m.Step()
	start = m.Cycle()
	m.Step()
	if d := m.Cycle() - start; d != 2+2 {
		t.Errorf("SBI EECR,EEPE took %d cycles, want 4", d)
	}
}

func TestEEPROMAddressLockedWhileBusy(t *testing.T) {
	// 8.6.3 (8025I 5.6.3): EEAR cannot change, nor can the EEPROM be read, while EEPE is 1.
	m := newChip(t, writeByte+`
		ldi r17, 9
		out EEARL, r17
		in r18, EEARL
		out EEDR, r17
		sbi EECR, 0
		in r19, EEDR
		break`)
	m.EEPROM()[5] = 0x33
	runToBreak(t, m, 200)
	wantRegs(t, m, map[uint8]uint8{18: 5, 19: 9})
}

func TestEEPROMModes(t *testing.T) {
	// 8.6.3 table 8-1: erase only and write only take 1.8 ms; write only clears bits.
	for mode, want := range map[uint8]struct {
		result uint8
		cycles uint64
	}{0: {0xC3, 54400}, 1: {0xFF, 28800}, 2: {0xC0 & 0xC3, 28800}} {
		m := newChip(t, `
			ldi r16, 0xC3
			out EEDR, r16
			out EECR, r20
			sbi EECR, 2
			sbi EECR, 1
			break
		end:	rjmp end`)
		m.EEPROM()[0] = 0xC0
		m.SetReg(20, mode<<4)
		runToBreak(t, m, 200)
		_, _, end, _ := m.EEPROMBusy()
		if left := end - m.Cycle(); left < want.cycles-10 || left > want.cycles {
			t.Errorf("mode %d: %d cycles left, want about %d", mode, left, want.cycles)
		}
		m.Run(end)
		m.RunFor(1)
		if got := m.EEPROM()[0]; got != want.result {
			t.Errorf("mode %d: byte %#x, want %#x", mode, got, want.result)
		}
	}
}

func TestEEReadyInterruptIsALevel(t *testing.T) {
	// 8.6.3: the interrupt fires constantly while EEPE is 0.
	m := newChip(t, `
		jmp start
		.org 44
		inc r20
		reti
		.org 52
	start:	sbi EECR, 3
		sei
	loop:	inc r21
		rjmp loop`)
	m.RunFor(1000)
	if m.Reg(20) < 50 || m.Reg(21) == 0 {
		t.Errorf("handler ran %d times, main %d: want many, and one instruction between", m.Reg(20), m.Reg(21))
	}
}

func TestInterruptBreaksEEPROMSequence(t *testing.T) {
	// 8.4: an interrupt between EEMPE and EEPE makes the write fail; the strict
	// check reports it.
	var seen []avr.Violation
	m := newChip(t, `
		jmp start
		.org 44
		cbi EECR, 3
		reti
		.org 52
	start:	ldi r16, 0x0C
		sei
		out EECR, r16     ; EERIE and EEMPE: the interrupt comes next
		sbi EECR, 1
		break`, func(c *avr.Config) {
		c.Options.Strict.EEPROM = true
		c.Hooks.Violation = func(v avr.Violation) { seen = append(seen, v) }
	})
	runToBreak(t, m, 200)
	if _, _, _, busy := m.EEPROMBusy(); busy {
		t.Error("the write started in spite of the interrupt")
	}
	if len(seen) != 1 || seen[0].Rule != avr.EEPROMSequence {
		t.Errorf("violations %v, want one of the timed sequence", seen)
	}
}

func TestStrictEEPROMBusy(t *testing.T) {
	var seen []avr.Violation
	m := newChip(t, writeByte+"\tout EEARL, r1\n\tbreak", func(c *avr.Config) {
		c.Options.Strict.EEPROM = true
		c.Hooks.Violation = func(v avr.Violation) { seen = append(seen, v) }
	})
	runToBreak(t, m, 200)
	if len(seen) != 1 || seen[0].Rule != avr.EEPROMBusy {
		t.Errorf("violations %v, want one of busy access", seen)
	}
}

func TestPowerCutLeavesTornByte(t *testing.T) {
	// 8.4.2: a write without supply leaves an undefined byte. The model (inference):
	// old OR mask while erasing, new OR mask while programming.
	for _, c := range []struct {
		after   uint64
		erasing bool
	}{{1000, true}, {40000, false}} {
		var gotErasing bool
		m := newChip(t, writeByte+"\nend:\trjmp end", func(cfg *avr.Config) {
			cfg.Hooks.TornByte = func(addr uint16, old, data uint8, erasing bool) uint8 {
				gotErasing = erasing
				return avr.Torn(old, data, erasing, 0x81)
			}
		})
		m.EEPROM()[5] = 0x20
		m.EEPROM()[6] = 0x44
		m.RunFor(20 + c.after)
		m.SetSupply(0)
		m.RunFor(100_000)
		want := uint8(0x20 | 0x81)
		if !c.erasing {
			want = 0x5A | 0x81
		}
		if m.EEPROM()[5] != want || gotErasing != c.erasing || m.EEPROM()[6] != 0x44 {
			t.Errorf("cut after %d: byte %#x (erasing %v), want %#x (%v)", c.after, m.EEPROM()[5], gotErasing, want, c.erasing)
		}
	}
}

func TestResetDuringWriteCompletes(t *testing.T) {
	// ATmega32U4 data sheet 5.3.5 and siblings: a reset does not end the write.
	m := newChip(t, writeByte+"\nend:\trjmp end")
	m.RunFor(100)
	m.SetReset(true)
	m.RunFor(60_000)
	if m.EEPROM()[5] != 0x5A {
		t.Errorf("byte %#x, want 0x5A", m.EEPROM()[5])
	}
}

// weakCell reads cell 5 into r16 a hundred times, then writes r17 to it by mode r18, and reads again.
const weakCell = `
		ldi r20, 5
		out EEARL, r20
	start:	ldi r21, 100
	again:	sbi EECR, 0
		in r16, EEDR
		eor r16, r17
		or r22, r16
		dec r21
		brne again
		break
		out EEDR, r17
		out EECR, r18
		sbi EECR, 2
		sbi EECR, 1
	wait:	sbic EECR, 1
		rjmp wait
		clr r22
		rjmp start`

func TestMarginalBitsUntilWritten(t *testing.T) {
	// Our own model: bits in the mask read by chance, others never, until a write settles them.
	for _, c := range []struct {
		mode, data, left uint8
	}{{0x00, 0xA5, 0}, {0x10, 0xFF, 0}, {0x20, 0xF4, 0x20}} {
		m := newChip(t, weakCell)
		m.EEPROM()[5] = 0xA5
		m.Weaken(5, 0x31, 7)
		m.SetReg(17, 0xA5)
		m.SetReg(18, c.mode)
		m.SetReg(22, 0)
		f := m.Fork(avr.Hooks{})
		runToBreak(t, m, 10_000)
		if m.Reg(22) != 0x31 {
			t.Errorf("bits %#x of the cell vary, want 0x31", m.Reg(22))
		}
		runToBreak(t, f, 10_000)
		if f.Hash() != m.Hash() {
			t.Error("a fork reads other values")
		}
		m.SetReg(17, c.data)
		m.RunFor(100_000)
		if want := m.EEPROM()[5]; m.Reg(22)&^(m.Reg(17)^want) != c.left {
			t.Errorf("mode %#x: bits %#x vary after the write, want %#x", c.mode, m.Reg(22)&^(m.Reg(17)^want), c.left)
		}
	}
}
