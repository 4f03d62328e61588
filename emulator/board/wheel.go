package board

import (
	"errors"
	"math"
	"time"
)

// Wheel describes servo, wheel and hopper.
type Wheel struct {
	Turn     time.Duration // one pocket at full speed and 5 V
	Stop     float64       // µs of the pulse at which the servo stands
	Full     float64       // µs from there to full speed; servos saturate at about 200
	Ramp     time.Duration // from rest to full speed
	Load     float64       // 0: none … 1: stalled; slows the wheel in proportion
	Detent   bool          // a spring takes the unpowered wheel to the nearest pocket, if that is within a quarter
	Reversed bool          // the servo turns the wheel forwards at pulses shorter than Stop
	Index    bool          // a switch closes once per pocket
	Barrier  bool          // a light barrier at the outlet
	PocketMg float64       // kibble in a pocket
	Spread   float64       // standard deviation of that, as a fraction
	HopperMg float64       // kibble in the hopper at the start
}

// DefaultWheel has pockets of 6.2 g, 5 % more or less, 1.4 kg in the hopper, and detents: without either detents or an index
// switch no turning by time stays true for long (SCENARIOS.md says how far it drifts).
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
	detentReach = 0.25   // pockets
	indexHalf   = 0.08   // pockets either side of a pocket's place in which the switch is closed
	backOut     = 0.2    // pockets to turn back until a kibble that jams comes free
	outlet      = 0.5    // of a pocket before its place, where it empties
	shortLook   = 50_000 // ns between two looks at a wheel that comes to a place
)

// wheelState holds angle in pockets and speed in pockets a second. Pocket n falls when the angle passes n - 1/2.
type wheelState struct {
	turn, ramp   float64 // seconds
	stop         float64 // µs
	pace         float64 // 1: as fast as turn says
	at           uint64
	angle, speed float64
	target       float64 // speed that the servo would reach
	load         float64
	detent       bool
	switched     bool // the switch of the servo's supply is on
	unplugged    bool
	powered      bool
	pushing      bool // the pulse is off the stop pulse
	pushed       bool // against a stall
	pulseHigh    bool
	pulseRose    uint64
	lastPulse    uint64
	fallen       int64 // pockets so far
	filled       int64 // of them with kibble
	bridge       int64 // pockets that will fall empty
	stuck        jam
	stuckAt      float64 // angle that a jam does not let pass
	stuckFor     uint64  // ns after it was met that a jam frees itself
	stuckUntil   uint64
	met          bool    // the wheel has run into it
	turning      bool    // since TurnStarted
	fallenBefore int64   // at TurnStarted
	hopper       float64 // mg
}

// jam is what keeps the wheel from turning forwards.
type jam uint8

const (
	free jam = iota
	kibble
	solid
)

func (w *wheelState) init(c *Config) {
	w.turn, w.ramp, w.stop, w.pace = c.Wheel.Turn.Seconds(), c.Wheel.Ramp.Seconds(), c.Wheel.Stop, 1
	w.load, w.hopper, w.detent = c.Wheel.Load, c.Wheel.HopperMg, c.Wheel.Detent
}

// full is the speed without load at 5 V.
func (w *wheelState) full() float64 { return 1 / w.turn }

// sync moves the wheel to an instant: speed goes in a line to its target, then stays.
func (w *wheelState) sync(now uint64) {
	if w.stuck != free && w.met && now >= w.stuckUntil {
		w.stuck = free
	}
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
		if !w.met {
			w.met, w.stuckUntil = true, never
			if w.stuckFor > 0 {
				w.stuckUntil = w.at + w.stuckFor
			}
		}
		w.angle, w.speed = w.stuckAt, 0
	case w.stuck == kibble && w.met && w.angle < w.stuckAt-backOut:
		w.stuck = free
	}
}

// stalled: the servo pushes and nothing moves.
func (w *wheelState) stalled() bool {
	return w.pushing && (w.load >= 1 || w.stuck != free && w.target > 0 && w.angle >= w.stuckAt)
}

// nextPlace is when the wheel may come to a place where something happens: a pocket empties, the index switch moves, a jam. It
// is not later than that, and where the wheel still gathers speed, earlier.
func (w *wheelState) nextPlace(index bool) uint64 {
	v := w.speed
	if v == 0 {
		v = w.target
	}
	if v == 0 || w.stalled() {
		return never
	}
	way := placeAhead(w.angle, outlet, v)
	if index {
		way = min(way, placeAhead(w.angle, indexHalf, v), placeAhead(w.angle, 1-indexHalf, v))
	}
	if w.stuck != free && v > 0 && w.stuckAt > w.angle {
		way = min(way, w.stuckAt-w.angle)
	}
	fastest := max(math.Abs(w.speed), math.Abs(w.target))
	return w.at + max(shortLook, uint64(way/fastest*1e9)+1000)
}

// placeAhead is how far it is to the next place of a phase, in the direction of v; one just reached is behind.
func placeAhead(angle, phase, v float64) float64 {
	const reached = 1e-9
	if v < 0 {
		angle, phase = -angle, -phase
	}
	way := math.Ceil(angle-phase) + phase - angle
	if way < reached {
		way++
	}
	return way
}

// wheelNow brings the wheel to this instant; pockets fall on the way.
func (b *Board) wheelNow() {
	w := &b.wheel
	w.sync(b.Nanos())
	for w.angle >= float64(w.fallen)+outlet {
		b.pocketFalls()
	}
	b.indexSwitch()
	b.servoLoad()
}

// rest ends a turn: the detent takes the wheel to a pocket's place.
func (b *Board) rest() {
	w := &b.wheel
	if near := math.Round(w.angle); w.detent && math.Abs(w.angle-near) <= detentReach && w.stuck == free {
		w.angle = near
	}
	w.turning = false
	b.indexSwitch()
	b.event(TurnEnded, w.fallen-w.fallenBefore)
}

// Jam blocks the wheel from where it stands plus so many pockets. A jam of kibble comes free when the wheel turns back a
// little; a solid one stays until Unjam.
func (b *Board) Jam(after float64, frees bool) { b.JamFor(after, frees, 0) }

// JamFor is a jam that also comes free by itself, so long after the wheel has run into it; 0: never.
func (b *Board) JamFor(after float64, frees bool, d time.Duration) {
	b.wheelNow()
	w := &b.wheel
	w.stuck, w.stuckAt, w.met, w.stuckFor = solid, w.angle+after, false, uint64(d)
	if frees {
		w.stuck = kibble
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

// SetPace makes the wheel slower or faster than its turn says: 1 is as it says. Its load, and what it draws, stay.
func (b *Board) SetPace(pace float64) {
	b.wheelNow()
	b.wheel.pace = pace
}

// SetStopPulse moves the pulse at which the servo stands, in µs: trimmers move by warmth and age.
func (b *Board) SetStopPulse(micros float64) {
	b.wheelNow()
	b.wheel.stop = micros
}

// SetDetent takes the spring of the detents away, or puts it back.
func (b *Board) SetDetent(on bool) { b.wheel.detent = on }

// Angle is where the wheel stands, in pockets since the beginning.
func (b *Board) Angle() float64 {
	w := b.wheel // a copy: looking changes nothing
	w.sync(b.Nanos())
	return w.angle
}
