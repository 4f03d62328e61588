package check

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/firmware-template/image"
	"mealtab/flasher/frame"
)

// feeder is a board on which the wheel is watched.
type feeder struct {
	t testing.TB
	*board.Board
	answers  answers
	sequence byte // of the last request
}

// newFeeder is a board with an image of its own, a clock that is set to noon, and a serving of so many pockets every hour from
// 12:10 on. It has just been switched on.
func newFeeder(t testing.TB, name string, pockets int, change func(*board.Config)) *feeder {
	t.Helper()
	return newFeederTurning(t, name, pockets, 310*time.Millisecond, change)
}

// newFeederTurning takes the time of a pocket too.
func newFeederTurning(t testing.TB, name string, pockets int, turn time.Duration, change func(*board.Config)) *feeder {
	t.Helper()
	p, ok := profile.Named(name)
	require.True(t, ok)
	text, ok := image.Hex(name)
	require.True(t, ok, "image %s", name)
	img, err := avr.ReadImage(text)
	require.NoError(t, err)
	return newFeederOn(t, p, img, pockets, turn, change)
}

// newFeederOn is newFeederTurning for a board and an image in hand.
func newFeederOn(t testing.TB, p *profile.Profile, img *avr.Image, pockets int, turn time.Duration, change func(*board.Config)) *feeder {
	t.Helper()
	c := board.ForProfile(p)
	c.Firmware = img
	c.Start = boardStart
	c.Options.Strict.EEPROM = true
	c.Wheel.Turn = turn
	if change != nil {
		change(&c)
	}
	tab := slowTable()
	tab.Board, tab.Zone, tab.Late = p.Code, table.Zone{}, table.DefaultLate
	tab.Wheel.TurnMillis = uint32(turn.Milliseconds())
	var times []uint16
	for minute := uint16(10); minute < 24*60; minute += 60 {
		times = append(times, minute)
	}
	tab.Meals = []table.Meal{{Portion: uint32(pockets), Parts: []table.Part{{Times: table.Times{List: times}}}}}
	encoded, err := table.Encode(tab)
	require.NoError(t, err)
	b, err := board.New(c)
	require.NoError(t, err)
	require.NoError(t, b.Program(encoded))
	b.SetClock(boardStart)
	b.PowerOn()
	f := &feeder{t: t, Board: b}
	b.Observe(f.answers.see)
	b.Run(5 * time.Minute)
	return f
}

// faults asks for the fault bits.
func (f *feeder) faults() uint16 {
	f.t.Helper()
	f.answers.last = nil
	for range 3 { // a knock may meet a flash
		ask(f.Board, frame.Status)
		if len(f.answers.last) > 0 {
			break
		}
	}
	require.NotEmpty(f.t, f.answers.last)
	payload, status := frame.Response(f.answers.last)
	require.Equal(f.t, frame.OK, status)
	return uint16(frame.MessageNamed("STATUS").Number(payload, "FAULTS"))
}

// latched are the faults that the journal keeps.
func (f *feeder) latched() int {
	f.t.Helper()
	eeprom := f.MCU().EEPROM()
	m, ok := table.MapFor(len(eeprom))
	require.True(f.t, ok)
	newest, ok := table.NewestJournal(eeprom, m)
	require.True(f.t, ok)
	return newest.Faults
}

// Wherever the wheel meets a jam that stays, an index switch finds it: what fell is what the wheel could turn, nothing counts twice
// at the index that is passed as it is backed out, and the fault is shown.
func TestSolidJamAtAnyPhase(t *testing.T) {
	for _, name := range []string{"m328-index", "m328-both"} {
		for step := 0; step <= 40; step++ {
			phase := float64(step) * 0.05
			t.Run(fmt.Sprintf("%s %.2f", name, phase), func(t *testing.T) {
				t.Parallel()
				f := newFeeder(t, name, 3, nil)
				f.Jam(phase, false)
				f.Run(8 * time.Minute)
				require.InDelta(t, phase, float64(f.Pockets()), 1)
				require.NotZero(t, f.faults()&table.FaultBitJam, "faults %04X", f.faults())
				require.False(t, f.BoostOn())
			})
		}
	}
}

// A jam of kibble comes free as the wheel is backed out, and then not a pocket is lost or given twice.
func TestKibbleJamAtAnyPhase(t *testing.T) {
	for _, turn := range []time.Duration{200 * time.Millisecond, 310 * time.Millisecond, 800 * time.Millisecond} {
		for step := 0; step <= 60; step++ {
			phase := float64(step) * 0.05
			t.Run(fmt.Sprintf("%v %.2f", turn, phase), func(t *testing.T) {
				t.Parallel()
				f := newFeederTurning(t, "m328-index", 4, turn, nil)
				f.Jam(phase, true)
				f.Run(8 * time.Minute)
				require.EqualValues(t, 4, f.Pockets())
				require.Zero(t, f.faults())
				f.Run(2 * time.Hour)
				require.EqualValues(t, 12, f.Pockets())
			})
		}
	}
}

// An index switch that never closes or never opens: the wheel turns by time, at most one pocket too far while that is found out, and
// by the switch again when it is mended.
func TestBrokenIndexSwitch(t *testing.T) {
	for _, contact := range []board.Contact{board.NeverCloses, board.NeverOpens} {
		for _, pockets := range []int{1, 2, 3, 9} {
			t.Run(fmt.Sprintf("%d %d pockets", contact, pockets), func(t *testing.T) {
				t.Parallel()
				f := newFeeder(t, "m328-index", pockets, nil)
				f.SetIndex(contact)
				const servings = 20
				for n := 1; n <= servings; n++ {
					f.Run(time.Hour)
					require.InDelta(t, n*pockets, float64(f.Pockets()), 1, "after %d servings", n)
					require.NotZero(t, f.latched()&table.FaultBitSwitch, "faults %04X", f.latched())
				}
				f.SetIndex(board.ContactGood)
				f.Run(time.Hour)
				before := f.Pockets()
				f.SetPace(0.8) // by time it would be less
				f.Run(3 * time.Hour)
				require.EqualValues(t, 3*pockets, f.Pockets()-before)
			})
		}
	}
}

// A worn switch bounces for 20 ms at each edge: no pocket counts twice.
func TestBouncingIndexSwitch(t *testing.T) {
	for _, millis := range []float64{1, 5, 20} {
		f := newFeeder(t, "m328-index", 5, nil)
		f.SetIndexBounce(millis)
		for n := 1; n <= 10; n++ {
			f.Run(time.Hour)
			require.EqualValues(t, 5*n, f.Pockets(), "%v ms", millis)
		}
	}
}

// A barrier that works leaves all as it was; one that is blind or dark, and an empty hopper, make nobody turn a pocket twice.
func TestLightBarrier(t *testing.T) {
	for _, name := range []string{"m328-barrier", "m328-both"} {
		for _, c := range []struct {
			what string
			do   func(*feeder)
			any  int // faults, of which one at least is shown
		}{
			{"good", func(*feeder) {}, 0},
			{"blind", func(f *feeder) { f.SetBeam(board.BeamBlind) }, table.FaultBitEmpty | table.FaultBitBarrier},
			{"dark", func(f *feeder) { f.SetBeam(board.BeamDark) }, table.FaultBitBarrier},
			{"empty hopper", func(f *feeder) { f.Refill(0) }, table.FaultBitEmpty},
		} {
			for _, pockets := range []int{1, 2, 5} {
				t.Run(fmt.Sprintf("%s %s %d", name, c.what, pockets), func(t *testing.T) {
					t.Parallel()
					f := newFeeder(t, name, pockets, nil)
					c.do(f)
					f.Run(6 * time.Hour)
					require.EqualValues(t, 6*pockets, f.Pockets())
					if c.any == 0 {
						require.Zero(t, f.faults())
					} else {
						require.NotZero(t, f.latched()&c.any, "faults %04X", f.latched())
					}
				})
			}
		}
	}
}

// A board on its internal oscillator turns whole pockets from 10 % slow to 10 % fast (the range as shipped: ATmega328P data sheet,
// section 29.4), also where the oscillator follows temperature and cells: pulses and times are scaled by the clock chip's seconds.
func TestOscillatorOff(t *testing.T) {
	for percent := -10; percent <= 10; percent += 2 {
		t.Run(fmt.Sprintf("%+d%%", percent), func(t *testing.T) {
			t.Parallel()
			f := newFeeder(t, "m328-cells", 20, func(c *board.Config) {
				c.Oscillator = board.Oscillator{PC: float64(percent), PCPerVolt: 1, PCPerKelvin: -0.05}
				c.Wheel.Detent = false
			})
			for n := range 4 {
				f.SetTemperature(int16(40 * n)) // 0 to 30 degrees
				before := f.Angle()
				f.Run(time.Hour)
				require.InDelta(t, 20, f.Angle()-before, 0.5)
			}
			require.Zero(t, f.faults())
		})
	}
}

// Other cells, or a supply beside them, make the oscillator another one: the pulses follow at the next serving, however soon it comes.
func TestOscillatorFollowsSupply(t *testing.T) {
	f := newFeeder(t, "m328-cells", 20, func(c *board.Config) {
		c.Oscillator = board.Oscillator{PC: 2, PCPerVolt: 2}
		c.Wheel.Detent = false
	})
	rose := uint64(0)
	f.Observe(func(e board.Event) {
		switch {
		case e.Kind == board.ServoPulse && e.Value == 1:
			rose = e.At
		case e.Kind == board.ServoPulse:
			width := float64(e.At-rose) / 1000
			require.InDelta(t, 0, min(math.Abs(width-1500), math.Abs(width-1700)), 10, "a pulse of %.0f us", width)
		}
	})
	for _, millivolts := range []uint16{4500, 3600} {
		f.SetSource(millivolts, -1)
		f.Run(7 * time.Minute)
		before := f.Angle()
		f.Press(board.ButtonFeed, 200*time.Millisecond)
		f.Run(time.Minute)
		require.InDelta(t, 1, f.Angle()-before, 0.2)
	}
}

// Every pulse that the servo sees is a whole one, the first and the last of a serving too.
func TestWholePulses(t *testing.T) {
	for _, name := range []string{"m328-mains", "m328-cells", "m168-mains", "m328-both"} {
		for _, turn := range []time.Duration{20 * time.Millisecond, 39 * time.Millisecond, 310 * time.Millisecond, 1500 * time.Millisecond} {
			pockets := 2
			if turn == 310*time.Millisecond {
				pockets = 12 // with a rest on the way
			}
			f := newFeederTurning(t, name, pockets, turn, nil)
			rose, pulses := uint64(0), 0
			f.Observe(func(e board.Event) {
				if e.Kind != board.ServoPulse {
					return
				}
				if e.Value == 1 {
					if rose != 0 && e.At-rose < uint64(100*time.Millisecond) {
						require.InDelta(t, 22_500, float64(e.At-rose)/1000, 8000, "%s %v: period in us", name, turn)
					}
					rose = e.At
					return
				}
				pulses++
				require.InDelta(t, 1500, float64(e.At-rose)/1000, 201, "%s %v: pulse in us", name, turn)
			})
			f.Run(3 * time.Hour)
			require.GreaterOrEqual(t, pulses, 3*6)
		}
	}
}

// A servo whose stop pulse is off creeps while it stands: that is no sign of a bad supply, and nothing is left out.
func TestStopPulseOff(t *testing.T) {
	for _, name := range []string{"m328-mains", "m328-cells", "m328-index"} {
		for _, off := range []float64{-12, 12} {
			f := newFeeder(t, name, 6, func(c *board.Config) { c.Wheel.Stop += off })
			f.Run(3 * time.Hour)
			require.InDelta(t, 18, float64(f.Pockets()), 2, "%s %+v us", name, off)
			require.Zero(t, f.faults())
		}
	}
}

// A supply that the servo pulls down is seen while it does, whatever the reference says, and no brown-out comes of it; one that it pulls
// below the brown-out detector's 4.3 V at once resets the chip, and that is shown and not tried for ever.
func TestSupplyUnderLoad(t *testing.T) {
	for _, reference := range []float64{-9, 0, 9} {
		for _, ohms := range []float64{2.9, 3.2, 4, 6, 13} {
			t.Run(fmt.Sprintf("%v ohms, reference %+v%%", ohms, reference), func(t *testing.T) {
				t.Parallel()
				f := newFeeder(t, "m328-mains", 4, func(c *board.Config) { c.ReferencePC = reference })
				f.SetSource(4900, ohms*1000)
				resets := 0
				f.Observe(func(e board.Event) {
					f.answers.see(e)
					if e.Kind == board.WasReset {
						resets++
					}
				})
				f.Run(30 * time.Minute)
				require.LessOrEqual(t, f.Pockets(), int64(5))
				if running := 4.9 - 0.18*ohms; running < 4.3 && ohms < 10 {
					require.NotZero(t, f.latched()&table.FaultBitPower, "faults %04X", f.latched())
					require.NotZero(t, resets)
					require.Less(t, resets, 10)
					return
				}
				require.NotZero(t, f.latched()&table.FaultBitSupply, "faults %04X", f.latched())
				require.Zero(t, resets)
			})
		}
	}
}
