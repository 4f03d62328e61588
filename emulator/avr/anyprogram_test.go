package avr_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/avr"
	"mealtab/emulator/avr/asm"
)

// stream is a digest of all that a chip tells its board, with the cycles.
type stream struct {
	sum   uint64
	count int
	m     *avr.MCU
}

func (s *stream) add(kind, a, b, c uint64) {
	for _, x := range [...]uint64{kind, s.m.Cycle(), a, b, c} { // FNV-1a, eight octets at a time
		s.sum = (s.sum ^ x) * 0x100000001b3
		s.sum ^= s.sum >> 29
	}
	s.count++
}

// listen goes on from a chip in a fork whose events are all noted. Sleep is not: a chip that is to tell each nap skips none.
func listen(from *avr.MCU, o avr.Options, before stream) (*avr.MCU, *stream) {
	s := &stream{sum: before.sum, count: before.count}
	s.m = from.Fork(s.hooks())
	s.m.SetOptions(o)
	return s.m, s
}

func (s *stream) hooks() avr.Hooks {
	return avr.Hooks{
		Pins: func(p avr.Port) {
			s.add(1, uint64(p), uint64(s.m.Peek(avr.PORTB)), uint64(s.m.Peek(avr.DDRB)))
		},
		Transmit: func(f avr.Frame) { s.add(2, uint64(f.Data), f.BitCycles, f.Start) },
		Analog:   func(ch uint8) uint16 { s.add(3, uint64(ch), 0, 0); return 100 * uint16(ch) },
		Reset:    func(cause uint8) { s.add(4, uint64(cause), 0, 0) },
		EEPROMWrite: func(a uint16, old, now uint8, end uint64) {
			s.add(5, uint64(a), uint64(old)<<8|uint64(now), end)
		},
		Violation: func(v avr.Violation) { s.add(6, uint64(v.Rule)<<16|uint64(v.Addr), uint64(v.PC), v.Cycle) },
	}
}

// TestAnyProgramEveryWay: random programs are the same with all shortcuts, with none, step by step, in a fork, and brought back by a
// snapshot, at each stop, and
// tell their boards the same at the same cycles. AVR_PROGRAMS says how many, AVR_SEED which come first.
func TestAnyProgramEveryWay(t *testing.T) {
	programs, first := number(t, "AVR_PROGRAMS", 150), number(t, "AVR_SEED", 1)
	var skipped, cycles uint64
	events := 0
	for n := range uint64(programs) {
		seed := uint64(first) + n
		r := rand.New(rand.NewPCG(seed, 17))
		source := randomProgram(r)
		p, err := asm.Assemble(source)
		require.NoError(t, err, "program %d\n%s", seed, source)
		c, e, s := everyWay(t, r, p.Words, seed, source)
		cycles, events, skipped = cycles+c, events+e, skipped+s
	}
	t.Logf("%d programs, %d cycles, %d events, %d naps skipped: the same every way", programs, cycles, events, skipped)
	require.Positive(t, events)
	require.Positive(t, skipped)
}

const (
	stopsOfAProgram = 5
	mostSteps       = 1000 // between two stops; a step may be a long sleep
)

func everyWay(t *testing.T, r *rand.Rand, code []uint16, seed uint64, source string) (cycles uint64, events int, skipped uint64) {
	chip := avr.New(avr.Config{Part: []avr.Part{avr.ATmega328P, avr.ATmega168P}[seed%4/3], Fuses: avr.Fuses{StartupCycles: 6}})
	require.NoError(t, chip.LoadWords(code))
	chip.Scramble(seed)
	all, allSaid := listen(chip, avr.Options{}, stream{})
	none, noneSaid := listen(chip, plainly, stream{})
	step, stepSaid := listen(chip, plainly, stream{})
	beside, besideSaid := listen(chip, avr.Options{}, stream{})
	for stop := range stopsOfAProgram {
		what := fmt.Sprintf("program %d, stop %d", seed, stop)
		limit := none.Cycle() + 1 + r.Uint64N([]uint64{60, 1_000, 8_000, 40_000}[r.IntN(4)])
		if none.Stats().Asleep > none.Stats().Awake {
			limit += r.Uint64N(25_000_000)
		}
		want := none.Run(limit)
		agree(t, what, source, want, none, noneSaid, all.Run(limit), all, allSaid)
		reason, moved := avr.StopLimit, true
		for n := 0; (n < mostSteps || !moved) && step.Cycle() < limit && reason == avr.StopLimit; n++ { // Run ends before what is due at its limit
			from := step.Cycle()
			reason = step.Step()
			moved = step.Cycle() > from
		}
		reached := step.Cycle()
		if reason == avr.StopIllegal {
			reached++ // it takes no time: Run meets it on the way to a later cycle
		}
		agree(t, what+", step by step", source, beside.Run(reached), beside, besideSaid, reason, step, stepSaid)
		switch r.IntN(4) {
		case 0: // goes on in a fork
			skipped += all.SkippedNaps()
			all, allSaid = listen(all, avr.Options{}, *allSaid)
		case 1: // comes back to where it is
			before, said := all.Snapshot(), *allSaid
			all.RunFor(1 + r.Uint64N(2000))
			all.Restore(before)
			allSaid.sum, allSaid.count = said.sum, said.count
		}
		if want != avr.StopLimit {
			break
		}
	}
	return none.Cycle(), noneSaid.count, skipped + all.SkippedNaps()
}

func agree(t *testing.T, what, source string, wantReason avr.StopReason, want *avr.MCU, wantSaid *stream, reason avr.StopReason, got *avr.MCU, said *stream) {
	t.Helper()
	if reason != wantReason || want.Cycle() != got.Cycle() || want.Hash() != got.Hash() || wantSaid.sum != said.sum {
		t.Fatalf("%s\n%v, cycle %d, PC %#x, SREG %02x, %d events %x, %v\nwant\n%v, cycle %d, PC %#x, SREG %02x, %d events %x, %v\n%s", what,
			reason, got.Cycle(), got.PC(), got.SREG(), said.count, said.sum, got.Regs(),
			wantReason, want.Cycle(), want.PC(), want.SREG(), wantSaid.count, wantSaid.sum, want.Regs(), source)
	}
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
