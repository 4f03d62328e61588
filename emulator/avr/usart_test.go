package avr_test

import (
	"testing"

	"mealtab/emulator/avr"
)

func TestUSARTFrameTime(t *testing.T) {
	// 20.3.1: baud = F/(16·(UBRR+1)), with U2X F/(8·(UBRR+1)); ten bits 8N1.
	for _, c := range []struct {
		u2x, ubrr uint8
		bit       uint64
	}{{0, 8, 144}, {2, 16, 136}, {2, 34, 280}} {
		var f avr.Frame
		var end uint64
		var chip *avr.MCU
		m := newChip(t, `
			sts UCSR0A, r20
			sts UBRR0L, r21
			ldi r16, 8
			sts UCSR0B, r16
			ldi r16, 0x41
			sts UDR0, r16
		end:	rjmp end`, func(cfg *avr.Config) {
			cfg.Hooks.Transmit = func(got avr.Frame) { f, end = got, chip.Cycle() }
		})
		chip = m
		m.SetReg(20, c.u2x)
		m.SetReg(21, c.ubrr)
		m.RunFor(10_000)
		if f.Data != 0x41 || f.BitCycles != c.bit || end-f.Start != 10*c.bit {
			t.Errorf("U2X %d UBRR %d: frame %+v ended after %d cycles, want %d", c.u2x, c.ubrr, f, end-f.Start, 10*c.bit)
		}
	}
}

// receiver stores received bytes at 0x100 on, with UCSR0A before them.
const receiver = `
		ldi r26, 0
		ldi r27, 1
		ldi r16, 16
		sts UBRR0L, r16
		ldi r16, 2
		sts UCSR0A, r16
		ldi r16, 0x10
		sts UCSR0B, r16
	poll:	lds r17, UCSR0A
		sbrs r17, 7
		rjmp poll
		lds r18, UDR0
		st X+, r17
		st X+, r18
		rjmp poll`

const byteNanos = 10 * 8500 // 117,647 baud: 136 cycles of 62.5 ns

func TestUSARTReceives(t *testing.T) {
	m := newChip(t, receiver)
	m.RunFor(100)
	for _, b := range []uint8{0x55, 0x00, 0xFF} {
		m.ReceiveFrame(b, byteNanos)
		m.RunFor(1400)
	}
	for i, want := range []uint8{0x55, 0x00, 0xFF} {
		if got := m.RAM()[2*i+1]; got != want || m.RAM()[2*i]&0x1C != 0 {
			t.Errorf("byte %d: %#x flags %#x, want %#x without errors", i, got, m.RAM()[2*i], want)
		}
	}
}

func TestUSARTRateTolerance(t *testing.T) {
	// 20.11 table 20-2 by its formula: with U2X and eight bits −4.0 to +3.9 %.
	for _, c := range []struct {
		permille int64
		ok       bool
	}{{-35, true}, {35, true}, {0, true}, {-70, false}, {70, false}} {
		m := newChip(t, receiver)
		m.RunFor(100)
		m.ReceiveFrame(0x80, uint64(byteNanos*1000/(1000+c.permille)))
		m.RunFor(4000)
		good := m.RAM()[1] == 0x80 && m.RAM()[0]&0x10 == 0
		if good != c.ok {
			t.Errorf("%+d ‰: byte %#x flags %#x, received well %v, want %v", c.permille, m.RAM()[1], m.RAM()[0], good, c.ok)
		}
	}
}

func TestUSARTOverrun(t *testing.T) {
	// 20.7.4: two bytes in the buffer, one in the shift register; the next start bit
	// loses that one, and the byte stored next carries DOR.
	m := newChip(t, receiver)
	m.RunFor(100)
	m.LoadWords([]uint16{0xCFFF}) // stop reading
	m.SetPC(0)
	for b := uint8(1); b <= 5; b++ {
		m.ReceiveFrame(b, byteNanos)
		m.RunFor(1400)
	}
	var got []uint8
	var flags []uint8
	for m.Peek(avr.UCSR0A)&0x80 != 0 {
		flags = append(flags, m.Peek(avr.UCSR0A)&8)
		got = append(got, m.Peek(avr.UDR0))
		m.ReadData(avr.UDR0)
	}
	want, wantFlags := []uint8{1, 2, 5}, []uint8{0, 0, 8}
	if len(got) != 3 {
		t.Fatalf("bytes % X flags % X, want % X", got, flags, want)
	}
	for i := range want {
		if got[i] != want[i] || flags[i] != wantFlags[i] {
			t.Fatalf("bytes % X flags % X, want % X and % X", got, flags, want, wantFlags)
		}
	}
}

func TestUSARTFrameError(t *testing.T) {
	// 20.11.2: FE is set where the stop bit was 0.
	m := newChip(t, receiver)
	m.RunFor(100)
	m.ReceiveBits(0x3C<<1, 11, byteNanos*11/10)
	m.RunFor(2000)
	if m.RAM()[1] != 0x3C || m.RAM()[0]&0x10 == 0 {
		t.Errorf("byte %#x flags %#x, want 3C with FE", m.RAM()[1], m.RAM()[0])
	}
}

func TestUDREAndTXC(t *testing.T) {
	// 20.6.3: UDRE while the buffer is free, TXC when all is sent; TXC clears on
	// interrupt entry.
	m := newChip(t, `
		jmp start
		.org 40
		inc r20             ; USART_TX
		lds r21, UCSR0A
		reti
		.org 52
	start:	ldi r16, 0x48
		sts UCSR0B, r16
		lds r22, UCSR0A
		sts UDR0, r16
		lds r23, UCSR0A     ; moved to the shift register at once
		sts UDR0, r16
		lds r24, UCSR0A     ; buffer full
		sei
	end:	rjmp end`)
	m.RunFor(2000)
	wantRegs(t, m, map[uint8]uint8{20: 1, 21: 0x20, 22: 0x20, 23: 0x20, 24: 0x00})
}

func TestLinePinFollowsTheFrame(t *testing.T) {
	// A pin change interrupt on RXD (PCINT16) sees the edges of a frame: 0x55 has ten.
	m := newChip(t, `
		jmp start
		.org 10
		inc r20
		reti
		.org 52
	start:	ldi r16, 4
		sts PCICR, r16
		ldi r16, 1
		sts PCMSK2, r16
		sei
	end:	rjmp end`)
	m.SetInput(avr.PortD, 0, avr.High)
	m.RunFor(100)
	m.Poke(avr.PCIFR, 7)
	before := m.Reg(20)
	m.ReceiveFrame(0x55, byteNanos)
	m.RunFor(2000)
	if n := m.Reg(20) - before; n != 10 {
		t.Errorf("%d edges, want 10", n)
	}
}
