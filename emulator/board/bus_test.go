package board

import (
	"testing"

	"mealtab/emulator/avr"
)

// TestMemory checks the module's memory chip by the AT24C32 data sheet: two address bytes, pages of 32 within which a write
// wraps, no answer for 10 ms after it, sequential reads over page borders.
func TestMemory(t *testing.T) {
	var m memory
	m.init()
	write := func(now uint64, place uint16, data ...uint8) bool {
		if !m.start(now, false) {
			return false
		}
		m.write(uint8(place >> 8))
		m.write(uint8(place))
		for _, v := range data {
			m.write(v)
		}
		m.stop(now)
		return true
	}
	if !write(0, 0x0FFE, 1, 2, 3) {
		t.Fatal("the chip does not answer")
	}
	if m.data[0xFFE] != 1 || m.data[0xFFF] != 2 || m.data[0xFE0] != 3 {
		t.Errorf("a write over the end of a page did not wrap inside it: % X", m.data[0xFE0:])
	}
	if write(memoryWriteTime-1, 0) {
		t.Error("the chip answers while it writes")
	}
	if !write(memoryWriteTime, 0x0FFE) {
		t.Error("the chip does not answer after 10 ms")
	}
	if !m.start(memoryWriteTime, true) {
		t.Fatal("no answer for reading")
	}
	if a, b, c := m.read(), m.read(), m.read(); a != 1 || b != 2 || c != 0xFF {
		t.Errorf("read %d %d %d, want 1 2 255: the place wraps to 0 at the end", a, b, c)
	}
}

// TestMemoryTorn: a cut inside the write time leaves each byte old, new or between; afterwards nothing.
func TestMemoryTorn(t *testing.T) {
	kinds := map[uint8]bool{}
	for seed := range uint64(64) {
		var m memory
		m.init()
		m.data[5] = 0xF0
		m.start(0, false)
		m.write(0)
		m.write(5)
		m.write(0x0F)
		m.stop(0)
		r := random(seed)
		m.powerOff(memoryWriteTime/2, &r)
		kinds[m.data[5]] = true
		if m.data[4] != 0xFF || m.data[6] != 0xFF {
			t.Fatal("bytes that were not written changed")
		}
	}
	if len(kinds) < 20 {
		t.Errorf("64 cuts leave only %d different bytes", len(kinds))
	}
}

// mains is a board without a firmware.
func mains(t *testing.T) *Board {
	t.Helper()
	c, err := ForBoard("m328-mains")
	if err != nil {
		t.Fatal(err)
	}
	b, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestHeldSDA: a chip in the middle of a byte lets go after the clocks it lacks [DS3231 data sheet p.11]; a short does not.
func TestHeldSDA(t *testing.T) {
	b := mains(t)
	bus := twoWire{b}
	clockSCL := func() {
		b.mcu.Poke(avr.DDRC, 1<<pinSCL)
		b.mcu.Poke(avr.DDRC, 0)
	}
	b.mcu.RunFor(10_000_000) // past the reset
	b.HoldSDA(true, 5)
	for n := range 5 {
		if bus.Free() || b.mcu.PinState(avr.PortC, pinSDA).High {
			t.Fatalf("SDA is free after %d clocks, want 5", n)
		}
		clockSCL()
	}
	if !bus.Free() || !b.mcu.PinState(avr.PortC, pinSDA).High {
		t.Error("SDA is not free after 5 clocks")
	}
	b.HoldSDA(true, 0)
	for range 20 {
		clockSCL()
	}
	if bus.Free() {
		t.Error("a short went away")
	}
	if bus.Send(0x55) != avr.Lost || bus.Receive(true) != 0 {
		t.Error("a byte passed a shorted line")
	}
	b.HoldSDA(false, 0)
	if !bus.Free() {
		t.Error("the bus is not free after the short")
	}
}

// TestAddresses: the clock answers at 68h, the memory at 57h, nobody elsewhere; each can be taken away.
func TestAddresses(t *testing.T) {
	b := mains(t)
	bus := twoWire{b}
	answers := func() (list []int) {
		for address := range 128 {
			bus.Start()
			if bus.Send(uint8(address)<<1) == avr.Ack {
				list = append(list, address)
			}
			bus.Stop()
		}
		return list
	}
	if l := answers(); len(l) != 2 || l[0] != 0x57 || l[1] != 0x68 {
		t.Errorf("answers at %x, want 57 and 68", l)
	}
	b.Silence(true)
	b.RemoveMemory(true)
	if l := answers(); len(l) != 0 {
		t.Errorf("answers at %x, want none", l)
	}
}
