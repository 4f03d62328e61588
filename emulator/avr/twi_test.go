package avr_test

import (
	"fmt"
	"testing"

	"mealtab/emulator/avr"
)

// bus answers to address 0x68 and records what happens.
type bus struct {
	log    []string
	busy   bool
	lost   bool
	refuse int // number of the byte to refuse, counted from 1
	n      int
}

func (b *bus) Free() bool { return !b.busy }
func (b *bus) Start()     { b.log = append(b.log, "S"); b.n = 0 }
func (b *bus) Stop()      { b.log = append(b.log, "P") }
func (b *bus) Send(v uint8) avr.Answer {
	b.n++
	b.log = append(b.log, fmt.Sprintf("%02X", v))
	switch {
	case b.lost:
		return avr.Lost
	case b.n == b.refuse || b.n == 1 && v>>1 != 0x68:
		return avr.Nack
	}
	return avr.Ack
}
func (b *bus) Receive(ack bool) uint8 {
	b.log = append(b.log, fmt.Sprintf("r%v", ack))
	return 0xA5
}

// transfer runs the TWCR values given, each preceded by an optional TWDR value,
// and leaves TWSR after each step at 0x100 on.
func transfer(t *testing.T, b *bus, steps string) *avr.MCU {
	m := newChip(t, `
		ldi r26, 0
		ldi r27, 1
		ldi r16, 12
		sts TWBR, r16
	`+steps+`
		break
	step:	sts TWCR, r16
	poll:	lds r17, TWCR
		sbrs r17, 7
		rjmp poll
		lds r17, TWSR
		st X+, r17
		ret`, func(c *avr.Config) { c.Hooks.Bus = b })
	runToBreak(t, m, 1_000_000)
	return m
}

const (
	start = "\tldi r16, 0xA4\n\trcall step\n"
	next  = "\tldi r16, 0x84\n\trcall step\n"
	ack   = "\tldi r16, 0xC4\n\trcall step\n"
)

func data(v int) string { return fmt.Sprintf("\tldi r16, %d\n\tsts TWDR, r16\n", v) }

func TestTWIStatusCodes(t *testing.T) {
	// Tables 22-3 and 22-4.
	for _, c := range []struct {
		name  string
		bus   bus
		steps string
		want  []uint8
		log   string
	}{
		{"write", bus{}, start + data(0xD0) + next + data(0x0E) + next, []uint8{0x08, 0x18, 0x28}, "[S D0 0E]"},
		{"write refused", bus{}, start + data(0xA0) + next, []uint8{0x08, 0x20}, "[S A0]"},
		{"data refused", bus{refuse: 2}, start + data(0xD0) + next + data(1) + next, []uint8{0x08, 0x18, 0x30}, "[S D0 01]"},
		{"read", bus{}, start + data(0xD1) + next + ack + next, []uint8{0x08, 0x40, 0x50, 0x58}, "[S D1 rtrue rfalse]"},
		{"read refused", bus{}, start + data(0xA1) + next, []uint8{0x08, 0x48}, "[S A1]"},
		{"repeated start", bus{}, start + data(0xD0) + next + start + data(0xD1) + next, []uint8{0x08, 0x18, 0x10, 0x40}, "[S D0 S D1]"},
		{"arbitration lost", bus{lost: true}, start + data(0xD0) + next, []uint8{0x08, 0x38}, "[S D0]"},
	} {
		b := c.bus
		m := transfer(t, &b, c.steps)
		got := m.RAM()[:len(c.want)]
		for i := range c.want {
			if got[i] != c.want[i] {
				t.Errorf("%s: status % X, want % X", c.name, got, c.want)
				break
			}
		}
		if s := fmt.Sprint(b.log); s != c.log {
			t.Errorf("%s: bus saw %s, want %s", c.name, s, c.log)
		}
	}
}

func TestTWIBitTime(t *testing.T) {
	// 22.5.2: SCL = F_CPU/(16 + 2·TWBR·4^TWPS): 16 MHz, TWBR 72: 100 kHz; 12: 400 kHz;
	// 8 MHz, TWBR 32: 100 kHz; 2: 400 kHz. A byte is nine periods.
	for _, c := range []struct{ hz, twbr, scl uint64 }{
		{16_000_000, 72, 100_000}, {16_000_000, 12, 400_000}, {8_000_000, 32, 100_000}, {8_000_000, 2, 400_000},
	} {
		m := newChip(t, `
			sts TWBR, r20
			ldi r16, 0xA4
			sts TWCR, r16
		poll:	lds r17, TWCR
			sbrs r17, 7
			rjmp poll
			ldi r16, 0xD0
			sts TWDR, r16
			ldi r16, 0x84
			sts TWCR, r16
		sent:	lds r17, TWCR
			sbrs r17, 7
			rjmp sent
			break`, func(cfg *avr.Config) { cfg.ClockHz = c.hz; cfg.Hooks.Bus = &bus{} })
		m.SetReg(20, uint8(c.twbr))
		begin := m.Cycle()
		runToBreak(t, m, 100_000)
		want := 10 * c.hz / c.scl
		if d := m.Cycle() - begin; d < want || d > want+40 {
			t.Errorf("%d Hz, TWBR %d: START and a byte took %d cycles, want %d and a little", c.hz, c.twbr, d, want)
		}
	}
}

func TestTWSTOClearsItselfWithoutTWINT(t *testing.T) {
	// 22.9.2: TWSTO clears when the STOP is out; TWINT is not set.
	b := &bus{}
	m := transfer(t, b, start+data(0xD0)+next+`
		ldi r16, 0x94
		sts TWCR, r16
		lds r20, TWCR
	stop:	lds r21, TWCR
		sbrc r21, 4
		rjmp stop
	`)
	wantRegs(t, m, map[uint8]uint8{20: 0x14, 21: 0x04})
	if s := fmt.Sprint(b.log); s != "[S D0 P]" {
		t.Errorf("bus saw %s", s)
	}
}

func TestTWDRCollision(t *testing.T) {
	// 22.9.4: TWDR may be written only while TWINT is 1; else TWWC is set.
	m := transfer(t, &bus{}, start+data(0xD0)+`
		ldi r16, 0x84
		sts TWCR, r16
		ldi r16, 0x55
		sts TWDR, r16
		lds r20, TWCR
		lds r21, TWDR
	`)
	if m.Reg(20)&8 == 0 || m.Reg(21) != 0xD0 {
		t.Errorf("TWCR %#x, TWDR %#x: want TWWC set and TWDR kept", m.Reg(20), m.Reg(21))
	}
}

func TestTWIStartWaitsForFreeBus(t *testing.T) {
	b := &bus{busy: true}
	m := newChip(t, `
		ldi r16, 0xA4
		sts TWCR, r16
	poll:	lds r17, TWCR
		sbrs r17, 7
		rjmp poll
		break`, func(c *avr.Config) { c.Hooks.Bus = b })
	m.RunFor(1_000_000)
	if len(b.log) != 0 {
		t.Fatalf("START on a busy bus: %v", b.log)
	}
	b.busy = false
	m.BusChanged()
	runToBreak(t, m, 1000)
}

func TestTWIInterruptIsALevel(t *testing.T) {
	// 22.9.2: TWINT is not cleared by entering the handler.
	m := newChip(t, `
		jmp start
		.org 48
		inc r20
		reti
		.org 52
	start:	ldi r16, 0xA5
		sts TWCR, r16
		sei
	loop:	rjmp loop`, func(c *avr.Config) { c.Hooks.Bus = &bus{} })
	m.RunFor(1000)
	if m.Reg(20) < 10 {
		t.Errorf("%d interrupts, want many while TWINT is 1", m.Reg(20))
	}
}

func TestTWIReadSevenRegisters(t *testing.T) {
	// Reading seven registers of a clock chip is 10 bytes, two starts, one stop: 93
	// bit times, 0.93 ms at 100 kHz [computed].
	b := &bus{}
	steps := "\tldi r16, 72\n\tsts TWBR, r16\n" + start + data(0xD0) + next + data(0) + next + start + data(0xD1) + next
	for range 6 {
		steps += ack
	}
	steps += next + "\tldi r16, 0x94\n\tsts TWCR, r16\n\tstop:\tlds r21, TWCR\n\tsbrc r21, 4\n\trjmp stop\n"
	m := transfer(t, b, steps)
	if us := float64(m.Nanos()) / 1000; us < 930 || us > 960 {
		t.Errorf("took %.0f µs, want about 930", us)
	}
}
