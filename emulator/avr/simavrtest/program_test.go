//go:build cgo && linux

package simavrtest

import "testing"

// TestWholeProgramsAgree runs the benchmark programs on both emulators and compares
// registers and SRAM at the same cycles: one wrong cycle, flag or fused pair in
// millions would show.
func TestWholeProgramsAgree(t *testing.T) {
	for _, name := range programs {
		img := readImage(t, name)
		ref, err := New("atmega328p", 16_000_000)
		if err != nil {
			t.Fatal(err)
		}
		ref.Load(img.Flash)
		m := running(t)
		if err := m.Load(img); err != nil {
			t.Fatal(err)
		}
		m.SetPC(0)
		m.SetSREG(0)
		clear(m.Regs())
		begin := m.Cycle()
		for range 10 {
			at := ref.Run(1_500_000)
			m.Run(begin + at)
			if got := m.Cycle() - begin; got != at {
				t.Fatalf("%s: we stop at cycle %d, simavr at %d", name, got, at)
			}
			for a := range uint16(32) {
				if m.Reg(uint8(a)) != ref.Data(a) {
					t.Fatalf("%s, cycle %d: r%d is %#x, in simavr %#x", name, at, a, m.Reg(uint8(a)), ref.Data(a))
				}
			}
			for i, v := range m.RAM() {
				if a := uint16(0x100 + i); v != ref.Data(a) {
					t.Fatalf("%s, cycle %d: byte %#x is %#x, in simavr %#x", name, at, a, v, ref.Data(a))
				}
			}
		}
	}
}
