package board

import "math"

const (
	deadBand      = 4.0        // µs around the stop pulse
	letGo         = 50_000_000 // ns without a pulse after which the servo stands
	shortestPulse = 500_000    // ns that a servo takes for a pulse
	longestPulse  = 2_500_000
	railVolts     = 5.0
)

// servoSupply is the switch of the servo's supply.
func (b *Board) servoSupply(on bool) {
	w := &b.wheel
	if on == w.switched {
		return
	}
	w.switched = on
	b.event(ServoSupply, bit(on))
	b.servoPower()
}

// servoPower gives the servo its supply where it is switched on and plugged in.
func (b *Board) servoPower() {
	w := &b.wheel
	on := w.switched && !w.unplugged
	if on == w.powered {
		return
	}
	b.wheelNow()
	w.powered = on
	w.target, w.pushing = 0, false
	b.servoLoad()
	b.scheduleServo()
}

// UnplugServo takes the servo's plug out, or puts it back; with a supply of its own, that supply's.
func (b *Board) UnplugServo(out bool) {
	b.wheel.unplugged = out
	b.servoPower()
}

// SetServoSource gives the servo a supply of its own, as two adapters do: its voltage without load, its resistance. The AVR's
// supply then feels nothing of it, and the AVR cannot measure it. 0 V: back to the AVR's supply.
func (b *Board) SetServoSource(millivolts uint16, milliOhms float64) {
	b.wheelNow()
	b.supply.servo = servoSource{millivolts, milliOhms}
	b.supplyChanged()
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
	w.target, w.pushing = b.speedFor(float64(width) / 1000)
	if w.pushing && !w.turning {
		w.turning, w.fallenBefore = true, w.fallen
		b.event(TurnStarted, 0)
	}
	b.servoLoad()
	b.scheduleServo()
}

// speedFor: standing within the dead band, in proportion up to full speed, slower with load and low voltage. The servo pushes
// outside the dead band, whether the wheel gives way or not.
func (b *Board) speedFor(micros float64) (speed float64, pushing bool) {
	w := &b.wheel
	d := micros - w.stop
	if math.Abs(d) <= deadBand {
		return 0, false
	}
	if b.cfg.Wheel.Reversed {
		d = -d
	}
	share := min(max(d/b.cfg.Wheel.Full, -1), 1)
	return w.full() * w.pace * share * (b.servoVolts() / railVolts) * (1 - w.load), true
}

// servoVolts is the servo's supply without load: the speed is calibrated under the servo's own load.
func (b *Board) servoVolts() float64 {
	switch s := &b.supply; {
	case s.servo.millivolts > 0:
		return float64(s.servo.millivolts) / 1000
	case b.cfg.Supply.Boost:
		return railVolts
	default:
		return float64(s.source) / 1000
	}
}

// servoLoad tells the supply what the servo draws: in proportion to its torque, as any brushed motor.
func (b *Board) servoLoad() {
	w := &b.wheel
	mA, stalled := 0.0, false
	switch {
	case !w.powered:
	case w.stalled():
		mA, stalled = stallMA, true
	case w.pushing:
		mA = runMA + (stallMA-runMA)*max(0, w.load)
	default:
		mA = idleMA
	}
	if stalled != w.pushed {
		w.pushed = stalled
		b.event(ServoStalled, bit(stalled))
	}
	if mA != b.supply.loadMA {
		b.supply.loadMA = mA
		b.supplyChanged()
	}
}

// scheduleServo looks again when the servo lets go, the wheel has come to rest, comes to a place where something happens, or a
// jam frees itself.
func (b *Board) scheduleServo() {
	w := &b.wheel
	at := uint64(never)
	switch {
	case w.pushing:
		at = w.lastPulse + letGo
	case w.speed != 0:
		at = w.at + uint64(math.Abs(w.speed)/w.full()*w.ramp*1e9) + 1
	case w.turning && !w.powered:
		at = w.at + 1
	}
	at = min(at, w.nextPlace(b.cfg.Wheel.Index))
	if w.stuck != free && w.met {
		at = min(at, w.stuckUntil)
	}
	b.set(slotServo, at)
}

func (b *Board) servoTimer(now uint64) {
	w := &b.wheel
	b.wheelNow()
	switch {
	case w.pushing && now >= w.lastPulse+letGo:
		w.target, w.pushing = 0, false
		b.servoLoad()
	case !w.pushing && w.speed == 0 && !w.powered && w.turning:
		b.rest()
	}
	b.scheduleServo()
}

// BoostOn reports whether the servo's supply is switched on.
func (b *Board) BoostOn() bool { return b.wheel.switched }
