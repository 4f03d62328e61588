package avr_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"mealtab/emulator/avr"
	"mealtab/emulator/avr/asm"
)

func TestSIsAStoredFlag(t *testing.T) {
	// Instruction Set Manual: BSET and BCLR reach all eight bits; S does not follow N and V.
	m := newChip(t, "\tsen\n\tcls\n\tin r16, SREG\n\tses\n\tcln\n\tin r17, SREG\n\tbrlt taken\n\tbreak\ntaken:\tinc r20\n\tbreak")
	runToBreak(t, m, 100)
	wantRegs(t, m, map[uint8]uint8{16: 0x04, 17: 0x10, 20: 1})
}

func TestPCWraps(t *testing.T) {
	// The PC has 14 bits on the ATmega328P, 13 on the ATmega168P.
	for _, part := range []avr.Part{avr.ATmega328P, avr.ATmega168P} {
		p := asm.Must("\tnop\n\tbreak")
		words := make([]uint16, part.FlashWords)
		copy(words, p.Words)
		m := newChip(t, "\tnop", func(c *avr.Config) { c.Part = part })
		if err := m.LoadWords(words); err != nil {
			t.Fatal(err)
		}
		m.SetPC(part.FlashWords - 1)
		m.Step()
		if m.PC() != 0 {
			t.Errorf("%s: PC %#x after the last word, want 0", part.Name, m.PC())
		}
		words[0] = 0xCFFE // rjmp to the last word
		if err := m.LoadWords(words); err != nil {
			t.Fatal(err)
		}
		m.Step()
		if m.PC() != part.FlashWords-1 {
			t.Errorf("%s: RJMP -1 from 0 went to %#x", part.Name, m.PC())
		}
	}
}

func TestReturnAddressLowByteFirst(t *testing.T) {
	// Instruction Set Manual, CALL: two bytes, the low one at the higher address.
	m := newChip(t, "\t.org 0x234\n\tcall sub\nsub:\tbreak")
	m.SetPC(0x234)
	m.SetSP(0x8FF)
	runToBreak(t, m, 100)
	if ram := m.RAM(); ram[0x7FF] != 0x36 || ram[0x7FE] != 0x02 || m.SP() != 0x8FD {
		t.Errorf("stack % X, SP %#x", ram[0x7FE:], m.SP())
	}
}

func TestStackBudget(t *testing.T) {
	var seen []avr.Violation
	m := newChip(t, "deep:\trcall deep", func(c *avr.Config) {
		c.Options.Strict.StackFloor = 0x800
		c.Hooks.Violation = func(v avr.Violation) { seen = append(seen, v); c.Hooks.Violation = nil }
	})
	m.RunFor(3 * 140)
	if len(seen) == 0 || seen[0].Rule != avr.StackBudget || seen[0].Addr >= 0x800 {
		t.Errorf("violations %v, want the stack below 0x800", seen)
	}
	if m.Stats().MinSP > 0x7F0 {
		t.Errorf("lowest SP %#x", m.Stats().MinSP)
	}
}

func TestIllegalInstructionStops(t *testing.T) {
	m := newChip(t, "\tnop\n\t.word 0x9404")
	if r := m.RunFor(100); r != avr.StopIllegal || m.PC() != 1 {
		t.Errorf("%v at %#x, want illegal at 1", r, m.PC())
	}
}

// Nothing says what FFFF does; that a chip runs through it, else no bootloader would be reached over an empty program, is from memory.
func TestErasedFlashIsRunThrough(t *testing.T) {
	m := newChip(t, "\tinc r16\n\tjmp 0x200")
	words := uint64(len(m.Flash()))
	m.RunFor(2 * (4 + words - 0x200)) // INC and JMP, then a cycle for each erased word from word 0x200 on, twice
	if n := m.Reg(16); n != 2 {
		t.Errorf("address 0 was reached %d times, want 2", n)
	}
	if m.PC() != 0 {
		t.Errorf("at %#x, want 0", m.PC())
	}
}

func TestSPMWritesPage(t *testing.T) {
	// 26.8: fill the buffer, erase, write, from the boot section; 4.5 ms each while the
	// read-while-write section is busy. SPM elsewhere does nothing.
	boot := `
		.org 0x3F00
		ldi r30, 0x80        ; page 1
		ldi r31, 0
		ldi r16, 0x34
		mov r0, r16
		ldi r16, 0x12
		mov r1, r16
		ldi r17, 1
		out SPMCSR, r17
		spm
		ldi r17, 3
		rcall doit
		ldi r17, 5
		rcall doit
		ldi r17, 0x11
		out SPMCSR, r17
		spm
		lpm r20, Z+
		lpm r21, Z
		break
	doit:	out SPMCSR, r17
		spm
	wait:	in r18, SPMCSR
		sbrc r18, 0
		rjmp wait
		ret`
	m := newChip(t, boot)
	m.SetPC(0x3F00)
	start := m.Cycle()
	runToBreak(t, m, 1_000_000)
	wantRegs(t, m, map[uint8]uint8{20: 0x34, 21: 0x12})
	if d := m.Cycle() - start; d < 2*72_000 || d > 2*72_000+200 {
		t.Errorf("took %d cycles, want twice 72000", d)
	}
	m = newChip(t, strings.Replace(boot, ".org 0x3F00", ".org 0x100", 1))
	m.SetPC(0x100)
	runToBreak(t, m, 1_000_000)
	wantRegs(t, m, map[uint8]uint8{20: 0xFF, 21: 0xFF})
}

func TestBootResetFuse(t *testing.T) {
	m := avr.New(avr.Config{Fuses: avr.Fuses{StartupCycles: 6, BootReset: true, BootWords: 256}})
	p := asm.Must("\t.org 0x3F00\n\tinc r5\n\tbreak")
	if err := m.LoadWords(p.Words); err != nil {
		t.Fatal(err)
	}
	runToBreak(t, m, 100)
	wantRegs(t, m, map[uint8]uint8{5: 1})
}

func TestClockPrescaler(t *testing.T) {
	// 9.12.2: CLKPCE, then CLKPS within four cycles. Real-time events keep their instants.
	m := newChip(t, `
		ldi r16, 0x80
		ldi r17, 1
		sts CLKPR, r16
		sts CLKPR, r17
		break`)
	runToBreak(t, m, 100)
	if m.ClockHz() != 8_000_000 {
		t.Errorf("clock %d Hz, want 8 MHz", m.ClockHz())
	}
	before, cycle := m.Nanos(), m.Cycle()
	if at := m.CycleAt(before + 1_000_000); at < cycle+8000 || at > cycle+8001 {
		t.Errorf("1 ms is %d cycles, want 8000", at-cycle)
	}
}

func TestELFAndHexHoldTheSame(t *testing.T) {
	// The same program through avr-gcc's ELF and through objcopy's HEX.
	dir := t.TempDir()
	src := filepath.Join("..", "..", "testdata", "avr", "crc.c")
	elf := filepath.Join(dir, "crc.elf")
	if out, err := exec.Command("avr-gcc", "-mmcu=atmega328p", "-Os", "-o", elf, src).CombinedOutput(); err != nil {
		t.Fatalf("avr-gcc: %v\n%s", err, out)
	}
	hex := filepath.Join(dir, "crc.hex")
	if out, err := exec.Command("avr-objcopy", "-O", "ihex", elf, hex).CombinedOutput(); err != nil {
		t.Fatalf("avr-objcopy: %v\n%s", err, out)
	}
	var images []*avr.Image
	for _, f := range []string{elf, hex} {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		img, err := avr.ReadImage(b)
		if err != nil {
			t.Fatal(err)
		}
		images = append(images, img)
	}
	if len(images[0].Flash) == 0 || !bytes.Equal(images[0].Flash, images[1].Flash) {
		t.Errorf("ELF gives %d bytes, HEX %d", len(images[0].Flash), len(images[1].Flash))
	}
}

func TestImageTooLarge(t *testing.T) {
	m := avr.New(avr.Config{Part: avr.ATmega168P})
	err := m.Load(&avr.Image{Flash: make([]byte, 16385)})
	if err == nil || !strings.Contains(err.Error(), "does not fit the 16384 bytes of flash of the atmega168p") {
		t.Errorf("%v", err)
	}
}

func FuzzReadImage(f *testing.F) {
	f.Add([]byte(":020000000AE014\n:00000001FF\n"))
	f.Add([]byte("\x7fELF"))
	f.Fuzz(func(t *testing.T, b []byte) {
		img, err := avr.ReadImage(b)
		if err == nil && len(img.Flash) > avr.MaxImageBytes {
			t.Errorf("%d bytes", len(img.Flash))
		}
	})
}
