package board_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/avr"
	"mealtab/emulator/board"
)

const forwards = ".equ PULSE, 6800" + spin

// ms is a time after the beginning in ms.
func ms(e board.Event) float64 { return float64(e.At) / 1e6 }

// TestOscillatorError: rounds of a loop in two seconds of the world's time. The error is the sum of its parts:
// 3 % + 1 %/V × (4.2 - 3) V - 0.05 %/K × (5 - 25) K = 5.2 %.
func TestOscillatorError(t *testing.T) {
	const count = `
		ldi r24, 0
		ldi r25, 0
		ldi r26, 0
	again:	adiw r24, 1
		brne again
		inc r26
		rjmp again
	`
	rounds := func(o board.Oscillator) float64 {
		b := bare(t, count, func(c *board.Config) { c.Oscillator = o; c.Supply.Millivolts = 4200 })
		b.SetTemperature(5 * 4)
		rounds := func() float64 {
			r := b.MCU().Regs()
			return float64(r[26])*65536 + float64(r[25])*256 + float64(r[24])
		}
		b.Run(time.Second)
		from := rounds()
		b.Run(2 * time.Second)
		return rounds() - from
	}
	exact, off := rounds(board.Oscillator{}), rounds(board.Oscillator{PC: 3, PCPerVolt: 1, PCPerKelvin: -0.05})
	require.InDelta(t, 1.052, off/exact, 0.0001)
}

// TestOscillatorFollowsSupply: a change of supply in mid-run changes the frequency from then on, and no time is lost.
func TestOscillatorFollowsSupply(t *testing.T) {
	b := bare(t, "again: rjmp again", func(c *board.Config) { c.Oscillator = board.Oscillator{PCPerVolt: 2} })
	require.Equal(t, uint64(16_640_000), b.MCU().ClockHz()) // 5 V: 4 % above what it is at 3 V
	b.Run(time.Second)
	before := b.MCU().Cycle()
	b.SetSource(4500, -1)
	b.Run(time.Second)
	require.InDelta(t, 16_480_000, b.MCU().Cycle()-before, 2)
	require.InDelta(t, 2e9, float64(b.Nanos()), 1000)
}

// TestOscillatorLeavesShortcutsExact: with an oscillator that is off and follows the supply, a run that skips naps and polls
// ends as one that skips none.
func TestOscillatorLeavesShortcutsExact(t *testing.T) {
	run := func(o avr.Options) (*board.Board, [32]byte) {
		b := feeder(t, func(c *board.Config) {
			c.Options, c.Oscillator, c.Supply.MilliOhms = o, board.Oscillator{PC: -4, PCPerVolt: 1}, 500
		})
		b.Run(35 * time.Minute)
		b.SetSource(4700, -1)
		b.Run(30 * time.Minute)
		return b, b.Hash()
	}
	fast, a := run(avr.Options{})
	slow, b := run(avr.Options{NoPollSkip: true, NoNapSkip: true, NoFuse: true})
	require.Equal(t, slow.MCU().Cycle(), fast.MCU().Cycle())
	require.Equal(t, b, a)
}

// TestReference: a reference 10 % high makes 5 V read as 4.55 V: the ADC gives 1024 × 1.21 / 5 [ATmega328P data sheet 24.7].
func TestReference(t *testing.T) {
	const measure = `
		ldi r16, 0x4E   ; AVCC as reference, 1.1 V measured
		sts ADMUX, r16
		ldi r16, 0xC7
		sts ADCSRA, r16
	wait:	lds r16, ADCSRA
		sbrc r16, 6
		rjmp wait
		lds r24, ADCL
		lds r25, ADCH
	end:	rjmp end
	`
	read := func(percent float64) int {
		b := bare(t, measure, func(c *board.Config) { c.ReferencePC = percent })
		b.Run(100 * time.Millisecond)
		r := b.MCU().Regs()
		return int(r[25])<<8 | int(r[24])
	}
	require.Equal(t, 225, read(0)) // 1024 × 1.1 / 5
	require.Equal(t, 247, read(10))
	require.Equal(t, 202, read(-10))
}

// TestServoSupply: with a supply of its own the servo's current is not felt by the AVR, its voltage sets the speed, and
// unplugged the wheel stands.
func TestServoSupply(t *testing.T) {
	b := bare(t, forwards, func(c *board.Config) { c.Supply.MilliOhms = 1000 })
	b.Run(time.Second)
	require.Equal(t, 4820, b.Millivolts()) // 180 mA over 1 ohm
	b.SetServoSource(4000, 100)
	b.Run(100 * time.Millisecond)
	require.Equal(t, 5000, b.Millivolts())
	from := b.Angle()
	b.Run(3100 * time.Millisecond)
	require.InDelta(t, 8, b.Angle()-from, 0.05) // 4 of 5 V: 8 pockets instead of 10
	b.UnplugServo(true)
	b.Run(time.Second)
	from = b.Angle()
	b.Run(5 * time.Second)
	require.Equal(t, from, b.Angle())
	b.UnplugServo(false)
	b.Run(2 * time.Second)
	require.Greater(t, b.Angle(), from+3)
}

// TestCurrentLimit: an adapter good for 0.8 A feeds a turning wheel, and hiccups under a jam: off 10 ms after the stall begins,
// tried again half a second later, off again, for ever.
func TestCurrentLimit(t *testing.T) {
	b := bare(t, forwards, func(c *board.Config) { c.Supply.Limit.MA = 800 })
	supply, stalls := []board.Event{}, []board.Event{}
	b.Observe(func(e board.Event) {
		switch e.Kind {
		case board.SupplyChanged:
			if e.Value == 0 || e.Value == 5000 {
				supply = append(supply, e)
			}
		case board.ServoStalled:
			stalls = append(stalls, e)
		}
	})
	b.Run(2 * time.Second)
	require.True(t, b.Powered() && b.Angle() > 5)
	b.Jam(0.4, false)
	supply = nil
	b.Run(5 * time.Second)
	require.GreaterOrEqual(t, len(supply), 12)
	require.Zero(t, supply[0].Value)
	require.InDelta(t, ms(stalls[0])+10, ms(supply[0]), 0.01)
	require.InDelta(t, ms(supply[0])+500, ms(supply[1]), 0.01)
	require.Equal(t, int64(0), supply[2].Value)
	b.SetLimit(board.Limit{})
	b.Unjam()
	from := b.Angle()
	b.Run(2 * time.Second)
	require.Greater(t, b.Angle(), from+3)
}

// TestLoadDrawsCurrent: a brushed motor's current goes with its torque: half of stall is halfway from 180 to 1000 mA.
func TestLoadDrawsCurrent(t *testing.T) {
	b := bare(t, forwards, func(c *board.Config) { c.Supply.MilliOhms = 1000; c.Wheel.Load = 0.5 })
	b.Run(time.Second)
	require.Equal(t, 4410, b.Millivolts())
}

// TestJamAtAnyPhase: the wheel stops there, to the thousandth, and the servo is stalled from then on.
func TestJamAtAnyPhase(t *testing.T) {
	for phase := 0.05; phase < 2; phase += 0.05 {
		b := bare(t, forwards)
		list := heard(b, board.ServoStalled)
		b.Jam(phase, false)
		b.Run(time.Second)
		require.InDelta(t, phase, b.Angle(), 1e-9)
		require.Len(t, *list, 1)
		// 30 ms of ramp lose half of themselves; the first pulses come some 4 ms after power-on [TestServo's program].
		require.InDelta(t, phase*310+15, ms((*list)[0])-startOf(t), 20)
	}
}

// startOf is when the servo of the spin program first moves, in ms.
func startOf(t *testing.T) float64 {
	b := bare(t, forwards)
	list := heard(b, board.TurnStarted)
	b.Run(200 * time.Millisecond)
	return ms((*list)[0])
}

// TestJamFreesItself: so long after the wheel has met it, whether it is pushed or not.
func TestJamFreesItself(t *testing.T) {
	b := bare(t, forwards)
	list := heard(b, board.ServoStalled)
	b.JamFor(1.3, false, 20*time.Second)
	b.Run(15 * time.Second)
	require.Equal(t, 1.3, b.Angle())
	b.Run(10 * time.Second)
	require.Greater(t, b.Angle(), 10.0)
	require.Len(t, *list, 2)
	require.InDelta(t, 20_000, ms((*list)[1])-ms((*list)[0]), 0.1)
}

// TestBridge: three pockets fall empty, the hopper keeps their kibble, then it goes on.
func TestBridge(t *testing.T) {
	b := bare(t, forwards, func(c *board.Config) { c.Wheel.Spread = 0 })
	list := heard(b, board.PocketFell)
	b.Bridge(3)
	b.Run(2 * time.Second)
	var got []int64
	for _, e := range (*list)[:5] {
		got = append(got, e.Value)
	}
	require.Equal(t, []int64{0, 0, 0, 6200, 6200}, got)
	require.Equal(t, 1_400_000-6200*float64(b.Filled()), b.HopperMg())
	require.Equal(t, b.Filled()+3, b.Pockets())
}

// TestPocketsFallAtTheirPlace: pockets fall at their place, half a pocket apart from where they rest, whatever the pulses do: 310 ms from one to the
// next.
func TestPocketsFallAtTheirPlace(t *testing.T) {
	b := bare(t, forwards)
	list := heard(b, board.PocketFell)
	b.Run(3 * time.Second)
	for i := 1; i < len(*list); i++ {
		require.InDelta(t, 310, ms((*list)[i])-ms((*list)[i-1]), 0.1)
	}
}

// TestPace: 3 % faster and 10 % slower are that.
func TestPace(t *testing.T) {
	for _, pace := range []float64{1.03, 0.9} {
		b := bare(t, forwards)
		b.SetPace(pace)
		b.Run(300 * time.Millisecond)
		from := b.Angle()
		b.Run(3100 * time.Millisecond)
		require.InDelta(t, 10*pace, b.Angle()-from, 0.02)
	}
}

// TestStopPulse: a servo whose stop moved by 30 µs creeps at its stop pulse: 30/200 of full speed.
func TestStopPulse(t *testing.T) {
	b := bare(t, ".equ PULSE, 6000"+spin)
	b.SetStopPulse(1470)
	b.Run(3100 * time.Millisecond)
	require.InDelta(t, 1.5, b.Angle(), 0.05)
}

// TestIndexSwitch: closed for 0.16 of each pocket's 310 ms; never closing, never opening.
func TestIndexSwitch(t *testing.T) {
	index := func(c *board.Config) { c.Wheel.Index = true }
	b := bare(t, forwards, index)
	list := heard(b, board.IndexSwitch)
	b.Run(3 * time.Second)
	require.GreaterOrEqual(t, len(*list), 18)
	for i := 2; i+1 < len(*list); i += 2 { // the first edge opens it
		require.Equal(t, int64(0), (*list)[i].Value)
		require.InDelta(t, 0.84*310, ms((*list)[i+1])-ms((*list)[i]), 0.2)
	}
	for _, c := range []struct {
		fault  board.Contact
		closed int64
	}{{board.NeverCloses, 0}, {board.NeverOpens, 1}} {
		b := bare(t, forwards, index)
		b.Run(500 * time.Millisecond)
		b.SetIndex(c.fault)
		list := heard(b, board.IndexSwitch)
		b.Run(3 * time.Second)
		require.Empty(t, *list)
		b.SetIndex(board.ContactGood)
		b.Run(time.Second)
		require.NotEmpty(t, *list)
	}
}

// TestIndexBounce: more edges, within the time given, and after it the switch says where the wheel is.
func TestIndexBounce(t *testing.T) {
	b := bare(t, forwards, func(c *board.Config) { c.Wheel.Index = true })
	b.SetIndexBounce(10)
	list := heard(b, board.IndexSwitch)
	b.Run(3 * time.Second)
	require.Greater(t, len(*list), 60)
	for i := 1; i < len(*list); i++ {
		if gap := ms((*list)[i]) - ms((*list)[i-1]); gap > 10 { // a new edge of the wheel: 49.6 or 260.4 ms after the last
			rest := math.Min(math.Abs(gap-49.6), math.Abs(gap-260.4))
			require.Less(t, rest, 10.1)
		}
	}
}

// TestLightBarrier: the beam is broken 101 ms after a pocket has passed the outlet, for 8 to 68 ms; an empty pocket does not
// break it; blind it never is, dark always.
func TestLightBarrier(t *testing.T) {
	b := bare(t, forwards, func(c *board.Config) { c.Wheel.Barrier = true })
	b.Bridge(1)
	list := heard(b, board.PocketFell, board.LightBarrier)
	b.Run(1500 * time.Millisecond)
	var fell []float64
	var broken []board.Event
	for _, e := range *list {
		switch {
		case e.Kind == board.LightBarrier:
			broken = append(broken, e)
		case e.Value > 0:
			fell = append(fell, ms(e))
		}
	}
	require.GreaterOrEqual(t, len(broken), 6)
	for i := 0; i+1 < len(broken); i += 2 {
		require.Equal(t, int64(1), broken[i].Value)
		require.InDelta(t, fell[i/2]+101, ms(broken[i]), 0.01)
		require.InDelta(t, 66, ms(broken[i+1])-ms(broken[i]), 3) // 25 pieces
	}
	for _, c := range []struct {
		fault board.Beam
		want  []int64
	}{{board.BeamBlind, nil}, {board.BeamDark, []int64{1}}} {
		b := bare(t, forwards, func(c *board.Config) { c.Wheel.Barrier = true })
		list := heard(b, board.LightBarrier)
		b.SetBeam(c.fault)
		b.Run(2 * time.Second)
		var got []int64
		for _, e := range *list {
			got = append(got, e.Value)
		}
		require.Equal(t, c.want, got)
	}
}

// TestStepClock: the chip says so much more or less, over midnight and months too.
func TestStepClock(t *testing.T) {
	b := feeder(t)
	for _, by := range []time.Duration{-7 * time.Hour, 90 * time.Second, 40 * 24 * time.Hour, -15 * time.Minute} {
		before := b.ClockTime()
		b.StepClock(by)
		require.Equal(t, before.Add(by), b.ClockTime())
	}
}

// TestForkKeepsFaults: a fork meets the same faults at the same instants as its original.
func TestForkKeepsFaults(t *testing.T) {
	b := bare(t, forwards, func(c *board.Config) {
		c.Wheel.Index, c.Wheel.Barrier, c.Supply.Limit.MA = true, true, 800
		c.Oscillator = board.Oscillator{PC: 2, PCPerVolt: 1}
	})
	b.SetIndexBounce(10)
	b.SetStopPulse(1490)
	b.SetPace(0.95)
	b.JamFor(2.2, false, 3*time.Second)
	b.Run(900 * time.Millisecond)
	fork := b.Fork()
	b.Run(10 * time.Second)
	fork.Run(10 * time.Second)
	require.Equal(t, b.Hash(), fork.Hash())
}
