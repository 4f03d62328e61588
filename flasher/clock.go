package flasher

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"time"

	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// ErrNoClock means that the clock chip does not answer the board.
var ErrNoClock = errors.New("the clock module does not answer the board: look at its four wires (supply, ground, SDA, SCL)")

// ErrUnsupported means that the board's firmware was built without it.
var ErrUnsupported = errors.New("this board's firmware does not offer that")

// Reading is a comparison of the board's clock with this computer's.
type Reading struct {
	Offset  time.Duration // board minus computer, by the moment at which the board's seconds change
	At      time.Time     // by this computer
	Trip    time.Duration // shortest round trip, less the time on the wire and in the board
	Stopped bool          // the oscillator-stop flag is set: the board's time means nothing
}

// Sizes of the frames involved, in octets: flags, code, sequence number, status, payload, check.
const (
	frameOverhead = 6
	answerEnd     = 4                     // status, check, flag: the board sends what stands before the payload when it gets the request
	identifyBoard = 50 * time.Microsecond // a board's own time for IDENTIFY: the check; it sends while it makes the answer
	roundTrips    = 5
)

// trip is what computer, bridge and driver add to a round trip, the shortest of several.
func (f *Feeder) trip() (time.Duration, error) {
	best := time.Hour
	for range roundTrips {
		began := f.Now()
		b, err := f.link.Request(link.Call{Code: frame.Identify})
		if err != nil {
			return 0, f.failed("IDENTIFY", err)
		}
		wire := f.link.Wire(frameOverhead - 1 + frameOverhead + 1 + len(b)) // the flag of the answer before begins the request
		best = min(best, f.link.Answered().Sub(began)-wire-identifyBoard)
	}
	return max(best, 0), nil
}

// busRead is the board's time for reading sixteen registers of the clock chip at 400 or 100 kHz: 19 bytes of 9 bits.
func (f *Feeder) busRead() time.Duration {
	const bits = 19 * 9
	if f.ID.ClockKHz >= 16000 {
		return bits * 2500 * time.Nanosecond
	}
	return bits * 10 * time.Microsecond
}

// ReadClock compares the clocks. It takes up to a second, for the board answers when its seconds change. The error is [ErrNoClock]
// if there is no clock chip.
func (f *Feeder) ReadClock() (Reading, error) {
	trip, err := f.trip()
	if err != nil {
		return Reading{}, err
	}
	return f.readEdge(trip)
}

func (f *Feeder) readEdge(trip time.Duration) (Reading, error) {
	const edge = 1100 * time.Millisecond
	b, err := f.askClock(link.Call{Code: frame.ClockRead, Work: edge, Patience: 8 * edge}, "CLOCK_READ")
	if err != nil {
		return Reading{}, err
	}
	r := reader{b: b}
	board := seconds(r.long())
	stopped := r.byte() != 0
	if board.Year() > lastYear && !stopped {
		return Reading{}, f.failed("CLOCK_READ", fmt.Errorf("it says the year %d; another device may be on the port", board.Year()))
	}
	// The board notices the change at the end of a reading that began after it: one and a half readings on average.
	since := f.link.Wire(len(b)+answerEnd) + trip/2 + f.busRead()*3/2
	at := f.link.Answered().Add(-since)
	return Reading{Offset: board.Sub(at), At: at, Trip: trip, Stopped: stopped}, nil
}

func (f *Feeder) askClock(c link.Call, name string) ([]byte, error) {
	b, err := f.ask(c, name)
	switch {
	case errors.Is(err, frame.StatusError(frame.NoClock)):
		return nil, ErrNoClock
	case errors.Is(err, frame.StatusError(frame.BadRequest)):
		return nil, ErrUnsupported
	}
	return b, err
}

// How a clock is set.
const (
	setTries = 5
	goodEdge = 5 * time.Millisecond  // an edge this near is left as it is; half as much more is allowed at each further try
	setLead  = 30 * time.Millisecond // before the frame must be on its way
)

// SetClock sets the board's clock to this computer's: the frame that says a time ends at the board when that second begins. The clocks are
// then compared, and the setting is repeated with what was found as a correction, until they agree within a few milliseconds or
// the line is no better. The error is a [*ComputerClockError] where this computer's clock is wrong itself.
func (f *Feeder) SetClock() (Reading, error) {
	if wrong := f.distrusted(); wrong != nil {
		return Reading{}, wrong
	}
	trip, err := f.trip()
	if err != nil {
		return Reading{}, err
	}
	var r Reading
	correction := time.Duration(0)
	for n := range setTries {
		switch err := f.setOnce(trip/2 + correction); {
		case errors.Is(err, link.ErrSilent):
			continue // the time it carried is over; the next one carries its own
		case err != nil:
			return r, err
		}
		if r, err = f.readEdge(trip); err != nil {
			return r, err
		}
		if r.Offset.Abs() <= goodEdge+time.Duration(n)*goodEdge/2 {
			return r, nil
		}
		if r.Offset.Abs() < time.Second {
			correction -= r.Offset
		}
	}
	if r.At.IsZero() {
		return r, f.failed("CLOCK_SET", link.ErrSilent)
	}
	return r, nil
}

// setOnce sends one CLOCK_SET, once, so that it arrives when a second begins.
func (f *Feeder) setOnce(early time.Duration) error {
	const octets = frameOverhead + 4
	early += f.link.Wire(octets)
	second := f.Now().Add(early + setLead).Truncate(time.Second).Add(time.Second)
	payload := binary.LittleEndian.AppendUint32(nil, secondsOf(second))
	f.link.Transport().Sleep(second.Add(-early).Sub(f.Now()))
	_, err := f.askClock(link.Call{Code: frame.ClockSet, Payload: payload, Once: true, Work: 2 * recordWork}, "CLOCK_SET")
	if errors.Is(err, frame.StatusError(frame.BadRange)) {
		return fmt.Errorf("%s is outside the clock chip's calendar, 2000 to 2099: is this computer's clock right?", second.Format(time.DateTime))
	}
	return err
}

// Ageing reads the ageing offset of the clock chip: a positive one makes it slower, by 0.1 ppm a step at 25 °C (DS3231 data sheet, page 3).
func (f *Feeder) Ageing() (int, error) {
	b, err := f.askClock(link.Call{Code: frame.Ageing, Payload: []byte{0, 0}, Work: settleWork}, "AGEING")
	if err != nil {
		return 0, err
	}
	return int(int8(b[0])), nil
}

// SetAgeing writes it, -128 to 127.
func (f *Feeder) SetAgeing(value int) error {
	_, err := f.askClock(link.Call{Code: frame.Ageing, Payload: []byte{byte(int8(value)), 1}, Work: settleWork + 10*byteWrite}, "AGEING")
	return err
}

// Drift is how fast a clock runs, from its offset some time after it was set.
type Drift struct {
	PPM       float64 // positive: fast
	Uncertain float64 // ppm either way
}

// edgeDoubt is what two comparisons over USB may be wrong by together.
const edgeDoubt = 20 * time.Millisecond

// DriftSince computes the drift; ok is false where the clock was never set or less than an hour ago.
func DriftSince(set time.Time, r Reading) (d Drift, ok bool) {
	elapsed := r.At.Sub(set)
	if set.IsZero() || elapsed < time.Hour || r.Stopped {
		return d, false
	}
	ppm := func(of time.Duration) float64 { return float64(of) / float64(elapsed) * 1e6 }
	return Drift{ppm(r.Offset), ppm(edgeDoubt)}, true
}

// Trim suggests an ageing offset; ok is false where the drift is not known well enough or the present one is as good.
func (d Drift) Trim(present int) (value int, ok bool) {
	const ppmPerStep = 0.1 // at 25 °C
	if d.Uncertain > 1 || math.Abs(d.PPM) < d.Uncertain {
		return present, false
	}
	value = present + int(math.Round(d.PPM/ppmPerStep))
	return min(max(value, -128), 127), value != present
}
