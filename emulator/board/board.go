package board

import (
	"fmt"
	"time"

	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board/ds3231"
)

const never = 1<<64 - 1

// Slots of the board's own events.
const (
	slotClock   = iota // INT of the clock may change
	slotServo          // the servo lets go, or the wheel comes to rest
	slotButton0        // contact of a button moves
	slotButton1
	slotButton2
	slotLine  // the next byte on RXD
	slotIndex // the index switch bounces
	slotBeam  // kibble comes to the light barrier, or is past it
	slotLimit // the supply's current limit trips, or tries again
	slots
)

// Board is one feeder. It is not safe for concurrent use; forks are independent of each other.
type Board struct {
	mcu *avr.MCU
	cfg Config
	state
	observe func(Event)
	ignored uint32 // kinds of event, as bits, that the observer does not want
	listen  func(data byte, bit time.Duration)
}

// state is everything that a snapshot holds beside the AVR: plain values, so that copying it copies the board.
type state struct {
	due      [slots]uint64
	clock    ds3231.Chip
	memory   memory
	bus      busState
	wheel    wheelState
	sensors  sensorState
	buttons  [buttonCount]buttonState
	supply   supplyState
	random   random
	led      bool
	marginal bool // a cut leaves marginal bits
	intWire  bool // connected
	intLow   bool // at the AVR
	line     lineState
	wrong    miswired

	oscillator     Oscillator
	baseHz         uint64 // of the AVR's oscillator now
	quarterDegrees int16  // of the air
}

// New returns a board whose supply has just come on for the first time, with a firmware and a clock that is not set.
// The error says what the configuration lacks.
func New(c Config) (*Board, error) {
	if err := c.complete(); err != nil {
		return nil, err
	}
	b := &Board{cfg: c}
	b.random = random(c.Seed)
	for i := range b.due {
		b.due[i] = never
	}
	b.intWire = true
	b.clock = ds3231.New(0, b.random.next())
	b.clock.SetDrift(0, c.ClockDriftPPB)
	b.memory.init()
	b.wheel.init(&b.cfg)
	b.sensors.wants, b.sensors.closed = c.Wheel.Index, c.Wheel.Index
	b.oscillator, b.baseHz, b.quarterDegrees = c.Oscillator, c.ClockHz, trimQuarters
	b.supply.init(&b.cfg)
	b.mcu = avr.New(avr.Config{
		Part: c.Part, Fuses: c.Fuses, ClockHz: c.ClockHz, WatchdogHz: c.WatchdogHz,
		Supply: b.supply.millivolts, Options: c.Options,
	})
	b.mcu.SetHooks(b.hooks()) // not before: they look at the chip
	if c.Firmware != nil {
		if err := b.mcu.Load(c.Firmware); err != nil {
			return nil, fmt.Errorf("firmware: %w", err)
		}
	}
	b.mcu.Scramble(b.random.next())
	b.SetReference(c.ReferencePC)
	b.tune()
	if c.Wheel.Index { // closed: the wheel stands at a pocket's place
		b.input(c.wires.index, true)
	}
	if c.Wheel.Barrier { // lit
		b.input(c.wires.barrier, false)
	}
	// The module's pull-ups.
	b.mcu.SetInput(c.wires.clockInt.port, c.wires.clockInt.bit, avr.High)
	b.mcu.SetInput(avr.PortC, pinSDA, avr.High)
	b.mcu.SetInput(avr.PortC, pinSCL, avr.High)
	return b, nil
}

func (b *Board) hooks() avr.Hooks {
	h := avr.Hooks{
		Pins: b.pins, Bus: twoWire{b}, Transmit: b.sent, Alarm: b.alarm, Reset: b.wasReset, ClockChanged: b.reschedule,
		TornByte: b.tornByte, Violation: b.violation,
	}
	if b.cfg.Trace {
		h.Sleep = b.slept
	}
	return h
}

// Observe makes f see every event from now on, but for some kinds; nil: nobody.
func (b *Board) Observe(f func(Event), but ...Kind) {
	b.observe, b.ignored = f, 0
	for _, k := range but {
		b.ignored |= 1 << k
	}
}

// observes reports whether someone wants events of a kind.
func (b *Board) observes(k Kind) bool { return b.observe != nil && b.ignored>>k&1 == 0 }

func (b *Board) event(k Kind, value int64) { b.eventArg(k, 0, value) }

func (b *Board) eventArg(k Kind, arg uint8, value int64) {
	if b.observes(k) {
		b.observe(Event{At: b.mcu.Nanos(), Kind: k, Arg: arg, Value: value})
	}
}

// MCU is the chip, for tests and debuggers.
func (b *Board) MCU() *avr.MCU { return b.mcu }

// Nanos is the time since the beginning.
func (b *Board) Nanos() uint64 { return b.mcu.Nanos() }

// Now is the time of the world.
func (b *Board) Now() time.Time { return b.Time(b.Nanos()) }

// Time is the instant of UTC so many nanoseconds after the beginning.
func (b *Board) Time(nanos uint64) time.Time {
	return b.cfg.Start.Add(time.Duration(nanos / 1e9 * 1e9)).Add(time.Duration(nanos % 1e9))
}

// NanosOf is the inverse of Time; an instant before the beginning is the beginning.
func (b *Board) NanosOf(t time.Time) uint64 {
	d := t.Unix() - b.cfg.Start.Unix()
	nanos := d*1e9 + int64(t.Nanosecond()-b.cfg.Start.Nanosecond())
	return uint64(max(nanos, 0))
}

// RunTo runs until so many nanoseconds after the beginning.
func (b *Board) RunTo(nanos uint64) avr.StopReason { return b.mcu.Run(b.mcu.CycleAt(nanos)) }

// RunUntil runs until an instant.
func (b *Board) RunUntil(t time.Time) avr.StopReason { return b.RunTo(b.NanosOf(t)) }

// Run runs for a while.
func (b *Board) Run(d time.Duration) avr.StopReason { return b.RunTo(b.Nanos() + uint64(d)) }

// Program puts an alarm table into bank 0, committed, as a device programmer does.
func (b *Board) Program(encoded []byte) error {
	m, ok := table.MapFor(len(b.mcu.EEPROM()))
	if !ok || len(encoded) > m.TableRoom() {
		return fmt.Errorf("a table of %d bytes does not fit the board's bank of %d", len(encoded), m.BankSize)
	}
	e := b.mcu.EEPROM()
	e[m.Bank(0)] = table.Committed
	copy(e[m.TableOffset(0):], encoded)
	return nil
}

// SetClock sets the clock chip to the world's time, or any other, as a programmer does.
func (b *Board) SetClock(t time.Time) {
	t = t.UTC()
	weekday := uint8((t.Weekday()+6)%7) + 1
	ofDay := uint32(t.Hour()*3600 + t.Minute()*60 + t.Second())
	b.clock.Set(b.Nanos(), uint8(t.Year()%100), uint8(t.Month()), uint8(t.Day()), weekday, ofDay)
	b.clockChanged()
}

// StepClock sets the clock chip so much ahead, or back if below zero, of what it says.
func (b *Board) StepClock(by time.Duration) { b.SetClock(b.ClockTime().Add(by)) }

// ClockTime is what the clock chip says.
func (b *Board) ClockTime() time.Time {
	r := func(at uint8) int { v := int(b.clock.Register(b.Nanos(), at)); return v>>4*10 + v&0xF }
	return time.Date(2000+r(ds3231.Year), time.Month(r(ds3231.Month)&0x7F), r(ds3231.Date), r(ds3231.Hours)&0x3F,
		r(ds3231.Minutes), r(ds3231.Seconds), 0, time.UTC)
}

// Clock is the clock chip, for looking at its registers.
func (b *Board) Clock() *ds3231.Chip { return &b.clock }

// set schedules a slot.
func (b *Board) set(slot int, at uint64) {
	if b.due[slot] != at {
		b.due[slot] = at
		b.reschedule()
	}
}

func (b *Board) reschedule() {
	next := uint64(never)
	for _, at := range &b.due {
		next = min(next, at)
	}
	if next == never {
		b.mcu.CancelAlarm()
		return
	}
	b.mcu.SetAlarm(b.mcu.CycleAt(next))
}

// alarm runs everything that is due.
func (b *Board) alarm() {
	now := b.Nanos()
	for slot := range b.due {
		if b.due[slot] > now {
			continue
		}
		b.due[slot] = never
		switch slot {
		case slotClock:
			b.clockChanged()
		case slotServo:
			b.servoTimer(now)
		case slotButton0, slotButton1, slotButton2:
			b.contact(slot-slotButton0, now)
		case slotLine:
			b.nextByte()
		case slotIndex:
			b.bounceIndex(now)
		case slotBeam:
			b.beamNow(now)
		case slotLimit:
			b.limitTimer(now)
		}
	}
	b.reschedule()
}

func (b *Board) wasReset(cause uint8) {
	b.bus.masterReset(&b.random)
	b.event(WasReset, int64(cause))
	b.clockPin()
}

func (b *Board) slept(asleep bool) { b.event(Asleep, bit(asleep)) }

func (b *Board) violation(v avr.Violation) {
	if b.observes(RuleBroken) {
		b.observe(Event{At: b.Nanos(), Kind: RuleBroken, Text: v.String()})
	}
}

// TearMarginally makes bits on which a power cut falls, in a byte that is being written, read as 0 or 1 by chance until
// they are written again, or ends that for further cuts.
func (b *Board) TearMarginally(on bool) { b.marginal = on }

// tornByte leaves any mixture the cell physics allows; see avr.Torn. A write without erasing can only clear bits.
func (b *Board) tornByte(addr uint16, old, data uint8, erasing bool) uint8 {
	const writeOnly = 2 // EEPM1:0 in EECR [ATmega328P data sheet 8.6.3]
	torn, moving := avr.Torn(old, data, erasing, uint8(b.random.next())), ^data
	switch {
	case erasing:
		moving = ^old
	case b.mcu.Peek(avr.EECR)>>4&3 == writeOnly:
		torn &= old
		moving &= old
	}
	if b.marginal {
		b.mcu.Weaken(addr, moving&uint8(b.random.next()), b.random.next())
	}
	return torn
}

func bit(v bool) int64 {
	if v {
		return 1
	}
	return 0
}

// Reseed starts the generator anew, so that a fork meets another chance.
func (b *Board) Reseed(seed uint64) { b.random = random(seed) }
