package avr_test

import (
	"testing"

	"mealtab/emulator/avr"
)

func TestPINxTogglesOneBit(t *testing.T) {
	// 14.2.2: writing PINx toggles PORTx; SBI on PINx touches one bit only
	// (register summary note 3), unlike a read-modify-write.
	m := newChip(t, `
		ldi r16, 0xFF
		out DDRB, r16
		ldi r16, 0x0F
		out PORTB, r16
		sbi PINB, 0
		in r17, PORTB
		cbi PINB, 1
		in r18, PORTB
		ldi r16, 0xF0
		out PINB, r16
		in r19, PORTB
		break`)
	runToBreak(t, m, 100)
	wantRegs(t, m, map[uint8]uint8{17: 0x0E, 18: 0x0E, 19: 0xFE})
}

func TestSBIClearsOneFlagOnly(t *testing.T) {
	// Register summary note 3: the same for flags.
	m := newChip(t, `
		ldi r16, 0x0F
		sts EICRA, r16       ; rising edges
		nop
		nop
		sbi EIFR, 0
		in r17, EIFR
		cbi EIFR, 1
		in r18, EIFR
		break`)
	for range 3 {
		m.Step()
	}
	m.SetInput(avr.PortD, 2, avr.Low)
	m.SetInput(avr.PortD, 3, avr.Low)
	m.SetInput(avr.PortD, 2, avr.High)
	m.SetInput(avr.PortD, 3, avr.High)
	runToBreak(t, m, 100)
	wantRegs(t, m, map[uint8]uint8{17: 2, 18: 2})
}

func TestPullUpAndDirection(t *testing.T) {
	// 14.2.1 table 14-1.
	m := newChip(t, `
		sbi PORTC, 0
		sbi DDRC, 1
		sbi PORTC, 1
		break`)
	runToBreak(t, m, 100)
	if p := m.PinState(avr.PortC, 0); p != (avr.Pin{High: true, PullUp: true}) {
		t.Errorf("input with pull-up: %+v", p)
	}
	if p := m.PinState(avr.PortC, 1); p != (avr.Pin{Output: true, High: true}) {
		t.Errorf("output: %+v", p)
	}
	m.SetInput(avr.PortC, 0, avr.Low)
	if m.Peek(avr.PINC)&1 != 0 {
		t.Error("a low input reads 1 against its pull-up")
	}
	m.Poke(avr.MCUCR, 0x10) // PUD
	m.SetInput(avr.PortC, 0, avr.Float)
	if m.PinState(avr.PortC, 0).PullUp {
		t.Error("pull-up on in spite of PUD")
	}
}

func TestPinsHookReportsOutputs(t *testing.T) {
	var levels []bool
	var chip *avr.MCU
	m := newChip(t, `
		sbi DDRB, 5
		sbi PORTB, 5
		cbi PORTB, 5
		sbi PINB, 5
		break`, func(c *avr.Config) {
		c.Hooks.Pins = func(p avr.Port) {
			if chip != nil && p == avr.PortB {
				levels = append(levels, chip.PinState(p, 5).High)
			}
		}
	})
	chip = m
	runToBreak(t, m, 100)
	want := []bool{false, true, false, true}
	if len(levels) != len(want) {
		t.Fatalf("levels %v, want %v", levels, want)
	}
	for i := range want {
		if levels[i] != want[i] {
			t.Fatalf("levels %v, want %v", levels, want)
		}
	}
}

func TestLevelInterrupt(t *testing.T) {
	// 13.2.3: INTF0 is always 0 in level mode; the pin is the request. It fires
	// again until the line is released or INT0 masked.
	m := newChip(t, `
		jmp start
		inc r20
		reti
		.org 52
	start:	in r22, EIFR
		sbi EIMSK, 0
		sei
	loop:	inc r21
		rjmp loop`)
	m.SetInput(avr.PortD, 2, avr.Low)
	m.RunFor(200)
	if m.Reg(20) < 10 {
		t.Errorf("%d interrupts at a constant low level, want many", m.Reg(20))
	}
	if m.Reg(22) != 0 || m.Peek(avr.EIFR) != 0 {
		t.Error("INTF0 set in level mode")
	}
	m.SetInput(avr.PortD, 2, avr.High)
	n := m.Reg(20)
	m.RunFor(200)
	if m.Reg(20) > n+1 {
		t.Error("interrupts go on after the line was released")
	}
}

func TestEdgeInterrupts(t *testing.T) {
	// Table 13-1: any change, falling, rising; the flag clears on entry.
	for isc, want := range map[uint8]uint8{1: 4, 2: 2, 3: 2} {
		m := newChip(t, `
			jmp start
			nop
			nop
			inc r20           ; INT1
			reti
			.org 52
		start:	sbi EIMSK, 1
			sei
		loop:	rjmp loop`)
		m.SetInput(avr.PortD, 3, avr.High)
		m.Poke(avr.EICRA, isc<<2)
		m.RunFor(100)
		for range 2 {
			m.SetInput(avr.PortD, 3, avr.Low)
			m.RunFor(100)
			m.SetInput(avr.PortD, 3, avr.High)
			m.RunFor(100)
		}
		if m.Reg(20) != want {
			t.Errorf("ISC1 %d: %d interrupts, want %d", isc, m.Reg(20), want)
		}
	}
}

func TestPinChangeGroups(t *testing.T) {
	// 13.2.4–13.2.9: one vector per port, masked by PCMSKn.
	m := newChip(t, `
		jmp start
		.org 10
		inc r20             ; PCINT2, port D
		reti
		.org 52
	start:	ldi r16, 4
		sts PCICR, r16
		ldi r16, 0x80
		sts PCMSK2, r16
		sei
	loop:	rjmp loop`)
	m.RunFor(100)
	m.SetInput(avr.PortD, 6, avr.High) // masked
	m.RunFor(50)
	m.SetInput(avr.PortD, 7, avr.High)
	m.RunFor(50)
	m.SetInput(avr.PortD, 7, avr.Low)
	m.RunFor(50)
	wantRegs(t, m, map[uint8]uint8{20: 2})
}
