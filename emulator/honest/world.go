package honest

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"time"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/emulator/cable"
	"mealtab/firmware-template/image"
	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// Images are the firmware images of the sweep: boards and sensors.
var Images = []string{"m328-mains", "m328-cells", "m168-mains", "m328-index", "m328-barrier", "m328-both"}

// hasIndex and hasBarrier are the sensors that an image is built for.
func hasIndex(image string) bool   { return image == "m328-index" || image == "m328-both" }
func hasBarrier(image string) bool { return image == "m328-barrier" || image == "m328-both" }
func onCells(image string) bool    { return image == "m328-cells" }

// plan is what is served in a run, and when it is looked at: minutes of the day, UTC.
type plan struct {
	meals  []meal
	late   int           // minutes
	probes []int         // between two servings, when each is settled
	gap    time.Duration // longest between two servings
	end    time.Time
	mend   time.Time // when all is mended; zero: never
}

type meal struct{ minute, pockets int }

// days is three meals a day for three days: seven servings with the fault, two after it is mended. evening is three meals in
// three hours, for the many runs that cannot take days.
var (
	days = plan{
		meals: []meal{{6 * 60, 4}, {12 * 60, 2}, {18 * 60, 7}}, late: 120, probes: []int{9 * 60, 15 * 60, 21 * 60}, gap: 12 * time.Hour,
		end: day1.Add(3*24*time.Hour + 15*time.Hour + time.Second), mend: day1.Add(2*24*time.Hour + 22*time.Hour),
	}
	evening = plan{
		meals: []meal{{18 * 60, 7}, {19*60 + 30, 4}, {21 * 60, 2}}, late: 60, probes: []int{19*60 + 20, 20*60 + 50, 22*60 + 20}, gap: 21 * time.Hour,
		end: day1.Add(22*time.Hour + 20*time.Minute + time.Second),
	}
)

const (
	perHour       = 2
	perDay        = 6
	perPress      = 1  // pockets
	mostAsked     = 20 // pockets in one request over the line [MESSAGES.md, SERVE]
	mostAskedADay = 40 // by button and line
	runStart      = 16 * time.Hour
	settleTime    = 2 * time.Hour    // a feeder is in service for so long before
	closeTime     = 10 * time.Second // before the serving
)

var day1 = time.Date(2027, 6, 1, 0, 0, 0, 0, time.UTC)

// aim is the serving that faults are timed by: seven pockets.
var aim = day1.Add(18 * time.Hour)

func (p *plan) table(b *profile.Profile) ([]byte, error) {
	w := table.Wheel{PocketUnits: 1, TurnMillis: 310}
	t := &table.Table{Board: b.Code, Start: 9000, Through: table.MaxDay, Late: p.late, Wheel: w, Button: table.DefaultButton(w)}
	for _, m := range p.meals {
		t.Meals = append(t.Meals, table.Meal{Portion: uint32(m.pockets), Parts: []table.Part{{Times: table.Times{List: []uint16{uint16(m.minute)}}}}})
	}
	return table.Encode(t)
}

// planned is what the plan gives in a span of the world's time, and when the last of it.
func (p *plan) planned(from, to time.Time) (pockets int, last time.Time) {
	for day := from.Truncate(24 * time.Hour); day.Before(to); day = day.Add(24 * time.Hour) {
		for _, m := range p.meals {
			if at := day.Add(time.Duration(m.minute) * time.Minute); !at.Before(from) && at.Before(to) {
				pockets += m.pockets
				last = at
			}
		}
	}
	return pockets, last
}

// Supply is where the current comes from in a run.
type Supply struct {
	Name  string
	cells bool
	set   func(c *board.Config)
}

// Supplies are those of the sweep: good ones, and such as a builder has without knowing.
func Supplies() []Supply {
	return []Supply{
		{"good", false, func(*board.Config) {}},
		{"long lead", false, func(c *board.Config) { c.Supply.MilliOhms = 1200 }},
		{"small adapter", false, func(c *board.Config) { c.Supply.Limit.MA = 600 }},
		{"two adapters", false, func(c *board.Config) { c.Supply.ServoMillivolts, c.Supply.ServoMilliOhms = 5000, 100 }},
		{"fresh cells", true, func(*board.Config) {}},
		{"half-used cells", true, func(c *board.Config) { c.SetVolts(3.4) }},
	}
}

// suppliesFor are the supplies that an image runs on, the good one first.
func suppliesFor(image string) (list []Supply) {
	for _, s := range Supplies() {
		if s.cells == onCells(image) {
			list = append(list, s)
		}
	}
	return list
}

// profileOf is the board that an image is for.
func profileOf(name string) (*profile.Profile, error) {
	if b, ok := profile.Named(name); ok {
		return b, nil
	}
	return nil, fmt.Errorf("no board for the image %q; there are %s", name, strings.Join(Images, ", "))
}

// Bases are feeders in service, from which runs are forked: made once for each image and supply.
type Bases map[string]*base

// base is a feeder in service.
type base struct {
	start *board.Board // at runStart
	close *board.Board // shortly before the serving that faults are timed by
	turn  time.Time    // when that serving's wheel begins to turn, undisturbed
}

// base returns the feeder of an image on a supply, two hours in service.
func (l Bases) base(name string, s Supply, of *plan) (*base, error) {
	key := fmt.Sprint(name, s.Name, of.late, of.meals)
	if b, ok := l[key]; ok {
		return b, nil
	}
	b, err := inService(name, s, of)
	if err != nil {
		return nil, err
	}
	made := &base{start: b, close: b.Fork()}
	made.close.RunUntil(aim.Add(-closeTime))
	if made.turn, err = firstTurn(made.close.Fork()); err != nil {
		return nil, fmt.Errorf("%s, %s: %w", name, s.Name, err)
	}
	l[key] = made
	return made, nil
}

// firstTurn is when the wheel begins to turn. A board without a crystal times its oscillator first, so that this may be
// seconds after the minute.
func firstTurn(b *board.Board) (at time.Time, err error) {
	b.Observe(func(e board.Event) {
		if e.Kind == board.TurnStarted && at.IsZero() {
			at = b.Time(e.At)
			b.MCU().Stop()
		}
	})
	for end := aim.Add(time.Minute); at.IsZero() && b.Now().Before(end); {
		b.RunUntil(end)
	}
	if at.IsZero() {
		return at, fmt.Errorf("undisturbed, the wheel does not turn within a minute of %v", aim)
	}
	return at, nil
}

// inService makes a feeder that has its table and its time for two hours.
func inService(name string, s Supply, of *plan) (*board.Board, error) {
	p, err := profileOf(name)
	if err != nil {
		return nil, err
	}
	hex, ok := image.Hex(name)
	if !ok {
		return nil, fmt.Errorf("there is no image %s", name)
	}
	c := board.ForProfile(p)
	if c.Firmware, err = avr.ReadImage(hex); err != nil {
		return nil, err
	}
	c.Start = day1.Add(runStart - settleTime)
	c.Wheel.HopperMg = 1e9
	s.set(&c)
	b, err := board.New(c)
	if err != nil {
		return nil, err
	}
	encoded, err := of.table(p)
	if err != nil {
		return nil, err
	}
	if err := b.Program(encoded); err != nil {
		return nil, err
	}
	spare(b, encoded)
	b.SetClock(b.Now())
	b.RunUntil(day1.Add(runStart))
	return b, nil
}

// spare puts the table into the other bank, as the one before, as a second upload leaves it.
func spare(b *board.Board, encoded []byte) {
	e := b.MCU().EEPROM()
	m, _ := table.MapFor(len(e))
	e[m.Bank(1)] = table.Committed
	copy(e[m.TableOffset(1):], table.WithSequence(encoded, 0xFF))
}

// world is one feeder and what happens to it.
type world struct {
	b     *board.Board
	cable *cable.Cable // to a computer
	turn  time.Time    // when the wheel begins to turn, undisturbed
	phase int
	acts  []act // in order
}

// act is something that is to happen.
type act struct {
	repeat bool // of a fault that goes on: ends when it is mended
	at     time.Time
	do     func()
}

// plan lets something happen at an instant.
func (w *world) plan(at time.Time, do func()) { w.insert(act{at: at, do: do}) }

func (w *world) insert(a act) {
	i, _ := slices.BinarySearchFunc(w.acts, a.at, func(a act, t time.Time) int {
		if a.at.After(t) {
			return 1
		}
		return -1 // after those at the same instant
	})
	w.acts = slices.Insert(w.acts, i, a)
}

// after lets something happen so long from now.
func (w *world) after(d time.Duration, do func()) { w.plan(w.b.Now().Add(d), do) }

// Phases is how many phases a fault is tried at.
const Phases = 8

// onset is when a fault begins: long before the serving, before the servo has power, before the wheel turns, at five instants
// of its turning, the last in the last pocket. A pocket takes 310 ms.
func (w *world) onset() time.Time {
	if w.phase == 0 {
		return aim.Add(-90 * time.Minute)
	}
	return w.turn.Add([Phases]time.Duration{
		0, -140 * time.Millisecond, -20 * time.Millisecond, 130 * time.Millisecond, 500 * time.Millisecond, 930 * time.Millisecond,
		1520 * time.Millisecond, 2110 * time.Millisecond,
	}[w.phase])
}

// jamAt is how far the wheel turns until a jam, in pockets.
func (w *world) jamAt() float64 {
	return [Phases]float64{0.05, 0.2, 1.35, 0.5, 2.65, 0.8, 3.95, 1.1}[w.phase]
}

// setClock sets the feeder's clock with one request, for a fault that belongs to a moment of a serving: a program sets it at the beginning of a
// second, and looks whether it was, which takes seconds.
func (w *world) setClock(to time.Time) {
	payload := binary.LittleEndian.AppendUint32(nil, uint32(to.Unix()-table.Epoch))
	_, _ = w.cable.Link("the line").Request(link.Call{Code: frame.ClockSet, Payload: payload})
}

// ask asks for a serving as a program on the owner's computer does, and does not wait for the answer. A board without power hears
// nothing.
func (w *world) ask(pockets int) {
	if !w.b.Powered() {
		return
	}
	w.b.Send(bytes.Repeat([]byte{frame.Preamble}, preambleBytes))
	w.after(100*time.Millisecond, func() {
		m, _ := table.MapFor(len(w.b.MCU().EEPROM()))
		newest, _ := table.NewestJournal(w.b.MCU().EEPROM(), m)
		w.b.Send(frame.Append(nil, []byte{frame.Serve, newest.Token, newest.Token + 1, byte(pockets), 0, 0}))
	})
}

const preambleBytes = 24 // wakes a board that sleeps

// flip changes a bit of the table in force, one further back at each phase, or changes it back.
func (w *world) flip() {
	e := w.b.MCU().EEPROM()
	m, _ := table.MapFor(len(e))
	t := e[m.TableOffset(0):]
	length := int(t[0]&0xF)<<8 | int(t[1])
	t[w.phase*(length-1)/(Phases-1)] ^= 1 << w.phase
}
