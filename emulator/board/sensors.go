package board

import "math"

// Contact is what is wrong with the index switch.
type Contact uint8

// The faults of a switch.
const (
	ContactGood Contact = iota
	NeverCloses         // a wire is off
	NeverOpens          // bent, or shorted
)

// Beam is what is wrong with the light barrier.
type Beam uint8

// The faults of a light barrier.
const (
	BeamGood  Beam = iota
	BeamBlind      // sees light whatever falls: beside the outlet, or lit by a lamp
	BeamDark       // sees none: its lamp is dead, or dust lies on it
)

// A kibble of 8 mm breaks a beam 5 cm below the wheel: it has fallen for sqrt(2h/g) = 101 ms, is 1 m/s fast, and is past in
// 8 ms. A pocket's kibbles leave it within 60 ms, closely enough to break the beam without a gap [choice].
const (
	beamFall   = 101_000_000
	beamPiece  = 8_000_000
	beamSpread = 60_000_000
	pieceMg    = 250
)

// fallingMost is how many pockets are on their way at once: a wheel would have to turn one in 50 ms to need more.
const fallingMost = 4

// sensorState is the index switch and the light barrier.
type sensorState struct {
	contact   Contact
	wants     bool  // the switch is where it closes
	closed    bool  // and does
	bounce    int64 // ns for which it bounces at each edge
	bounceEnd uint64

	beam    Beam
	dark    bool // what the receiver says
	falling [fallingMost]span
}

// span is a time in ns, from and to.
type span struct{ from, to uint64 }

// SetIndex makes the index switch fail, or mends it.
func (b *Board) SetIndex(c Contact) {
	b.sensors.contact = c
	b.wheelNow()
	b.contactTo(b.sensors.wants)
}

// SetIndexBounce makes the index switch bounce for so many milliseconds at each edge: 5 is common, 20 a worn one.
func (b *Board) SetIndexBounce(millis float64) { b.sensors.bounce = int64(millis * 1e6) }

// indexSwitch follows the wheel.
func (b *Board) indexSwitch() {
	if !b.cfg.Wheel.Index {
		return
	}
	s := &b.sensors
	wants := math.Abs(b.wheel.angle-math.Round(b.wheel.angle)) < indexHalf
	if wants == s.wants {
		return
	}
	s.wants = wants
	s.bounceEnd = b.Nanos() + uint64(s.bounce)
	b.bounceIndex(b.Nanos())
}

// bounceIndex makes the next edge: at random until the end of the bounce, then the one that stays.
func (b *Board) bounceIndex(now uint64) {
	s := &b.sensors
	if now >= s.bounceEnd {
		b.contactTo(s.wants)
		return
	}
	b.contactTo(b.random.next()&1 != 0)
	b.set(slotIndex, min(s.bounceEnd, now+b.random.between(shortestBreak, longestBreak)))
}

func (b *Board) contactTo(closed bool) {
	s := &b.sensors
	switch s.contact {
	case NeverCloses:
		closed = false
	case NeverOpens:
		closed = true
	}
	if !b.cfg.Wheel.Index || closed == s.closed {
		return
	}
	s.closed = closed
	b.event(IndexSwitch, bit(closed))
	b.input(b.cfg.wires.index, closed)
}

// SetBeam makes the light barrier fail, or mends it.
func (b *Board) SetBeam(f Beam) {
	b.sensors.beam = f
	b.beamNow(b.Nanos())
}

// breakBeam notes when a pocket's kibble will pass the beam.
func (b *Board) breakBeam(mg float64) {
	if !b.cfg.Wheel.Barrier {
		return
	}
	pieces := math.Ceil(mg / pieceMg)
	now := b.Nanos()
	from := now + beamFall
	next := span{from, from + beamPiece + uint64(beamSpread*(1-1/pieces))}
	falling := &b.sensors.falling
	for i := range falling {
		if falling[i].to <= now {
			falling[i] = next
			break
		}
	}
	b.beamNow(now)
}

// beamNow puts the barrier's output on its pin.
func (b *Board) beamNow(now uint64) {
	if !b.cfg.Wheel.Barrier {
		return
	}
	s := &b.sensors
	dark, next := false, uint64(never)
	for _, f := range s.falling {
		dark = dark || f.from <= now && now < f.to
		for _, edge := range []uint64{f.from, f.to} {
			if edge > now {
				next = min(next, edge)
			}
		}
	}
	switch s.beam {
	case BeamBlind:
		dark = false
	case BeamDark:
		dark = true
	}
	b.set(slotBeam, next)
	if dark == s.dark {
		return
	}
	s.dark = dark
	b.event(LightBarrier, bit(dark))
	b.input(b.cfg.wires.barrier, dark)
}
