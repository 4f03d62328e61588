package flasher

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// Pins are what a board sees of its wires, as bits.
type Pins uint16

// The bits. Each is what the wire does, whatever its level.
const (
	PinInt       Pins = 1 << iota // the clock's interrupt wire is low
	PinFeed                       // the button is closed
	PinPortion                    // the button is closed
	PinPlan                       // the button is closed
	PinIndex                      // the switch is closed
	PinBarrier                    // the beam is broken
	PinSDAPulled                  // SDA rises without the chip's own pull-up
	PinSCLPulled                  // SCL
	PinSDAFree                    // SDA rises with the chip's own pull-up
	PinSCLFree                    // SCL
	PinCrossed                    // the clock chip answers with SDA and SCL exchanged
	PinTwelve                     // the clock chip counts in twelve hours
)

// Action is one that only a test on the bench asks for.
type Action byte

// The actions.
const (
	LookNow Action = iota // nothing: what do the wires do?
	Watch                 // until one of them does something else, at most so many seconds
	Light                 // the light flashes so many times, half a second each
	Hold                  // the stop pulse, with a trim, for so many seconds
	Ring                  // the clock pulls its interrupt wire, within so many seconds
	Forward               // so many pockets, as a serving by hand
	Back                  // one pocket backwards, and forwards again
	Twitch                // pulses on a pin of port B that is not the servo's, for half a second
)

// MostService is the most seconds of one action.
const MostService = 8

// Served is what the wires did before an action and after it, and at any time meanwhile.
type Served struct {
	Token               byte // of the last action that was obeyed
	Before, After, Seen Pins
}

// ErrNotNow means that a board does not turn its wheel for a test now.
var ErrNotNow = errors.New("the board does not turn its wheel for a test now: a serving is due within two minutes or not finished, the supply is too low, or what may be given by hand in an hour or a day has been given")

// Service lets a board do something for a test on the bench. token is one more than that of the last action, which a look tells. The error is
// [ErrUnsupported] where the board has no room for it, [ErrNotNow] where it refuses.
func (f *Feeder) Service(token byte, a Action, count, trim int) (Served, error) {
	request := []byte{token, byte(a), byte(count)}
	request = binary.LittleEndian.AppendUint16(request, uint16(int16(trim)))
	work := time.Duration(count)*time.Second + 3*time.Second // the servo's supply, and a second of the clock's
	if a == LookNow {
		work = settleWork
	}
	b, err := f.ask(link.Call{Code: frame.Service, Payload: request, Work: work, Patience: 3 * work}, "SERVICE")
	switch {
	case errors.Is(err, frame.StatusError(frame.BadRequest)):
		return Served{}, ErrUnsupported
	case errors.Is(err, frame.StatusError(frame.Refused)):
		return Served{}, fmt.Errorf("%s: %w", f.Port(), ErrNotNow)
	case err != nil:
		return Served{}, err
	}
	r := reader{b: b}
	return Served{byte(r.byte()), Pins(r.word()), Pins(r.word()), Pins(r.word())}, nil
}

// TrySpareBank fills the bank that is not in force with a byte and returns the first offset that does not keep it, below 0: none. The bank is void
// afterwards.
func (f *Feeder) TrySpareBank(pattern byte) (at int, err error) {
	bad := -1
	err = f.blocks(f.Map.TableRoom(), func(at, n int, patience time.Duration) error {
		request := binary.LittleEndian.AppendUint16(nil, uint16(at))
		for range n {
			request = append(request, pattern)
		}
		back, err := f.link.Request(link.Call{Code: frame.BankWrite, Payload: request, Work: settleWork + time.Duration(n+1)*byteWrite, Patience: patience + time.Duration(n)*byteWrite})
		if err != nil {
			return f.failed("BANK_WRITE", err)
		}
		if len(back) != n {
			return f.failed("BANK_WRITE", fmt.Errorf("it has %d bytes, not %d", len(back), n))
		}
		for i, b := range back {
			if b != pattern && bad < 0 {
				bad = at + i
			}
		}
		return nil
	})
	return bad, err
}
