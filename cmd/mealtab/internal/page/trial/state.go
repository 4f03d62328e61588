package trial

import (
	"fmt"
	"time"

	"mealtab/emulator/board"
	"mealtab/emulator/board/ds3231"
	"mealtab/emulator/scenario"

	"mealtab/compiler/units"
)

// State is what there is to see of a feeder.
type State struct {
	Board    string   `json:"board"`
	Day      string   `json:"day"`  // local
	Time     string   `json:"time"` // local, with the zone's abbreviation
	Date     string   `json:"date"` // local, 2027-03-28
	Speed    float64  `json:"speed"`
	Hurrying string   `json:"hurrying"` // where it runs to as fast as it goes; "": nowhere
	Powered  bool     `json:"powered"`
	Volts    string   `json:"volts"`
	Int      bool     `json:"int"` // pulled low by the clock
	Wire     bool     `json:"wire"`
	Alarm1   string   `json:"alarm1"`
	Alarm2   string   `json:"alarm2"`
	Light    bool     `json:"light"`
	Servo    bool     `json:"servo"` // has power
	Angle    float64  `json:"angle"` // pockets since the beginning
	Pockets  int64    `json:"pockets"`
	Bowl     string   `json:"bowl"`
	Hopper   string   `json:"hopper"`
	Dry      bool     `json:"dry"` // nothing is left in the hopper
	Jammed   bool     `json:"jammed"`
	Log      []Line   `json:"log"`     // newest first
	Journal  []Record `json:"journal"` // newest first
}

// Record is one of the feeder's own records.
type Record struct {
	At    string `json:"at"`
	Event string `json:"event"`
	Value int    `json:"value"`
	Text  string `json:"text"` // in words, by whoever shows it
}

const shownRecords = 12

// State looks at the feeder.
func (f *Feeder) State() State {
	f.mu.Lock()
	defer f.mu.Unlock()
	now := f.local(f.b.Now())
	s := State{
		Board: f.o.Board, Day: now.Format("Monday 2 January 2006"), Time: now.Format("15:04:05 MST"), Date: now.Format(time.DateOnly), Speed: f.speed,
		Powered: f.b.Powered(), Volts: fmt.Sprintf("%.2f V", float64(f.b.Millivolts())/1000), Wire: f.wire, Light: f.b.LED(), Servo: f.b.BoostOn(),
		Angle: f.b.Angle(), Pockets: f.b.Pockets(), Bowl: units.Milligrams(f.bowlMg).Tenths(), Hopper: units.Milligrams(f.b.HopperMg()).Tenths(), Dry: f.b.HopperMg() < 1, Jammed: f.jammed, Log: []Line{}, Journal: []Record{},
	}
	if !f.goal.IsZero() {
		s.Hurrying = f.local(f.goal).Format("2 January 2006 15:04")
	}
	f.alarms(&s)
	for i := len(f.log) - 1; i >= 0; i-- {
		s.Log = append(s.Log, f.log[i])
	}
	past := scenario.History(f.b)
	for i := len(past) - 1; i >= 0 && len(s.Journal) < shownRecords; i-- {
		s.Journal = append(s.Journal, Record{f.local(past[i].At.Time()).Format("Mon 2006-01-02 15:04"), past[i].Event, past[i].Value, ""})
	}
	return s
}

func (f *Feeder) local(t time.Time) time.Time {
	o := f.o.Clock.At(t.Unix())
	return t.In(time.FixedZone(o.Abbrev, o.Seconds))
}

// alarms reads the clock chip's alarm registers: alarm 1 is the next serving, alarm 2 the daily heartbeat.
func (f *Feeder) alarms(s *State) {
	now := f.b.Nanos()
	reg := func(at uint8) uint8 { return f.b.Clock().Register(now, at) }
	s.Int = f.b.Clock().Low(now)
	s.Alarm1, s.Alarm2 = "off", "off"
	if reg(ds3231.Control)&ds3231.A1IE != 0 {
		s.Alarm1 = "not by a date"
		if (reg(ds3231.A1Seconds)|reg(ds3231.A1Minutes)|reg(ds3231.A1Hours)|reg(ds3231.A1Day))&ds3231.AxM == 0 && reg(ds3231.A1Day)&ds3231.DYDT == 0 {
			s.Alarm1 = f.dated(bcd(reg(ds3231.A1Day)), bcd(reg(ds3231.A1Hours)), bcd(reg(ds3231.A1Minutes)))
		}
	}
	if reg(ds3231.Control)&ds3231.A2IE != 0 {
		s.Alarm2 = fmt.Sprintf("every day at %02d:%02d UTC", bcd(reg(ds3231.A2Hours)&0x7F), bcd(reg(ds3231.A2Minutes)&0x7F))
	}
}

func bcd(v uint8) int { return int(v>>4)*10 + int(v&15) }

// dated finds the next instant with a day of the month and a time of UTC. No two dates of one number are further apart than
// from 31 December over a short month: 62 days.
func (f *Feeder) dated(day, hour, minute int) string {
	now := f.b.Now()
	for i := range 63 {
		t := time.Date(now.Year(), now.Month(), now.Day()+i, hour, minute, 0, 0, time.UTC)
		if t.Day() == day && !t.Before(now.Truncate(time.Minute)) {
			return f.local(t).Format("Mon 2 January 15:04")
		}
	}
	return "never"
}

// mostLines bounds the log.
const mostLines = 60

func (f *Feeder) say(text string) {
	f.log = append(f.log, Line{f.local(f.b.Now()).Format("2 Jan 15:04:05"), text})
	if len(f.log) > mostLines {
		f.log = f.log[len(f.log)-mostLines:]
	}
}

// event puts what an owner would notice into the log.
func (f *Feeder) event(e board.Event) {
	switch e.Kind {
	case board.SupplyChanged:
		if (e.Value == 0) != (f.volts == 0) {
			f.say(map[bool]string{true: "the power is gone", false: "the power is back"}[e.Value == 0])
		}
		f.volts = e.Value
	case board.WasReset:
		f.say("the chip starts anew")
	case board.ClockInt:
		if e.Value != 0 {
			f.say("the clock rings: INT goes low")
		}
	case board.TurnStarted:
		f.turnMg = 0
	case board.PocketFell:
		f.turnMg += e.Value
		f.bowlMg += e.Value
	case board.TurnEnded:
		f.say(fmt.Sprintf("the wheel turns %s, %s fall", units.Count(int(e.Value), "pocket"), units.Milligrams(f.turnMg).Tenths()))
	case board.Button:
		if e.Value != 0 {
			f.say("the " + []string{"feed", "portion", "plan"}[e.Arg%3] + " button is pressed")
		}
	case board.RuleBroken:
		f.say("a rule of the chip is broken: " + e.Text)
	}
}
