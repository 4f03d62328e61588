package bench

import (
	"errors"
	"fmt"
	"time"

	"mealtab/flasher"
	"mealtab/flasher/link"
)

const (
	// watched is how long the clock is watched; two looks over a line are wrong by 20 ms together.
	watched = 4 * time.Second
	// mostOff is how far it may be off in that time: a crystal is right to a thousandth of it, a chip that is not a clock to nothing.
	mostOff = 200 * time.Millisecond
	// outage is how long the builder takes the supply away to see whether the coin cell keeps the time.
	outage = 10 * time.Second
)

// clock tries the clock chip: it answers, keeps what it is set to, ticks, and its interrupt wire arrives.
func (w *walk) clock() (err error) {
	w.Person.Say("Clock: reading it, watching it for some seconds, and letting it pull its interrupt wire.")
	if w.state, err = w.feeder.Status(); err != nil {
		return err
	}
	pins, err := w.begin()
	if err != nil {
		return err
	}
	reading, err := w.feeder.ReadClock()
	switch {
	case errors.Is(err, flasher.ErrNoClock):
		w.wrong("clock", "it does not answer the board", append(busSigns(w.services, pins), ClockSilent)...)
		return nil
	case err != nil:
		return err
	}
	lost := reading.Stopped && !w.state.ClockSet.IsZero()
	twelve := w.services && pins&flasher.PinTwelve != 0
	if reading.Stopped {
		reading, err = w.feeder.SetClock()
		var computer *flasher.ComputerClockError
		switch {
		case errors.Is(err, flasher.ErrNoClock):
			w.wrong("clock", "it answers, but does not keep the time that it is set to", ClockStops)
			return nil
		case errors.As(err, &computer):
			w.leftOut("clock", "it answers, but has no time, and this computer's own is not to be trusted: %v", err)
			return nil
		case err != nil:
			return err
		}
	}
	if err := w.ticks(reading, lost, twelve); err != nil {
		return err
	}
	return w.interrupt(pins)
}

// ticks watches a clock that has a time.
func (w *walk) ticks(first flasher.Reading, lost, twelve bool) error {
	w.Link.Transport().Sleep(watched)
	second, err := w.feeder.ReadClock()
	if err != nil && !errors.Is(err, flasher.ErrNoClock) {
		return err
	}
	off := second.Offset - first.Offset
	passed := second.At.Sub(first.At)
	switch {
	case err != nil:
		w.wrong("clock", "it answers only now and then", ClockSilent)
	case second.Stopped:
		w.wrong("clock", "it answers, but stopped again after it was set", ClockStops)
	case off < -passed*9/10:
		w.wrong("clock", "its seconds stand still", ClockStands)
	case off.Abs() > mostOff:
		w.wrong("clock", fmt.Sprintf("in %.1f s it was off by %.1f s", passed.Seconds(), off.Seconds()), ClockOff)
	case lost && !twelve:
		w.wrong("clock", fmt.Sprintf("it was set on %s and has lost its time since; it is set now and ticks", w.state.ClockSet.Format(time.DateOnly)), ClockLost)
	case twelve:
		w.right("clock", "it answers, counted in twelve hours, was set to twenty-four and ticks")
	default:
		w.right("clock", "it answers and keeps time")
	}
	return nil
}

// interrupt lets the clock pull its wire.
func (w *walk) interrupt(pins flasher.Pins) error {
	if !w.services {
		w.leftOut("interrupt wire", "this board has no room for the test; without the wire its servings come up to 15 minutes late")
		return nil
	}
	rung, err := w.serve(flasher.Ring, 2, 0)
	if err != nil {
		return w.mayRefuse("interrupt wire", err)
	}
	others := map[flasher.Pins]string{flasher.PinFeed: "feed button", flasher.PinPortion: "portion button", flasher.PinPlan: "plan button", flasher.PinIndex: "index switch"}
	switch {
	case rung.Before&flasher.PinInt != 0 && pins&flasher.PinInt != 0:
		w.wrong("interrupt wire", "it is low all the time", IntLow)
	case rung.Seen&flasher.PinInt != 0:
		w.right("interrupt wire", "it falls when the clock rings, and rises again")
	default:
		for pin, name := range others {
			if rung.Seen&^rung.Before&pin != 0 {
				w.wrong("interrupt wire", fmt.Sprintf("when the clock rings, the pin of the %s falls", name), IntElsewhere)
				return nil
			}
		}
		w.wrong("interrupt wire", "the clock rings, and the pin does not fall", IntNever)
	}
	return nil
}

// busSigns is what the levels of SDA and SCL say.
func busSigns(known bool, pins flasher.Pins) []Symptom {
	if !known {
		return nil
	}
	if pins&flasher.PinCrossed != 0 {
		return []Symptom{Crossed}
	}
	const pulled, floating, low = 0, 1, 2
	state := func(pull, free flasher.Pins) int {
		switch {
		case pins&pull != 0:
			return pulled
		case pins&free != 0:
			return floating
		}
		return low
	}
	sda, scl := state(flasher.PinSDAPulled, flasher.PinSDAFree), state(flasher.PinSCLPulled, flasher.PinSCLFree)
	switch {
	case sda == scl:
		return []Symptom{[]Symptom{BothPulled, BothFloating, BothLow}[sda]}
	case sda == low || scl == low:
		if sda == low {
			return []Symptom{SDALow}
		}
		return []Symptom{SCLLow}
	case sda == floating:
		return []Symptom{SDAFloating}
	}
	return []Symptom{SCLFloating}
}

// memory tries the memory beside the clock, and the bank of the EEPROM that is not in force.
func (w *walk) memory() error {
	w.Person.Say("Memory: the chip beside the clock, and the EEPROM, by writing and reading the bank that is not in force.")
	switch {
	case w.has(ClockSilent):
		w.leftOut("memory chip", "the clock module does not answer")
	case w.feeder.ID.HistorySlots == 0:
		w.leftOut("memory chip", "this board keeps no history")
	case w.feeder.ID.HistorySlots <= w.feeder.Map.HistorySlots:
		w.wrong("memory chip", "the memory at 57 beside the clock does not answer; the history goes to the few places in the chip", MemoryMissing)
	default:
		w.right("memory chip", "room for %d records of history", w.feeder.ID.HistorySlots)
	}
	if w.state.Bank != flasher.NoBank && w.ask("memory-ready", "The table in force stays, the one before it, which stands in if the first is ever damaged, is lost with this. Go on?") != Yes {
		w.leftOut("EEPROM", "the bank that is not in force was not to be written")
		return nil
	}
	for _, pattern := range []byte{0x55, 0xAA} {
		at, err := w.feeder.TrySpareBank(pattern)
		if err != nil {
			return err
		}
		if at >= 0 {
			w.wrong("EEPROM", fmt.Sprintf("the byte at %d does not keep %02X", at, pattern), EEPROMBad)
			return nil
		}
	}
	w.right("EEPROM", "each byte of the spare bank keeps ones and zeros")
	return nil
}

// supply looks at it at rest.
func (w *walk) supply() error {
	volts := float64(w.state.SupplyMV) / 1000
	if w.state.SupplyMV < w.profile.MinSupplyMV {
		w.wrong("supply", fmt.Sprintf("%.2f V at rest; the wheel is not turned below %.1f V", volts, float64(w.profile.MinSupplyMV)/1000), SupplyLow)
		return nil
	}
	w.right("supply", "%.2f V at rest", volts)
	return nil
}

// coinCell has the supply taken away for some seconds.
func (w *walk) coinCell() error {
	if w.has(ClockSilent) || w.has(ClockStops) || w.has(ClockStands) || w.has(ClockLost) {
		return nil
	}
	answer := w.ask("coin-cell", fmt.Sprintf("Take the supply and the USB plug away for %d seconds, put both back: done?", int(outage.Seconds())))
	if answer != Done {
		w.leftOut("coin cell", "the supply was not taken away")
		return nil
	}
	f, err := w.reconnect()
	if err != nil {
		return err
	}
	w.feeder = f
	reading, err := f.ReadClock()
	switch {
	case errors.Is(err, flasher.ErrNoClock):
		w.wrong("coin cell", "after the supply came back the clock does not answer", ClockSilent)
	case err != nil:
		return err
	case reading.Stopped:
		w.wrong("coin cell", "the clock has lost its time with the supply", ClockLost)
		_, err = f.SetClock()
		return err
	default:
		w.right("coin cell", "it keeps the time without the supply")
	}
	return nil
}

// reconnect finds the board again after it was without supply.
func (w *walk) reconnect() (*flasher.Feeder, error) {
	w.Link = link.New(w.Link.Transport(), w.Link.Name(), w.Link.Baud()) // what the old one knows of the line is no longer so: a bootloader comes first
	f, err := flasher.Connect(w.Link)
	if !errors.Is(err, link.ErrClosed) || w.Reopen == nil {
		return f, err
	}
	w.Link.Close()
	l, err := w.Reopen()
	if err != nil {
		return nil, err
	}
	w.Link = l
	return flasher.Connect(l)
}
