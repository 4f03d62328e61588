package scenario

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"slices"
	"strconv"
	"strings"
	"time"

	"mealtab/compiler/profile"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
)

// A power-cut sweep runs a procedure undisturbed and notes every EEPROM write; then it cuts the power before, inside
// and after each of them, and at random cycles, leaves it off for a while, and looks at what the feeder makes of it.

// Cut is one cut. Its text form repeats it: "meal:w7.program:10m" (write 7, while programming), "meal:c183221:1s" (that
// many cycles after the start), "meal:c183221+9000000:1s" (and again, nine million cycles after the power is back); a "~"
// after the point says that a byte on which the cut falls keeps marginal bits.
type Cut struct {
	Sweep string        // "meal" or "upload"
	Point string        // "w7.before", "w7.erase", "w7.program", "w7.after", "c183221"
	Cycle uint64        // after the start of the procedure
	Again uint64        // cycles from the return of the power to a second cut; 0: none
	Off   time.Duration // without power

	Marginal bool // see board.TearMarginally
}

func (c Cut) String() string {
	again := ""
	if c.Again > 0 {
		again = "+" + strconv.FormatUint(c.Again, 10)
	}
	if c.Marginal {
		again += marginalSign
	}
	return c.Sweep + ":" + c.Point + again + ":" + c.Off.String()
}

const marginalSign = "~"

// Violation is a cut after which an invariant does not hold.
type Violation struct {
	Cut Cut
	Why string
}

func (v Violation) String() string { return v.Cut.String() + ": " + v.Why }

// Sweep is a procedure that can be cut.
type Sweep struct {
	Name   string
	base   *board.Board // as the procedure starts
	start  uint64       // its cycle
	length uint64       // cycles
	writes []uint64     // ends of the EEPROM writes, in cycles after the start
	sends  []send       // what the host says, when
	check  func(b *board.Board, c Cut) string

	// Progress, if set, is told after each cut of [Sweep.Run] how many have been made.
	Progress func(done int)
	// Tamper, if set, is called while the power is off: a test of the sweep itself spoils something then.
	Tamper func(b *board.Board)
}

// send is something the host puts on the line.
type send struct {
	at   uint64 // cycles after the start
	data []byte
	baud int
}

// OffTimes are how long the power stays off.
var OffTimes = []time.Duration{time.Second, 10 * time.Minute, 5 * time.Hour}

// Writes is how many EEPROM writes it makes.
func (s *Sweep) Writes() int { return len(s.writes) }

// WriteCuts lists the cuts at every EEPROM write: before it, in its erase phase, in its program phase and after it.
func (s *Sweep) WriteCuts() (list []Cut) {
	const micros = 3400 // erase and write [ATmega328P data sheet, table 8-1]
	hz := s.base.MCU().ClockHz()
	took := micros * hz / 1_000_000
	for i, end := range s.writes {
		for _, p := range []struct {
			name string
			at   uint64
		}{{"before", end - took - 2}, {"erase", end - took*3/4}, {"program", end - took/4}, {"after", end + 2}} {
			for _, off := range OffTimes {
				list = append(list, Cut{s.Name, fmt.Sprintf("w%d.%s", i, p.name), p.at, 0, off, false})
			}
		}
	}
	return list
}

// RandomCuts lists n cuts at random cycles.
func (s *Sweep) RandomCuts(n int, seed uint64) (list []Cut) {
	state := seed
	for range n {
		state = state*6364136223846793005 + 1442695040888963407
		cycle := (state >> 16) % s.length
		list = append(list, Cut{s.Name, "c" + strconv.FormatUint(cycle, 10), cycle, 0, OffTimes[state>>60%3], false})
	}
	return list
}

// RandomPairs lists n cuts at random cycles, each followed by a second one while the feeder recovers.
func (s *Sweep) RandomPairs(n int, seed uint64) []Cut {
	list := s.RandomCuts(n, seed)
	second := s.RandomCuts(n, seed+1)
	for i := range list {
		list[i].Again = 1 + second[i].Cycle
	}
	return list
}

// ParseCut reads a cut's text form.
func (s *Sweep) ParseCut(text string) (Cut, error) {
	c := Cut{Sweep: s.Name}
	bad := fmt.Errorf("%q is not a cut of %s, such as %s:w7.program:10m0s or %s:c183221:1s", text, s.Name, s.Name, s.Name)
	parts := strings.Split(text, ":")
	if len(parts) != 3 || parts[0] != s.Name {
		return c, bad
	}
	var err error
	if c.Off, err = time.ParseDuration(parts[2]); err != nil {
		return c, bad
	}
	parts[1], c.Marginal = strings.CutSuffix(parts[1], marginalSign)
	point, again, found := strings.Cut(parts[1], "+")
	if c.Point = point; found {
		if c.Again, err = strconv.ParseUint(again, 10, 64); err != nil {
			return c, bad
		}
	}
	if cycle, found := strings.CutPrefix(point, "c"); found {
		if c.Cycle, err = strconv.ParseUint(cycle, 10, 64); err != nil {
			return c, bad
		}
		return c, nil
	}
	for _, w := range s.WriteCuts() {
		if w.Point == point {
			c.Cycle = w.Cycle
			return c, nil
		}
	}
	return c, fmt.Errorf("%q: the procedure has no point %s; it writes %d bytes", text, point, len(s.writes))
}

// Run makes all cuts and returns what went wrong. The procedure itself runs once; each cut is a fork of it.
func (s *Sweep) Run(cuts []Cut) (list []Violation) {
	cuts = slices.Clone(cuts)
	slices.SortStableFunc(cuts, func(a, b Cut) int { return cmp.Compare(a.Cycle, b.Cycle) })
	b := s.base.Fork()
	sends := s.sends
	for i, c := range cuts {
		sends = s.advance(b, sends, c.Cycle)
		if why := s.one(b.Fork(), c); why != "" {
			list = append(list, Violation{c, why})
		}
		if s.Progress != nil {
			s.Progress(i + 1)
		}
	}
	return list
}

// advance runs the undisturbed procedure to a cycle after its start.
func (s *Sweep) advance(b *board.Board, sends []send, to uint64) []send {
	for len(sends) > 0 && sends[0].at <= to {
		b.MCU().Run(s.start + sends[0].at)
		b.SendAt(b.Nanos(), sends[0].baud, sends[0].data)
		sends = sends[1:]
	}
	b.MCU().Run(s.start + to)
	return sends
}

// one makes a cut on a fork that stands at its cycle.
func (s *Sweep) one(b *board.Board, c Cut) string {
	h := fnv.New64a()
	h.Write([]byte(c.String()))
	b.Reseed(h.Sum64())
	b.TearMarginally(c.Marginal)
	b.PowerOff()
	b.Run(c.Off)
	if s.Tamper != nil {
		s.Tamper(b)
	}
	b.PowerOn()
	if c.Again > 0 {
		b.MCU().RunFor(c.Again)
		b.PowerOff()
		b.Run(c.Off)
		b.PowerOn()
	}
	return s.check(b, c)
}

// Watch runs one cut with everything that happens written down.
func (s *Sweep) Watch(c Cut) (lines []string, why string) {
	b := s.base.Fork()
	log := NewLog(replay.NewClock(&table.Zone{}), nil)
	log.keep = true
	b.Observe(func(e board.Event) { log.Add(b.Time(e.At), e) })
	s.advance(b, s.sends, c.Cycle)
	why = s.one(b, c)
	for _, e := range log.all {
		lines = append(lines, log.line(e))
	}
	return lines, why
}

// count runs the procedure and notes the writes. The error says that it does not end.
func (s *Sweep) count(until func(b *board.Board) bool) error {
	const look = 20_000 // cycles; a write takes 54,400
	b := s.base.Fork()
	m := b.MCU()
	sends := s.sends
	for at := uint64(look); at < 60*m.ClockHz(); at += look {
		sends = s.advance(b, sends, at)
		if _, _, end, busy := m.EEPROMBusy(); busy {
			if n := len(s.writes); n == 0 || s.writes[n-1] != end-s.start {
				s.writes = append(s.writes, end-s.start)
			}
		}
		if until(b) {
			s.length = at
			return nil
		}
	}
	return fmt.Errorf("the %s does not end within a minute when nothing disturbs it", s.Name)
}

// sweepStart is the evening before the meal of the sweeps.
var sweepStart = time.Date(2027, 6, 1, 6, 59, 0, 0, time.UTC)

// FivePockets is a table with one meal of five pockets a day, at 07:00 UTC, late at most two hours.
func FivePockets(b *profile.Profile) []byte {
	encoded, err := table.Encode(&table.Table{
		Board: b.Code, Start: 9000, Through: table.MaxDay, Late: table.DefaultLate,
		Wheel: table.Wheel{PocketUnits: 1, TurnMillis: 310}, Button: table.DefaultButton(table.Wheel{PocketUnits: 1}),
		Meals: []table.Meal{{Portion: 5, Parts: []table.Part{{Times: table.Times{List: []uint16{420}}}}}},
	})
	if err != nil {
		panic(err) // a constant table
	}
	return encoded
}

// sweepBoard is a board in service, a minute before the meal.
func sweepBoard(p *profile.Profile, firmware *avr.Image, encoded []byte) (*board.Board, error) {
	c := board.ForProfile(p)
	c.Firmware, c.Start = firmware, sweepStart.Add(-time.Hour)
	b, err := board.New(c)
	if err != nil {
		return nil, err
	}
	if err := b.Program(encoded); err != nil {
		return nil, err
	}
	b.SetClock(b.Now())
	b.RunUntil(sweepStart)
	return b, nil
}
