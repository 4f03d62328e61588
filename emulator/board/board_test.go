package board_test

import (
	"math"
	"testing"
	"time"

	"mealtab/emulator/avr"
	"mealtab/emulator/avr/asm"
	"mealtab/emulator/board"
	"mealtab/firmware-template/image"
)

// bare returns a board that runs an assembler program from the end of its start-up on.
func bare(t *testing.T, source string, adjust ...func(*board.Config)) *board.Board {
	t.Helper()
	p, err := asm.Assemble(source)
	if err != nil {
		t.Fatal(err)
	}
	c, err := board.ForBoard("m328-mains")
	if err != nil {
		t.Fatal(err)
	}
	c.Fuses.BODMillivolts = 2700 // what a servo does at low volts is looked at here, and not the fuses that the firmware wants
	for _, f := range adjust {
		f(&c)
	}
	b, err := board.New(c)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.MCU().LoadWords(p.Words); err != nil {
		t.Fatal(err)
	}
	return b
}

// feeder returns a board with the shipped firmware, five pockets at 07:00, at 06:30 of 1 June 2027.
func feeder(t *testing.T, adjust ...func(*board.Config)) *board.Board {
	t.Helper()
	hex, ok := image.Hex("m328-mains")
	if !ok {
		t.Fatal("there is no image of m328-mains")
	}
	img, err := avr.ReadImage(hex)
	if err != nil {
		t.Fatal(err)
	}
	b := bare(t, "nop", append([]func(*board.Config){func(c *board.Config) {
		c.Firmware, c.Start = img, time.Date(2027, 6, 1, 6, 30, 0, 0, time.UTC)
	}}, adjust...)...)
	if err := b.MCU().Load(img); err != nil {
		t.Fatal(err)
	}
	b.SetClock(b.Now())
	if err := b.Program(breakfast(5)); err != nil {
		t.Fatal(err)
	}
	return b
}

// heard collects events of some kinds.
func heard(b *board.Board, kinds ...board.Kind) *[]board.Event {
	var list []board.Event
	b.Observe(func(e board.Event) {
		for _, k := range kinds {
			if e.Kind == k {
				list = append(list, e)
			}
		}
	})
	return &list
}

// spin turns the servo by PB1 with pulses of 1 ms + r18/8 µs … bit-banged, the servo's supply on.
const spin = `
	sbi DDRB, 1
	sbi DDRD, 7
	sbi PORTD, 7        ; supply on
again:	sbi PORTB, 1
	ldi r24, lo8(PULSE) ; four cycles a round, 0.25 us
	ldi r25, hi8(PULSE)
high:	sbiw r24, 1
	brne high
	cbi PORTB, 1
	ldi r26, 0x00      ; about 20 ms: 80,000 rounds of four cycles
	ldi r27, 0x80
low:	sbiw r26, 1
	nop
	nop
	nop
	nop
	nop
	nop
	brne low
	rjmp again
`

// TestServo: 1.5 ms stop, longer one way, shorter the other; full speed at 200 us from there [servo makers' sheets]; a
// pocket takes Turn.
func TestServo(t *testing.T) {
	for _, c := range []struct {
		name   string
		rounds string  // of 0.25 us
		speed  float64 // pockets in a second
	}{
		{"stop", "6000", 0}, {"forward", "6800", 1 / 0.31}, {"backward", "5200", -1 / 0.31},
		{"half", "6400", 0.5 / 0.31}, {"saturated", "8000", 1 / 0.31},
	} {
		b := bare(t, ".equ PULSE, "+c.rounds+spin)
		b.Run(time.Second)
		from := b.Angle()
		b.Run(2 * time.Second)
		if got := (b.Angle() - from) / 2; math.Abs(got-c.speed) > 0.05 {
			t.Errorf("%s: %.3f pockets a second, want %.3f", c.name, got, c.speed)
		}
	}
}

// TestServoFollowsSupplyAndLoad: speed goes with the voltage and falls with the load.
func TestServoFollowsSupplyAndLoad(t *testing.T) {
	turn := func(f func(*board.Config)) float64 {
		b := bare(t, ".equ PULSE, 6800"+spin, f)
		b.Run(3 * time.Second)
		return b.Angle()
	}
	full := turn(func(*board.Config) {})
	low := turn(func(c *board.Config) { c.Supply.Millivolts = 4000 })
	loaded := turn(func(c *board.Config) { c.Wheel.Load = 0.3 })
	if math.Abs(low/full-0.8) > 0.01 || math.Abs(loaded/full-0.7) > 0.01 {
		t.Errorf("at 4 V %.3f of the turn, want 0.8; at 30 %% load %.3f, want 0.7", low/full, loaded/full)
	}
}

// TestPocketMass: a thousand pockets have the mean and the spread that were asked for, and the hopper loses their sum.
func TestPocketMass(t *testing.T) {
	b := bare(t, ".equ PULSE, 6800"+spin, func(c *board.Config) { c.Wheel.HopperMg = 1e8 })
	list := heard(b, board.PocketFell)
	b.Run(311 * time.Second)
	n, sum, squares := 0.0, 0.0, 0.0
	for _, e := range *list {
		n++
		sum += float64(e.Value)
		squares += float64(e.Value) * float64(e.Value)
	}
	mean := sum / n
	deviation := math.Sqrt(squares/n - mean*mean)
	// Standard errors: 310/sqrt(1000) = 10 mg of the mean, 310/sqrt(2000) = 7 mg of the deviation; five of them.
	if n < 990 || math.Abs(mean-6200) > 50 || math.Abs(deviation-310) > 35 {
		t.Errorf("%v pockets of %.0f mg, deviation %.0f; want about 1000 of 6200 and 310", n, mean, deviation)
	}
	if left := b.HopperMg(); left != 1e8-sum {
		t.Errorf("the hopper holds %.0f mg, want %.0f", left, 1e8-sum)
	}
}

// TestEmptyHopper: the last pocket holds what is left, the next ones nothing.
func TestEmptyHopper(t *testing.T) {
	b := bare(t, ".equ PULSE, 6800"+spin, func(c *board.Config) { c.Wheel.HopperMg, c.Wheel.Spread = 15000, 0 })
	list := heard(b, board.PocketFell)
	b.Run(1500 * time.Millisecond)
	want := []int64{6200, 6200, 2600, 0}
	for i, e := range (*list)[:4] {
		if e.Value != want[i] {
			t.Errorf("pocket %d holds %d mg, want %d", i+1, e.Value, want[i])
		}
	}
}

// TestJams: a jam stops the wheel and stalls the servo, which the supply feels; turning back frees kibble only.
func TestJams(t *testing.T) {
	b := bare(t, ".equ PULSE, 6800"+spin)
	b.Jam(1.2, true)
	b.Run(2 * time.Second)
	if a := b.Angle(); a != 1.2 {
		t.Errorf("the wheel stands at %.3f, want 1.2", a)
	}
	if mv := b.Millivolts(); mv != 4900 { // 1 A over 0.1 ohm
		t.Errorf("the stalled servo leaves %d mV, want 4900", mv)
	}
	back := b.Fork()
	if err := back.MCU().LoadWords(mustAssemble(t, ".equ PULSE, 5200"+spin)); err != nil {
		t.Fatal(err)
	}
	back.Run(time.Second)
	if back.Angle() > 0 {
		t.Errorf("turning back leaves the wheel at %.3f", back.Angle())
	}
	b.Unjam()
	b.Run(time.Second)
	if b.Angle() < 3 {
		t.Errorf("freed, the wheel stands at %.3f", b.Angle())
	}
}

func mustAssemble(t *testing.T, source string) []uint16 {
	p, err := asm.Assemble(source)
	if err != nil {
		t.Fatal(err)
	}
	return p.Words
}

// TestCellsSag: three cells at 3.3 V with 0.45 ohm under a running servo: 180 mA at 5 V and 85 % are 1.06 W, which is
// 0.37 A at 3.14 V.
func TestCellsSag(t *testing.T) {
	c, err := board.ForBoard("m328-cells")
	if err != nil {
		t.Fatal(err)
	}
	cells := c.Supply
	b := bare(t, ".equ PULSE, 6800"+spin, func(c *board.Config) {
		c.Supply = cells
		c.SetVolts(3.3)
	})
	if b.Millivolts() != 3300 {
		t.Errorf("without load %d mV, want 3300", b.Millivolts())
	}
	b.Run(time.Second)
	if mv := b.Millivolts(); mv < 3125 || mv > 3155 {
		t.Errorf("under load %d mV, want about 3140", mv)
	}
	b.Run(time.Hour)
	if used := b.UsedMAh(); used < 320 || used > 360 {
		t.Errorf("an hour took %.0f mAh, want about 340", used)
	}
}

// TestBounce: a press closes the contact an odd number of times within 6 ms, and releases after its time.
func TestBounce(t *testing.T) {
	seen := map[int]bool{}
	for seed := range uint64(20) {
		b := bare(t, "again: rjmp again", func(c *board.Config) { c.Seed = seed })
		b.Run(100 * time.Millisecond)
		list := heard(b, board.ButtonContact, board.Button)
		start := b.Nanos()
		b.Press(board.ButtonFeed, 300*time.Millisecond)
		b.Run(time.Second)
		edges, settled := 0, []board.Event{}
		for _, e := range *list {
			if e.Kind == board.Button {
				settled = append(settled, e)
			} else if len(settled) == 0 {
				edges++
			}
		}
		seen[edges] = true
		if len(settled) != 2 || settled[0].Value != 1 || settled[1].Value != 0 || edges%2 != 1 {
			t.Fatalf("seed %d: %d edges, settled %v", seed, edges, settled)
		}
		if after := settled[0].At - start; after > 6_000_000 {
			t.Errorf("seed %d: settled after %d ns", seed, after)
		}
		if held := settled[1].At - start; held < 299_000_000 || held > 307_000_000 {
			t.Errorf("seed %d: released after %d ns, want 300 ms and a bounce", seed, held)
		}
	}
	if len(seen) < 3 {
		t.Errorf("only %d kinds of bounce in 20 seeds", len(seen))
	}
}

// TestFeederServes is the whole thing: the meal comes at its minute.
func TestFeederServes(t *testing.T) {
	b := feeder(t)
	list := heard(b, board.TurnStarted, board.TurnEnded)
	b.Run(time.Hour)
	if len(*list) != 2 || (*list)[1].Value != 5 {
		t.Fatalf("events %v, want one turn of 5 pockets", *list)
	}
	if late := b.Time((*list)[0].At).Sub(time.Date(2027, 6, 1, 7, 0, 0, 0, time.UTC)); late < 0 || late > 500*time.Millisecond {
		t.Errorf("the wheel starts %v after the minute", late)
	}
}

// TestShortcutsLeaveNoTrace: with all shortcuts of the emulator off, state, cycles and servings are the same.
func TestShortcutsLeaveNoTrace(t *testing.T) {
	run := func(o avr.Options) (hash [32]byte, cycle uint64, pockets int64, events []board.Event) {
		b := feeder(t, func(c *board.Config) { c.Options = o })
		list := heard(b, board.PocketFell, board.ServoPulse, board.BusByte, board.Light, board.ClockInt)
		b.Run(35 * time.Minute)
		b.Press(board.ButtonFeed, 150*time.Millisecond)
		b.Run(15 * time.Minute)
		return b.Hash(), b.MCU().Cycle(), b.Pockets(), *list
	}
	hash, cycle, pockets, events := run(avr.Options{})
	for name, o := range map[string]avr.Options{
		"polls": {NoPollSkip: true}, "naps": {NoNapSkip: true}, "fused pairs": {NoFuse: true},
		"all": {NoPollSkip: true, NoNapSkip: true, NoFuse: true},
	} {
		h, c, p, e := run(o)
		if h != hash || c != cycle || p != pockets || len(e) != len(events) {
			t.Errorf("without skipping %s: cycle %d, %d pockets, %d events, equal state %v; want %d, %d, %d", name, c, p, len(e), h == hash, cycle, pockets, len(events))
		}
		for i := range e {
			if e[i] != events[i] {
				t.Fatalf("without skipping %s event %d is %v at %d, want %v at %d", name, i, e[i], e[i].At, events[i], events[i].At)
			}
		}
	}
	if pockets != 6 {
		t.Errorf("%d pockets, want 6", pockets)
	}
}

// TestNapsOfDays: two days, some 21,000 naps, of which most are skipped: state, cycles and counts are those of a run that
// skips none.
func TestNapsOfDays(t *testing.T) {
	skip, each := feeder(t), feeder(t, func(c *board.Config) { c.Options.NoNapSkip = true })
	skip.Run(48 * time.Hour)
	each.Run(48 * time.Hour)
	if skip.Hash() != each.Hash() {
		t.Error("the states differ")
	}
	a, b := skip.MCU().Stats(), each.MCU().Stats()
	if a != b || a.Wakes < 20_000 {
		t.Errorf("counts %+v, without skipping %+v", a, b)
	}
}

// TestForkAndRestore: a fork and a restored board go on as the original does; none disturbs another.
func TestForkAndRestore(t *testing.T) {
	b := feeder(t)
	b.RunUntil(time.Date(2027, 6, 1, 7, 0, 0, 700_000_000, time.UTC)) // in mid-turn
	s := b.Snapshot()
	fork := b.Fork()
	want := b.Hash()
	if fork.Hash() != want {
		t.Fatal("the fork differs at once")
	}
	b.Press(board.ButtonFeed, time.Second)
	b.Run(time.Hour)
	after := b.Hash()
	if fork.Hash() != want {
		t.Fatal("the original's future changed the fork")
	}
	fork.Press(board.ButtonFeed, time.Second)
	fork.Run(time.Hour)
	if fork.Hash() != after {
		t.Error("the fork went another way")
	}
	b.Restore(s)
	if b.Hash() != want {
		t.Fatal("restored, the board differs")
	}
	b.Press(board.ButtonFeed, time.Second)
	b.Run(time.Hour)
	if b.Hash() != after {
		t.Error("restored, the board went another way")
	}
}

// TestSeedsDiffer: another seed, another mass; the same seed, the same.
func TestSeedsDiffer(t *testing.T) {
	mass := func(seed uint64) (list []int64) {
		b := feeder(t, func(c *board.Config) { c.Seed = seed })
		events := heard(b, board.PocketFell)
		b.Run(time.Hour)
		for _, e := range *events {
			list = append(list, e.Value)
		}
		return list
	}
	a, again, other := mass(1), mass(1), mass(2)
	if len(a) != 5 || a[0] != again[0] || a[4] != again[4] || a[0] == other[0] {
		t.Errorf("masses %v, again %v, another seed %v", a, again, other)
	}
}
