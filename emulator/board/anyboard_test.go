package board_test

import (
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/profile"
	"mealtab/emulator/avr"
	"mealtab/emulator/avr/anyprogram"
	"mealtab/emulator/avr/asm"
	"mealtab/emulator/board"
	"mealtab/firmware-template/image"
)

// witness is a board with a digest of all its events.
type witness struct {
	*board.Board
	sum   uint64
	count int
}

func (w *witness) watch() *witness {
	w.Observe(func(e board.Event) {
		h := fnv.New64a()
		fmt.Fprint(h, w.sum, e.At, e.Kind, e.Arg, e.Value, e.Text)
		w.sum = h.Sum64()
		w.count++
	}, board.Asleep)
	return w
}

func (w *witness) fork() *witness {
	return (&witness{Board: w.Fork(), sum: w.sum, count: w.count}).watch()
}

// TestAnyBoardEveryWay: boards with random programs or their own firmware, to which things happen by chance, are the same with all
// shortcuts of the emulator, with none, in forks, and brought back by snapshots, and so are their events. BOARD_RUNS says how many,
// BOARD_SEED which come first.
func TestAnyBoardEveryWay(t *testing.T) {
	number := func(name string, otherwise uint64) uint64 {
		if text := os.Getenv(name); text != "" {
			n, err := strconv.ParseUint(text, 10, 64)
			require.NoError(t, err, name)
			return n
		}
		return otherwise
	}
	runs, first := number("BOARD_RUNS", 30), number("BOARD_SEED", 1)
	events, served := 0, int64(0)
	for seed := first; seed < first+runs; seed++ {
		e, s := everyBoard(t, seed)
		events, served = events+e, served+s
	}
	t.Logf("%d boards, %d events, %d pockets: the same every way", runs, events, served)
	if runs >= 30 {
		require.Positive(t, served)
	}
}

func everyBoard(t *testing.T, seed uint64) (events int, pockets int64) {
	r := rand.New(rand.NewPCG(seed, 23))
	firmware := r.IntN(3) > 0
	c, number, source := anyBoard(t, r, firmware)
	fast := anew(t, c, number, source)
	c.Options = avr.Options{NoFuse: true, NoPollSkip: true, NoNapSkip: true}
	slow := anew(t, c, number, source)
	for stop := range 8 {
		longest := 200 * time.Millisecond
		if firmware {
			longest = []time.Duration{time.Second, 20 * time.Second, 3 * time.Minute}[r.IntN(3)]
		}
		length := time.Duration(r.Int64N(int64(longest)))
		want, got := slow.Run(length), fast.Run(length)
		require.Equal(t, want, got, "board %d, stop %d", seed, stop)
		alike(t, slow, fast, "board %d, stop %d\n%s", seed, stop, source)
		switch r.IntN(3) {
		case 0:
			fast = fast.fork()
		case 1: // something else happens, and then it has not
			before, sum, count := fast.Snapshot(), fast.sum, fast.count
			happen(r, fast.Board)
			fast.Run(time.Duration(r.Int64N(int64(longest))))
			fast.Restore(before)
			fast.sum, fast.count = sum, count
			alike(t, slow, fast, "board %d, stop %d, brought back\n%s", seed, stop, source)
		}
		a, b := r.Uint64(), r.Uint64() // the same happens to both
		happen(rand.New(rand.NewPCG(a, b)), slow.Board)
		happen(rand.New(rand.NewPCG(a, b)), fast.Board)
		alike(t, slow, fast, "board %d, stop %d, after what happened\n%s", seed, stop, source)
	}
	return slow.count, slow.Pockets()
}

// anyBoard is a board's configuration, its number in tables, and a program; "" if it has the firmware.
func anyBoard(t *testing.T, r *rand.Rand, firmware bool) (c board.Config, number uint8, source string) {
	t.Helper()
	name := []string{"m328-mains", "m328-cells", "m168-mains"}[r.IntN(3)]
	p, err := profile.Load(name)
	require.NoError(t, err)
	c = board.ForProfile(p)
	c.Seed, c.Start = r.Uint64(), time.Date(2027, 6, 1, 6, 59, 0, 0, time.UTC)
	c.Oscillator = board.Oscillator{PC: float64(r.IntN(5) - 2), PCPerVolt: float64(r.IntN(2))}
	c.ClockDriftPPB = r.Int64N(40_000) - 20_000
	if c.Supply.Cells == 0 {
		c.Supply.MilliOhms = float64(r.IntN(800))
	}
	if r.IntN(4) == 0 { // sensors that the firmware may not expect
		c.Wheel.Index, c.Wheel.Barrier = r.IntN(2) == 0, r.IntN(2) == 0
	}
	if !firmware {
		return c, p.Code, anyprogram.Write(r, c.Part.FlashWords-c.Fuses.BootWords)
	}
	hex, ok := image.Hex(name)
	require.True(t, ok, name)
	c.Firmware, err = avr.ReadImage(hex)
	require.NoError(t, err)
	return c, p.Code, ""
}

func anew(t *testing.T, c board.Config, number uint8, source string) *witness {
	t.Helper()
	b, err := board.New(c)
	require.NoError(t, err)
	if source != "" {
		p, err := asm.Assemble(source)
		require.NoError(t, err)
		require.NoError(t, b.MCU().LoadWords(p.Words))
	}
	b.SetClock(b.Now())
	require.NoError(t, b.Program(breakfastOf(number, 5)))
	return (&witness{Board: b}).watch()
}

// happen is one thing that happens to a board.
func happen(r *rand.Rand, b *board.Board) {
	on := r.IntN(2) == 0
	switch r.IntN(26) {
	case 0, 1:
		b.Press(r.IntN(3), time.Duration(r.Int64N(int64(8*time.Second))))
	case 2:
		b.PowerOff()
		b.Run(time.Duration(r.Int64N(int64(time.Second))))
		b.PowerOn()
	case 3:
		b.Reset()
	case 4:
		b.SetSource(uint16(2400+r.IntN(2700)), float64(r.IntN(800)))
	case 5:
		b.Jam(r.Float64(), on)
	case 6:
		b.Unjam()
	case 7:
		b.HoldSDA(on, r.IntN(10))
	case 8:
		b.Silence(on)
	case 9:
		b.CutInt(on)
	case 10:
		b.StepClock(time.Duration(r.Int64N(int64(20*time.Minute))) - 10*time.Minute)
	case 11, 12:
		data := make([]byte, r.IntN(20))
		for i := range data {
			data[i] = uint8(r.Uint32())
		}
		b.SendAt(b.Nanos()+r.Uint64N(1e9), []int{b.Baud(), b.Baud(), 9600}[r.IntN(3)], data)
	case 13:
		b.SetTemperature(int16(r.IntN(200) - 40))
	case 14:
		b.SetIndex([]board.Contact{board.ContactGood, board.NeverCloses, board.NeverOpens}[r.IntN(3)])
	case 15:
		b.SetBeam([]board.Beam{board.BeamBlind, board.BeamDark}[r.IntN(2)])
	case 16:
		b.SetPace(0.8 + r.Float64()/2)
	case 17:
		b.UnplugServo(on)
	case 18:
		b.Bridge(int64(r.IntN(4)))
	case 19:
		b.SetOscillator(board.Oscillator{PC: r.Float64()*6 - 3})
	case 20:
		b.StopCrystal(on)
	case 21:
		b.SetBackup(on)
	case 22:
		b.RemoveMemory(on)
	case 23:
		b.ShortInt(on)
	case 24:
		b.SetIndexBounce(r.Float64() * 10)
	case 25:
		b.SetLimit(board.Limit{MA: float64(300 + r.IntN(800))})
	}
}

func alike(t *testing.T, want, got *witness, format string, args ...any) {
	t.Helper()
	if want.Hash() != got.Hash() || want.sum != got.sum || want.MCU().Cycle() != got.MCU().Cycle() {
		t.Fatalf("cycle %d, PC %#x, %d events %x, want %d, PC %#x, %d events %x: "+format, append([]any{
			got.MCU().Cycle(), got.MCU().PC(), got.count, got.sum, want.MCU().Cycle(), want.MCU().PC(), want.count, want.sum}, args...)...)
	}
}
