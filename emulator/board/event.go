package board

import "fmt"

// Kind says what an event is about.
type Kind uint8

// The kinds of event. Value is given with each.
const (
	SupplyChanged Kind = iota // mV on the AVR
	WasReset                  // flags of MCUSR
	ClockInt                  // 1: the INT wire is pulled low at the AVR
	ServoSupply               // 1: on
	ServoPulse                // 1: rises, 0: falls
	TurnStarted               // -
	PocketFell                // mg of kibble
	TurnEnded                 // pockets that fell since TurnStarted
	Light                     // 1: on
	Button                    // 1: contact closed at the end of its bounce; Arg: which button
	ButtonContact             // 1: closed, every edge of the bounce; Arg: which button
	Asleep                    // 1: asleep
	BusByte                   // byte on the two-wire bus; Arg: see BusStart …
	LineSent                  // byte sent by the AVR
	LineReceived              // byte sent to the AVR
	RuleBroken                // see Event.Text
	IndexSwitch               // 1: closed
	LightBarrier              // 1: the beam is broken
	ServoStalled              // 1: the servo pushes and nothing moves
	kinds
)

// What Arg of a BusByte says.
const (
	BusStart = iota
	BusSend
	BusReceive
	BusStop
	BusNack = 0x10 // added: the ninth bit stayed high
)

func (k Kind) String() string {
	return [kinds]string{"supply", "reset", "INT", "servo supply", "servo pulse", "turn", "pocket", "turned", "LED", "button",
		"contact", "sleep", "bus", "sent", "received", "rule broken", "index switch", "light barrier", "servo stalled"}[k]
}

// Event is something that happened on the board.
type Event struct {
	At    uint64 // ns since the beginning
	Kind  Kind
	Arg   uint8
	Value int64
	Text  string // RuleBroken only
}

func (e Event) String() string {
	switch e.Kind {
	case RuleBroken:
		return e.Text
	case Button, ButtonContact, BusByte:
		return fmt.Sprintf("%v %d: %d", e.Kind, e.Arg, e.Value)
	}
	return fmt.Sprintf("%v: %d", e.Kind, e.Value)
}

// random is splitmix64 (Steele, Lea, Flood, 2014).
type random uint64

func (r *random) next() uint64 {
	*r += 0x9E3779B97F4A7C15
	z := uint64(*r)
	z = (z ^ z>>30) * 0xBF58476D1CE4E5B9
	z = (z ^ z>>27) * 0x94D049BB133111EB
	return z ^ z>>31
}

// between returns a number from low to high inclusive.
func (r *random) between(low, high uint64) uint64 { return low + r.next()%(high-low+1) }

// spread returns about a normal number of mean 0 and deviation 1: the sum of twelve uniform ones, less 6.
func (r *random) spread() float64 {
	sum := -6.0
	for range 12 {
		sum += float64(r.next()>>11) / (1 << 53)
	}
	return sum
}
