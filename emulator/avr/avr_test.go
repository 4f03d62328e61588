package avr_test

import (
	"testing"

	"mealtab/emulator/avr"
	"mealtab/emulator/avr/asm"
)

// newChip returns a chip that runs source from the next cycle on: 16 MHz, start-up
// 6 CK, no reset delay.
func newChip(t testing.TB, source string, adjust ...func(*avr.Config)) *avr.MCU {
	t.Helper()
	c := avr.Config{Part: avr.ATmega328P, ClockHz: 16_000_000, Fuses: avr.Fuses{StartupCycles: 6, BootWords: 256}}
	for _, f := range adjust {
		f(&c)
	}
	m := avr.New(c)
	p, err := asm.Assemble(source)
	if err != nil {
		t.Fatal(err)
	}
	if err := m.LoadWords(p.Words); err != nil {
		t.Fatal(err)
	}
	for !m.Executing() {
		m.Step()
	}
	return m
}

// scrambled is a chip with a program and random contents of registers and SRAM.
func scrambled(t testing.TB, code []uint16, o avr.Options, seed uint64) *avr.MCU {
	t.Helper()
	m := avr.New(avr.Config{Fuses: avr.Fuses{StartupCycles: 6}, Options: o})
	if err := m.LoadWords(code); err != nil {
		t.Fatal(err)
	}
	m.Scramble(seed)
	return m
}

// runToBreak runs until BREAK, at most limit cycles.
func runToBreak(t testing.TB, m *avr.MCU, limit uint64) {
	t.Helper()
	if r := m.RunFor(limit); r != avr.StopBreak {
		t.Fatalf("%v at %#x after %d cycles, want BREAK", r, m.PC(), limit)
	}
}

// runUntil single-steps until the PC is at a label.
func runUntil(t testing.TB, m *avr.MCU, pc uint16, steps int) {
	t.Helper()
	for range steps {
		if m.PC() == pc {
			return
		}
		m.Step()
	}
	t.Fatalf("PC %#x after %d steps, want %#x", m.PC(), steps, pc)
}

func wantRegs(t testing.TB, m *avr.MCU, want map[uint8]uint8) {
	t.Helper()
	for r, v := range want {
		if got := m.Reg(r); got != v {
			t.Errorf("r%d = %#02x, want %#02x", r, got, v)
		}
	}
}

// TestHello sends two characters by polling UDRE and reads them off the line.
func TestHello(t *testing.T) {
	var got []byte
	m := newChip(t, `
		ldi r16, 16
		sts UBRR0L, r16
		ldi r16, 2
		sts UCSR0A, r16
		ldi r16, 0x18
		sts UCSR0B, r16
		ldi r30, lo8(text*2)
		ldi r31, hi8(text*2)
	next:	lpm r16, Z+
		tst r16
		breq done
	wait:	lds r17, UCSR0A
		sbrs r17, 5
		rjmp wait
		sts UDR0, r16
		rjmp next
	done:	lds r17, UCSR0A
		sbrs r17, 6
		rjmp done
		break
	text:	.word 'H'|'i'<<8, 0`, func(c *avr.Config) {
		c.Hooks.Transmit = func(f avr.Frame) { got = append(got, f.Data) }
	})
	if r := m.RunFor(100_000); r != avr.StopBreak {
		t.Fatalf("stopped: %v at %#x", r, m.PC())
	}
	if string(got) != "Hi" {
		t.Errorf("got %q, want Hi", got)
	}
}
