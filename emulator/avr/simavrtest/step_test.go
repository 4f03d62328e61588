//go:build cgo && linux

package simavrtest

import (
	"flag"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"mealtab/emulator/avr"
)

// steps is the number of random states per instruction form. With -race the
// ordinary run takes fewer; AVR_STEPS=1000000 is the full comparison.
var steps = flag.Int("steps", defaultSteps(), "random states per instruction form")

func defaultSteps() int {
	if n, err := strconv.Atoi(os.Getenv("AVR_STEPS")); err == nil {
		return n
	}
	return 10_000
}

// batch is the number of states per call into C: one slot of four words each.
const batch = 4096

// TestSingleSteps executes every instruction form from random states on both
// emulators and compares registers, SREG, SP, PC, memory and cycles. Each listed
// departure must occur.
func TestSingleSteps(t *testing.T) {
	ref, err := New("atmega328p", 16_000_000)
	if err != nil {
		t.Fatal(err)
	}
	m := running(t)
	seen := map[string]int{}
	for n := range forms {
		r := rand.New(rand.NewPCG(uint64(n), 0x328))
		for done, bad := 0, 0; done < *steps && bad <= 3; done += batch {
			bad += stepBatch(t, m, ref, r, &forms[n], seen)
		}
	}
	for _, d := range departures {
		t.Logf("%s: %d states: %s", d.name, seen[d.name], d.why)
		if seen[d.name] == 0 {
			t.Errorf("departure %q never occurred", d.name)
		}
	}
}

// running returns a chip past its reset delay.
func running(t testing.TB) *avr.MCU {
	m := avr.New(avr.Config{Part: avr.ATmega328P, ClockHz: 16_000_000, Fuses: avr.Fuses{StartupCycles: 6}})
	if err := m.LoadWords([]uint16{0xCFFF}); err != nil {
		t.Fatal(err)
	}
	m.Run(1000)
	return m
}

func stepBatch(t *testing.T, m *avr.MCU, ref *Chip, r *rand.Rand, f *form, seen map[string]int) (bad int) {
	flash := make([]byte, 4*2*batch)
	before := make([]Vector, batch)
	var words [batch][3]uint16
	for i := range before {
		randomState(r, &before[i], uint16(4*i))
		w := &words[i]
		w[0] = f.base | uint16(r.Uint32())&f.vary
		w[1], w[2] = uint16(r.Uint32()), uint16(r.Uint32())
		if f.prepare != nil {
			f.prepare(r, &before[i], w)
		}
		for k, word := range w {
			flash[8*i+2*k], flash[8*i+2*k+1] = uint8(word), uint8(word>>8)
		}
	}
	want := append([]Vector(nil), before...)
	ref.Load(flash)
	ref.Step(want)
	if err := m.Load(&avr.Image{Flash: flash}); err != nil {
		t.Fatal(err)
	}
	for i := range before {
		correct(&before[i], &want[i], words[i], seen)
		got := step(m, before[i])
		if got != want[i] {
			bad++
			t.Errorf("%s %04x %04x\nbefore %+v\nsimavr %+v\nours   %+v", f.name, words[i][0], words[i][1], before[i], want[i], got)
			if bad > 3 {
				break
			}
		}
	}
	return bad
}

func randomState(r *rand.Rand, v *Vector, pc uint16) {
	for i := 0; i < 32; i += 8 {
		x := r.Uint64()
		for k := range 8 {
			v.Regs[i+k] = uint8(x >> (8 * k))
		}
	}
	x := r.Uint64()
	v.SREG = uint8(x)
	v.GPIOR = [3]uint8{uint8(x >> 8), uint8(x >> 16), uint8(x >> 24)}
	v.Window = [4]uint8{uint8(x >> 32), uint8(x >> 40), uint8(x >> 48), uint8(x >> 56)}
	v.SP = inSRAM(r)
	v.PC = pc
	v.Addr = 0x200
}

// step is Chip.Step for one state on our core.
func step(m *avr.MCU, v Vector) Vector {
	ram := m.RAM()[v.Addr-0x100:][:4]
	copy(m.Regs(), v.Regs[:])
	copy(ram, v.Window[:])
	m.SetSREG(v.SREG)
	m.SetSP(v.SP)
	m.SetPC(v.PC)
	for i, a := range gpior {
		m.Poke(a, v.GPIOR[i])
	}
	start := m.Cycle()
	m.Step()
	v.Cycles = uint16(m.Cycle() - start)
	copy(v.Regs[:], m.Regs())
	copy(v.Window[:], ram)
	v.SREG, v.SP, v.PC = m.SREG(), m.SP(), m.PC()
	for i, a := range gpior {
		v.GPIOR[i] = m.Peek(a)
	}
	return v
}

var gpior = [3]uint16{avr.GPIOR0, avr.GPIOR1, avr.GPIOR2}
