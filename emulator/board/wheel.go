package board

import (
	"errors"
	"math"
	"time"

	"mealtab/emulator/avr"
)

// Wheel describes servo, wheel and hopper.
type Wheel struct {
	Turn     time.Duration // one pocket at full speed and 5 V
	Stop     float64       // µs of the pulse at which the servo stands
	Full     float64       // µs from there to full speed; servos saturate at about 200
	Ramp     time.Duration // from rest to full speed
	Load     float64       // 0: none … 1: stalled; slows the wheel in proportion
	Detent   bool          // a spring takes the unpowered wheel to the nearest pocket, if that is within a quarter
	Index    bool          // a switch closes once per pocket
	PocketMg float64       // kibble in a pocket
	Spread   float64       // standard deviation of that, as a fraction
	HopperMg float64       // kibble in the hopper at the start
}

// DefaultWheel has pockets of 6.2 g, 5 % more or less, and 1.4 kg in the hopper.
func DefaultWheel() Wheel {
	return Wheel{
		Turn: 310 * time.Millisecond, Stop: 1500, Full: 200, Ramp: 30 * time.Millisecond, Detent: true,
		PocketMg: 6200, Spread: 0.05, HopperMg: 1_400_000,
	}
}

func (w *Wheel) complete() error {
	if w.Turn <= 0 || w.Full <= 0 || w.Ramp <= 0 {
		return errors.New("the wheel needs Turn, Full and Ramp above 0; start from DefaultWheel")
	}
	if w.Load < 0 || w.Load > 1 {
		return errors.New("the wheel's Load is outside 0 to 1")
	}
	return nil
}

const (
	deadBand      = 4.0        // µs around the stop pulse
	letGo         = 50_000_000 // ns without a pulse after which the servo stands
	shortestPulse = 500_000    // ns that a servo takes for a pulse
	longestPulse  = 2_500_000
	detentReach   = 0.25 // pockets
	indexHalf     = 0.08 // pockets either side of a pocket's place in which the switch is closed
	backOut       = 0.2  // pockets to turn back until a kibble that jams comes free
	railVolts     = 5.0
)

// wheelState holds angle in pockets and speed in pockets a second. Pocket n falls when the angle passes n - 1/2.
type wheelState struct {
	turn, ramp   float64 // seconds
	at           uint64
	angle, speed float64
	target       float64 // speed that the servo wants
	load         float64
	powered      bool
	pulseHigh    bool
	pulseRose    uint64
	lastPulse    uint64
	fallen       int64 // pockets so far
	stuck        jam
	stuckAt      float64 // angle that a jam does not let pass
	met          bool    // the wheel has run into it
	turning      bool    // since TurnStarted
	fallenBefore int64   // at TurnStarted
	hopper       float64 // mg
	index        bool    // switch closed
}

// jam is what keeps the wheel from turning forwards.
type jam uint8

const (
	free jam = iota
	kibble
	solid
)

func (w *wheelState) init(c *Config) {
	w.turn, w.ramp = c.Wheel.Turn.Seconds(), c.Wheel.Ramp.Seconds()
	w.load, w.hopper = c.Wheel.Load, c.Wheel.HopperMg
	w.index = c.Wheel.Index
}

// full is the speed without load at 5 V.
func (w *wheelState) full() float64 { return 1 / w.turn }

// sync moves the wheel to an instant: speed goes in a line to its target, then stays.
func (w *wheelState) sync(now uint64) {
	dt := float64(now-w.at) / 1e9
	w.at = now
	if w.speed == 0 && w.target == 0 || dt == 0 {
		return
	}
	rate := w.full() / w.ramp
	if w.target < w.speed {
		rate = -rate
	}
	ramp := min(dt, (w.target-w.speed)/rate)
	w.angle += w.speed*ramp + rate*ramp*ramp/2
	if ramp < dt {
		w.speed = w.target
		w.angle += w.speed * (dt - ramp)
	} else {
		w.speed += rate * ramp
	}
	w.block()
}

// block stops the wheel at a jam; turning back frees one of kibble.
func (w *wheelState) block() {
	switch {
	case w.stuck == free:
	case w.angle > w.stuckAt:
		w.angle, w.speed, w.met = w.stuckAt, 0, true
	case w.stuck == kibble && w.met && w.angle < w.stuckAt-backOut:
		w.stuck = free
	}
}

// stalled: the servo pushes against a jam.
func (w *wheelState) stalled() bool { return w.stuck != free && w.target > 0 && w.angle >= w.stuckAt }

// wheelNow brings the wheel to this instant; pockets fall on the way.
func (b *Board) wheelNow() {
	w := &b.wheel
	w.sync(b.Nanos())
	for w.angle >= float64(w.fallen)+0.5 {
		w.fallen++
		mg := max(0, b.cfg.Wheel.PocketMg*(1+b.cfg.Wheel.Spread*b.random.spread()))
		mg = min(math.Floor(mg), w.hopper)
		w.hopper -= mg
		b.event(PocketFell, int64(mg))
	}
	b.indexSwitch()
	b.servoLoad()
}

func (b *Board) indexSwitch() {
	if !b.cfg.Wheel.Index {
		return
	}
	w := &b.wheel
	closed := math.Abs(w.angle-math.Round(w.angle)) < indexHalf
	if closed == w.index {
		return
	}
	w.index = closed
	b.event(IndexSwitch, bit(closed))
	level := avr.Float
	if closed {
		level = avr.Low
	}
	b.mcu.SetInput(avr.PortD, pinIndex, level)
}

// servoLoad tells the supply what the servo draws.
func (b *Board) servoLoad() {
	w := &b.wheel
	mA := 0.0
	switch {
	case !w.powered:
	case w.stalled():
		mA = stallMA
	case w.target != 0:
		mA = runMA
	default:
		mA = idleMA
	}
	if mA != b.supply.loadMA {
		b.supply.loadMA = mA
		b.supplyChanged()
	}
}

// servoSupply is the switch of the servo's supply.
func (b *Board) servoSupply(on bool) {
	w := &b.wheel
	if on == w.powered {
		return
	}
	b.wheelNow()
	w.powered = on
	b.event(ServoSupply, bit(on))
	w.target = 0
	b.servoLoad()
	b.scheduleServo()
}

// servoPin watches the pulse.
func (b *Board) servoPin(high bool) {
	w := &b.wheel
	if high == w.pulseHigh {
		return
	}
	w.pulseHigh = high
	b.event(ServoPulse, bit(high))
	now := b.Nanos()
	if high {
		w.pulseRose = now
		return
	}
	width := now - w.pulseRose
	if !w.powered || width < shortestPulse || width > longestPulse {
		return
	}
	b.wheelNow()
	w.lastPulse = now
	w.target = b.speedFor(float64(width) / 1000)
	if w.target != 0 && !w.turning {
		w.turning, w.fallenBefore = true, w.fallen
		b.event(TurnStarted, 0)
	}
	b.servoLoad()
	b.scheduleServo()
}

// speedFor: standing within the dead band, in proportion up to full speed, slower with load and low voltage.
func (b *Board) speedFor(micros float64) float64 {
	d := micros - b.cfg.Wheel.Stop
	if math.Abs(d) <= deadBand {
		return 0
	}
	volts := railVolts
	if !b.cfg.Supply.Boost {
		volts = float64(b.supply.source) / 1000 // calibrated under its own load
	}
	share := min(max(d/b.cfg.Wheel.Full, -1), 1)
	return b.wheel.full() * share * (volts / railVolts) * (1 - b.wheel.load)
}

// scheduleServo looks again when the servo lets go or the wheel has come to rest.
func (b *Board) scheduleServo() {
	w := &b.wheel
	at := uint64(never)
	switch {
	case w.target != 0:
		at = w.lastPulse + letGo
	case w.speed != 0:
		at = w.at + uint64(math.Abs(w.speed)/w.full()*w.ramp*1e9) + 1
	case w.turning && !w.powered:
		at = w.at + 1
	}
	b.set(slotServo, at)
}

func (b *Board) servoTimer(now uint64) {
	w := &b.wheel
	b.wheelNow()
	switch {
	case w.target != 0 && now >= w.lastPulse+letGo:
		w.target = 0
		b.servoLoad()
	case w.target == 0 && w.speed == 0 && !w.powered && w.turning:
		b.rest()
	}
	b.scheduleServo()
}

// rest ends a turn: the detent takes the wheel to a pocket's place.
func (b *Board) rest() {
	w := &b.wheel
	if near := math.Round(w.angle); b.cfg.Wheel.Detent && math.Abs(w.angle-near) <= detentReach && w.stuck == free {
		w.angle = near
	}
	w.turning = false
	b.indexSwitch()
	b.event(TurnEnded, w.fallen-w.fallenBefore)
}

// Jam blocks the wheel from where it stands plus so many pockets. A jam of kibble comes free when the wheel turns back a
// little; a solid one stays until Unjam.
func (b *Board) Jam(after float64, frees bool) {
	b.wheelNow()
	b.wheel.stuck, b.wheel.stuckAt, b.wheel.met = solid, b.wheel.angle+after, false
	if frees {
		b.wheel.stuck = kibble
	}
}

// Unjam clears any jam.
func (b *Board) Unjam() {
	b.wheelNow()
	b.wheel.stuck = free
}

// SetWheelLoad slows the wheel: 0 no load, 1 stalled.
func (b *Board) SetWheelLoad(load float64) {
	b.wheelNow()
	b.wheel.load = load
}

// Refill sets what is in the hopper, in mg.
func (b *Board) Refill(mg float64) { b.wheel.hopper = mg }

// HopperMg is what is in the hopper.
func (b *Board) HopperMg() float64 { return b.wheel.hopper }

// Pockets is how many have fallen since the beginning.
func (b *Board) Pockets() int64 { return b.wheel.fallen }

// Angle is where the wheel stands, in pockets since the beginning.
func (b *Board) Angle() float64 { return b.wheel.angle }

// BoostOn reports whether the servo's supply is on.
func (b *Board) BoostOn() bool { return b.wheel.powered }

// LED reports whether the light is on.
func (b *Board) LED() bool { return b.led }
