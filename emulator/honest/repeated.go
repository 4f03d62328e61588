package honest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/emulator/scenario"
)

// Repeated is one serving cut again and again: 1 to 20 times, 50 ms to 10 minutes of power between two cuts, a millisecond to
// a minute without. Its text form repeats it.
type Repeated struct {
	Image   string
	Pockets int
	Seed    uint64 // of number, times and everything else that is by chance
}

func (c Repeated) String() string { return fmt.Sprintf("%s/%d/%d", c.Image, c.Pockets, c.Seed) }

// ParseRepeated reads a text form.
func ParseRepeated(text string) (c Repeated, err error) {
	var rest string
	i := 0
	for i < len(text) && text[i] != '/' {
		i++
	}
	c.Image, rest = text[:i], text[i:]
	if _, err = fmt.Sscanf(rest, "/%d/%d", &c.Pockets, &c.Seed); err != nil {
		err = fmt.Errorf("%q is not a cut serving, such as %q", text, "m328-index/7/12345")
	}
	return c, err
}

// RepeatedPockets are the servings that are cut: one pocket to forty, on both sides of what a journal record counts.
var RepeatedPockets = []int{1, 2, 3, 5, 8, 9, 15, 29, 30, 31, 40}

// RepeatedCases lists n cut servings, spread over images and sizes.
func RepeatedCases(n int, seed uint64) (list []Repeated) {
	for i := range n {
		k := i / len(Images)
		list = append(list, Repeated{Images[i%len(Images)], RepeatedPockets[k%len(RepeatedPockets)], seed + uint64(i)})
	}
	return list
}

const (
	mostCuts   = 20
	beforeTurn = 220 * time.Millisecond // so that the servo has no power yet
	settleMost = 4 * time.Hour          // beyond late and the longest rest
)

// onePlan is one meal a day, at the instant that faults are timed by.
func onePlan(pockets int) *plan { return &plan{meals: []meal{{18 * 60, pockets}}, late: 60} }

// Repeat runs a cut serving and says what is wrong, if anything. watch may be nil.
func (l Bases) Repeat(c Repeated, watch func(b *board.Board)) (why string, err error) {
	base, err := l.cutBase(c)
	if err != nil {
		return "", err
	}
	b := base.Fork()
	if watch != nil {
		watch(b)
	}
	b.Reseed(c.Seed)
	r := rand.New(rand.NewPCG(c.Seed, 50))
	cuts := 1 + r.IntN(mostCuts)
	before := b.Filled()
	longest := [...]time.Duration{700 * time.Millisecond, 5 * time.Second, 10 * time.Minute}[r.IntN(3)] // many in the turn itself
	for range cuts {
		b.Run(between(r, 50*time.Millisecond, longest))
		b.PowerOff()
		b.Run(between(r, time.Millisecond, time.Minute))
		b.PowerOn()
	}
	if why := settle(b); why != "" {
		return fmt.Sprintf("%d cuts: %s", cuts, why), nil
	}
	if why := judgeCuts(b, int(b.Filled()-before), c.Pockets, cuts); why != "" {
		return fmt.Sprintf("%d cuts: %s", cuts, why), nil
	}
	return "", nil
}

// between is a time of any magnitude between two.
func between(r *rand.Rand, least, most time.Duration) time.Duration {
	return time.Duration(float64(least) * math.Pow(float64(most)/float64(least), r.Float64()))
}

// cutBase is a feeder just before its serving.
func (l Bases) cutBase(c Repeated) (*board.Board, error) {
	from, err := l.base(c.Image, suppliesFor(c.Image)[0], onePlan(c.Pockets))
	if err != nil {
		return nil, err
	}
	if at := from.turn.Add(-beforeTurn); from.close.Now().Before(at) {
		from.close.RunUntil(at)
	}
	return from.close, nil
}

// settle runs until the serving is over, one way or the other.
func settle(b *board.Board) string {
	m, _ := table.MapFor(len(b.MCU().EEPROM()))
	end := b.Now().Add(settleMost)
	for b.Now().Before(end) {
		if r := b.Run(2 * time.Second); r != avr.StopLimit {
			return "the firmware stopped: " + r.String()
		}
		j, ok := table.NewestJournal(b.MCU().EEPROM(), m)
		begun := ok && j.Cursor != table.CursorNone && !time.Unix(table.Epoch+60*int64(j.Cursor), 0).Before(aim)
		if begun && j.Done() && !b.BoostOn() {
			return ""
		}
	}
	return fmt.Sprintf("the serving is not over after %v", settleMost)
}

// judgeCuts: never more than one too much; after one or two cuts at most one left out; what is further off is shown.
func judgeCuts(b *board.Board, fell, planned, cuts int) string {
	off := fell - planned
	switch {
	case off > 1:
		return fmt.Sprintf("planned %d, fell %d", planned, fell)
	case off >= -1:
		return ""
	case cuts <= 2:
		return fmt.Sprintf("planned %d, fell %d, after no more than two cuts", planned, fell)
	}
	s, _, err := scenario.AskStatus(b)
	if err != nil {
		return "the line is dead"
	}
	if s.Faults == 0 {
		return fmt.Sprintf("planned %d, fell %d, and no fault is shown", planned, fell)
	}
	return ""
}
