package avr_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/avr"
	"mealtab/emulator/avr/anyprogram"
	"mealtab/emulator/avr/asm"
)

// world is what there is around a chip: it acts on it at alarms, by chance, and hears all that the chip tells. Its state is plain, so that
// a fork's world goes on as the original's.
type world struct {
	sum      uint64 // digest of all that was told, with the cycles
	count    int
	slept    uint64 // naps, those passed over among them
	chance   uint64
	busy     bool   // another master holds the bus
	lineFree uint64 // nanoseconds
	m        *avr.MCU
}

func (w *world) add(kind, a, b, c uint64) {
	for _, x := range [...]uint64{kind, w.m.Cycle(), a, b, c} { // FNV-1a, eight octets at a time
		w.sum = (w.sum ^ x) * 0x100000001b3
		w.sum ^= w.sum >> 29
	}
	w.count++
}

// draw is a random number below n (splitmix64).
func (w *world) draw(n uint64) uint64 {
	w.chance += 0x9E3779B97F4A7C15
	z := w.chance
	z = (z ^ z>>30) * 0xBF58476D1CE4E5B9
	z = (z ^ z>>27) * 0x94D049BB133111EB
	return (z ^ z>>31) % n
}

// around goes on from a chip in a fork, within a copy of its world.
func around(from *avr.MCU, o avr.Options, before *world) (*avr.MCU, *world) {
	w := *before
	w.m = from.Fork(w.hooks())
	w.m.SetOptions(o)
	return w.m, &w
}

func (w *world) hooks() avr.Hooks {
	return avr.Hooks{
		Pins: func(p avr.Port) {
			high, low := w.m.Driven(p)
			w.add(1, uint64(p), uint64(high)<<8|uint64(low), uint64(w.m.Peek(avr.PINB+3*uint16(p))))
		},
		Transmit: func(f avr.Frame) { w.add(2, uint64(f.Data), f.BitCycles, f.Start) },
		Analog:   func(ch uint8) uint16 { w.add(3, uint64(ch), 0, 0); return 100 * uint16(ch) },
		Reset:    func(cause uint8) { w.add(4, uint64(cause), 0, 0) },
		EEPROMWrite: func(a uint16, old, now uint8, end uint64) {
			w.add(5, uint64(a), uint64(old)<<8|uint64(now), end)
		},
		Violation: func(v avr.Violation) { w.add(6, uint64(v.Rule)<<16|uint64(v.Addr), uint64(v.PC), v.Cycle) },
		TornByte: func(a uint16, old, now uint8, erasing bool) uint8 {
			w.add(7, uint64(a), uint64(old), uint64(now))
			return avr.Torn(old, now, erasing, uint8(w.draw(256)))
		},
		ClockChanged: func() { w.add(8, w.m.ClockHz(), 0, 0) },
		Alarm:        w.alarm,
		Bus:          anyBus{w},
		Sleep: func(asleep bool) {
			if asleep {
				w.slept++
			}
		},
		Naps: func(n, _ uint64) { w.slept += n },
	}
}

// alarm does something to the chip, and sets the next one.
func (w *world) alarm() {
	w.add(9, 0, 0, 0)
	next := 1 + w.draw([]uint64{30, 3_000, 300_000, 30_000_000}[w.draw(4)])
	switch w.draw(12) {
	default:
		w.m.SetInput(avr.Port(w.draw(3)), uint8(w.draw(8)), avr.Level(w.draw(3)))
	case 0, 1:
		w.character()
	case 2:
		w.m.SetInput(avr.PortD, 2+uint8(w.draw(2)), avr.Level(1+w.draw(2))) // INT0, INT1
	case 3:
		w.m.SetSupply([]uint16{5000, 5000, 4000, 2600, 2000, 0}[w.draw(6)])
	case 4:
		w.m.SetReset(w.draw(3) == 0)
	case 5:
		w.m.SetClockHz([]uint64{16_000_000, 8_000_000, 7_963_211}[w.draw(3)])
	case 6:
		w.busy = w.draw(3) == 0
		w.m.BusChanged()
	case 7:
		w.m.Stop()
	}
	if _, asleep := w.m.Asleep(); !asleep && !w.m.Executing() {
		next = min(next, 1_000_000) // held in reset, or without supply: not for long
	}
	w.m.SetAlarm(w.m.Cycle() + next)
}

// character puts one on the line, at some rate, or something that is none.
func (w *world) character() {
	if w.m.Nanos() < w.lineFree {
		return
	}
	bit := (1 + w.draw(30)) * []uint64{500, 1000}[w.draw(2)] // that of UBRR at 16 MHz, with U2X and without
	if w.draw(4) == 0 {
		w.m.ReceiveBits(uint16(w.draw(1<<12)), 12, 12*bit)
	} else {
		w.m.ReceiveFrame(uint8(w.draw(256)), 10*bit)
	}
	w.lineFree = w.m.Nanos() + 13*bit
}

// anyBus is the two-wire bus of a world: who is on it answers by chance.
type anyBus struct{ *world }

func (b anyBus) Free() bool { return !b.busy }
func (b anyBus) Start()     { b.add(10, 0, 0, 0) }
func (b anyBus) Stop()      { b.add(11, 0, 0, 0) }
func (b anyBus) Send(v uint8) avr.Answer {
	b.add(12, uint64(v), 0, 0)
	return []avr.Answer{avr.Ack, avr.Ack, avr.Ack, avr.Nack, avr.Lost}[b.draw(5)]
}

func (b anyBus) Receive(ack bool) uint8 {
	if ack {
		b.add(13, 1, 0, 0)
	} else {
		b.add(13, 0, 0, 0)
	}
	return uint8(b.draw(256))
}

// TestAnyProgramEveryWay: random programs in random worlds are the same with all shortcuts, with none, step by step, in a fork, and
// brought back by a snapshot, at each stop, and tell their worlds the same at the same cycles. AVR_PROGRAMS says how many, AVR_SEED
// which come first.
func TestAnyProgramEveryWay(t *testing.T) {
	programs, first := number(t, "AVR_PROGRAMS", 150), number(t, "AVR_SEED", 1)
	var skipped, cycles uint64
	events := 0
	for n := range uint64(programs) {
		seed := uint64(first) + n
		r := rand.New(rand.NewPCG(seed, 17))
		part := []avr.Part{avr.ATmega328P, avr.ATmega168P}[seed%4/3]
		source := anyprogram.Write(r, part.FlashWords-256)
		p, err := asm.Assemble(source)
		require.NoError(t, err, "program %d\n%s", seed, source)
		c, e, s := everyWay(t, r, chipFor(t, r, part, p.Words), seed, source)
		cycles, events, skipped = cycles+c, events+e, skipped+s
	}
	t.Logf("%d programs, %d cycles, %d events, %d naps skipped: the same every way", programs, cycles, events, skipped)
	if programs >= 100 {
		require.Positive(t, events)
		require.Positive(t, skipped)
	}
}

// chipFor is a chip with fuses and clocks by chance.
func chipFor(t *testing.T, r *rand.Rand, part avr.Part, code []uint16) *avr.MCU {
	one := func(in int) bool { return r.IntN(in) == 0 }
	chip := avr.New(avr.Config{
		Part: part, ClockHz: []uint64{16_000_000, 16_000_000, 1_000_000}[r.IntN(3)], WatchdogHz: []uint64{128_000, 128_000, 113_017}[r.IntN(3)],
		Fuses: avr.Fuses{
			StartupCycles: []uint32{6, 6, 6, 258, 16384}[r.IntN(5)], BODMillivolts: []uint16{0, 2700}[r.IntN(2)], BootWords: 256,
			WatchdogOn: one(16), CKDIV8: one(16), BootReset: one(60),
		},
	})
	require.NoError(t, chip.LoadWords(code))
	chip.Scramble(r.Uint64())
	return chip
}

const (
	stopsOfAProgram = 5
	mostSteps       = 1000   // between two stops; a step may be a long sleep
	enoughEvents    = 20_000 // of one program: a fast timer on a pin tells as much in a moment
)

func everyWay(t *testing.T, r *rand.Rand, chip *avr.MCU, seed uint64, source string) (cycles uint64, events int, skipped uint64) {
	first := &world{chance: seed}
	if r.IntN(3) > 0 {
		chip.SetAlarm(r.Uint64N(20_000))
	}
	all, plain := avr.Options{}, plainly
	if r.IntN(4) == 0 {
		all.Strict = avr.Strict{EEPROM: true, StackFloor: 0x100 + uint16(r.IntN(0x800))}
		plain.Strict = all.Strict
	}
	fast, fastWorld := around(chip, all, first)
	slow, slowWorld := around(chip, plain, first)
	step, stepWorld := around(chip, plain, first)
	_, besideWorld := around(chip, all, first)
	for stop := range stopsOfAProgram {
		what := fmt.Sprintf("program %d, stop %d", seed, stop)
		limit := slow.Cycle() + 1 + r.Uint64N([]uint64{60, 1_000, 8_000, 40_000}[r.IntN(4)])
		if slow.Stats().Asleep > slow.Stats().Awake {
			limit += r.Uint64N(25_000_000)
		}
		want := slowWorld.run(limit)
		agree(t, what, source, want, slowWorld, fastWorld.run(limit), fastWorld)
		reason := stepWorld.stepTo(limit)
		reached := step.Cycle()
		if reason == avr.StopIllegal {
			reached++ // it takes no time: Run meets it on the way to a later cycle
		}
		agree(t, what+", step by step", source, besideWorld.run(reached), besideWorld, reason, stepWorld)
		switch r.IntN(4) {
		case 0: // goes on in a fork
			skipped += fast.SkippedNaps()
			fast, fastWorld = around(fast, all, fastWorld)
		case 1: // comes back to where it is
			before, told := fast.Snapshot(), *fastWorld
			fast.RunFor(1 + r.Uint64N(2000))
			fast.Restore(before)
			*fastWorld = told
		case 2: // the plain one goes on in a fork, and from a snapshot
			slow, slowWorld = around(slow, plain, slowWorld)
			slow.Restore(fast.Snapshot())
		}
		if want != avr.StopLimit || slowWorld.count > enoughEvents {
			break
		}
	}
	return slow.Cycle(), slowWorld.count, skipped + fast.SkippedNaps()
}

// run is Run that goes on when the world has stopped the chip, and notes when.
func (w *world) run(limit uint64) avr.StopReason {
	for {
		reason := w.m.Run(limit)
		if reason != avr.StopCalled {
			return reason
		}
		w.add(14, 0, 0, 0)
	}
}

// stepTo goes step by step.
func (w *world) stepTo(limit uint64) avr.StopReason {
	moved := true
	for n := 0; (n < mostSteps || !moved) && w.m.Cycle() < limit; n++ { // Run ends before what is due at its limit
		from := w.m.Cycle()
		switch reason := w.m.Step(); reason {
		case avr.StopLimit:
		case avr.StopCalled:
			w.add(14, 0, 0, 0)
		default:
			return reason
		}
		moved = w.m.Cycle() > from
	}
	return avr.StopLimit
}

func agree(t *testing.T, what, source string, wantReason avr.StopReason, wantWorld *world, reason avr.StopReason, gotWorld *world) {
	t.Helper()
	want, got := wantWorld.m, gotWorld.m
	wantState, gotState := *wantWorld, *gotWorld
	wantState.m, gotState.m = nil, nil
	if reason != wantReason || want.Cycle() != got.Cycle() || want.Hash() != got.Hash() || wantState != gotState {
		t.Fatalf("%s\n%v, cycle %d, PC %#x, SREG %02x, SP %x, %v, %+v\nwant\n%v, cycle %d, PC %#x, SREG %02x, SP %x, %v, %+v\nstates %s\n%s", what,
			reason, got.Cycle(), got.PC(), got.SREG(), got.SP(), got.Regs(), gotState,
			wantReason, want.Cycle(), want.PC(), want.SREG(), want.SP(), want.Regs(), wantState, differing(want, got), source)
	}
}

// differing names the data addresses that differ.
func differing(a, b *avr.MCU) (s string) {
	for addr := range uint16(0x900) {
		if x, y := a.Peek(addr), b.Peek(addr); x != y {
			s += fmt.Sprintf("%#x: %02x, %02x; ", addr, x, y)
		}
	}
	return s
}

func number(t *testing.T, name string, otherwise int) int {
	text := os.Getenv(name)
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err, name)
	return n
}
