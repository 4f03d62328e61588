package board

import (
	"math"
)

// Supply is where the current comes from.
type Supply struct {
	Millivolts   uint16  // without load
	MilliOhms    float64 // of the source
	Cells        int     // in series; 0: a wall supply
	CapacityMAh  float64 // of one cell, to 0.9 V
	UsedMAh      float64 // at the start
	Boost        bool    // the servo runs on 5 V from a boost converter
	EfficiencyPC float64 // of that converter, per cent
	Limit        Limit   // of a wall supply

	ServoMillivolts uint16  // of the servo's own supply; 0: it has none
	ServoMilliOhms  float64 // of that
}

// servoSource is a supply of the servo's own.
type servoSource struct {
	millivolts uint16 // without load; 0: there is none
	milliOhms  float64
}

// WallSupply is 5 V with half a metre of thin wire.
func WallSupply() Supply { return Supply{Millivolts: 5000, MilliOhms: 100} }

// Cells are three alkaline D cells: 15 Ah each, 0.15 Ω, and a converter of 85 % [common practice].
func Cells() Supply {
	return Supply{Cells: 3, CapacityMAh: 15000, MilliOhms: 450, Boost: true, EfficiencyPC: 85}
}

// Loads in mA at the servo [power figures of standard servos: idle 8, running 180, stalled 1000].
const (
	idleMA  = 8
	runMA   = 180
	stallMA = 1000
	boostMV = 5000
)

const clockVPF = 2575 // mV; below, the clock runs on its cell [DS3231 data sheet p.2]

type supplyState struct {
	on         bool
	millivolts uint16 // at the AVR
	source     uint16 // without load
	milliOhms  float64
	loadMA     float64 // of the servo
	usedMAh    float64 // of each cell
	drawnMA    float64 // by the servo, at the source
	since      uint64
	servo      servoSource
	limit      Limit
	tripped    bool // by the limit
}

func (s *supplyState) init(c *Config) {
	s.on = true
	s.source, s.milliOhms, s.usedMAh = c.Supply.Millivolts, c.Supply.MilliOhms, c.Supply.UsedMAh
	if c.Supply.Cells > 0 {
		s.source = c.Supply.openCircuit(s.usedMAh)
	}
	s.servo = servoSource{c.Supply.ServoMillivolts, c.Supply.ServoMilliOhms}
	s.limit = c.Supply.Limit
	s.limit.complete()
	s.millivolts = s.source
}

// A fresh cell has 1.58 V, one that has given its capacity 0.9 V [makers' figures]; between them, and on below, in a
// line [choice].
const freshMV, spentMV = 1580, 900

func (s Supply) openCircuit(usedMAh float64) uint16 {
	left := 1 - usedMAh/s.CapacityMAh
	return uint16(math.Round(max(0, float64(s.Cells)*(spentMV+(freshMV-spentMV)*left))))
}

// usedAt is the inverse of openCircuit.
func (s Supply) usedAt(millivolts float64) float64 {
	return s.CapacityMAh * (1 - (millivolts/float64(s.Cells)-spentMV)/(freshMV-spentMV))
}

// loaded returns the voltage under the servo's load and the current at the source.
func (s *supplyState) loaded(c *Supply) (mv uint16, mA float64) {
	v, r := float64(s.source), s.milliOhms/1000 // mV, Ω: mA × Ω = mV
	if s.loadMA == 0 || s.servo.millivolts > 0 {
		return s.source, 0
	}
	if !c.Boost {
		return uint16(max(0, v-s.loadMA*r)), s.loadMA
	}
	power := boostMV * s.loadMA / (c.EfficiencyPC / 100) // µW
	root := v*v - 4*r*power
	if root < 0 { // the source cannot give that power: the voltage collapses
		return uint16(v / 4), (v * 3 / 4) / r
	}
	out := (v + math.Sqrt(root)) / 2
	return uint16(out), power / out
}

// supplyChanged brings the AVR's and the clock's supply up to date.
func (b *Board) supplyChanged() {
	s := &b.supply
	now := b.Nanos()
	b.account(now)
	mv := uint16(0)
	s.drawnMA = 0
	if s.on && !s.tripped {
		mv, s.drawnMA = s.loaded(&b.cfg.Supply)
	}
	b.watchLimit(now)
	if powered := mv >= clockVPF; powered != b.clock.Powered() {
		b.clock.SetPower(now, powered)
		if !powered {
			b.memory.powerOff(now, &b.random)
		}
		b.clockChanged()
	}
	if mv == s.millivolts {
		return
	}
	s.millivolts = mv
	b.event(SupplyChanged, int64(mv))
	b.mcu.SetSupply(mv)
	b.tune()
}

// account adds the charge that the servo drew.
func (b *Board) account(now uint64) {
	s := &b.supply
	s.usedMAh += s.drawnMA * float64(now-s.since) / 3.6e12
	s.since = now
	if b.cfg.Supply.Cells > 0 {
		s.source = b.cfg.Supply.openCircuit(s.usedMAh)
	}
}

// PowerOff cuts the supply at this cycle; the clock goes on from its backup cell. SRAM is forgotten.
func (b *Board) PowerOff() {
	if !b.supply.on {
		return
	}
	b.supply.on = false
	b.supplyChanged()
	b.mcu.Scramble(b.random.next())
}

// PowerOn gives the supply back.
func (b *Board) PowerOn() {
	b.supply.on = true
	b.supplyChanged()
}

// Powered reports whether the supply is on.
func (b *Board) Powered() bool { return b.supply.on }

// SetSource changes the voltage without load and, if not negative, the source's resistance. A board on cells gets cells
// so far used that they have that voltage.
func (b *Board) SetSource(millivolts uint16, milliOhms float64) {
	s := &b.supply
	b.account(b.Nanos())
	s.source = millivolts
	if b.cfg.Supply.Cells > 0 {
		s.usedMAh = b.cfg.Supply.usedAt(float64(millivolts))
	}
	if milliOhms >= 0 {
		s.milliOhms = milliOhms
	}
	b.supplyChanged()
}

// UsedMAh is the charge the servo has taken from each cell.
func (b *Board) UsedMAh() float64 {
	b.account(b.Nanos())
	return b.supply.usedMAh - b.cfg.Supply.UsedMAh
}

// Millivolts is the supply at the AVR.
func (b *Board) Millivolts() int { return int(b.supply.millivolts) }

// SetBackup inserts the clock's backup cell, or removes it (or lets it be flat).
func (b *Board) SetBackup(good bool) {
	b.clock.SetCell(b.Nanos(), good)
	b.clockChanged()
}

// StopCrystal makes the clock's oscillator stand still, or run again.
func (b *Board) StopCrystal(dead bool) {
	b.clock.SetDead(b.Nanos(), dead)
	b.clockChanged()
}

// SetClockDrift sets how much too fast the clock's crystal is, in parts per billion.
func (b *Board) SetClockDrift(ppb int64) {
	b.clock.SetDrift(b.Nanos(), ppb)
	b.clockChanged()
}

// SetTemperature sets the temperature of clock and AVR in quarter degrees Celsius.
func (b *Board) SetTemperature(quarterDegrees int16) {
	b.quarterDegrees = quarterDegrees
	b.tune()
	b.clock.SetTemperature(b.Nanos(), quarterDegrees)
	b.clockChanged()
}

// Reset pulls the AVR's RESET pin low for a moment, as a USB bridge does through a capacitor when the port is opened.
func (b *Board) Reset() {
	b.mcu.SetReset(true)
	b.mcu.RunFor(b.cfg.ClockHz / 10_000) // 0.1 ms
	b.mcu.SetReset(b.wrong.inReset)
}
