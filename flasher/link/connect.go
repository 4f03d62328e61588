package link

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"time"

	"mealtab/flasher/frame"
)

// Opening a port resets most boards, and then a bootloader listens before the firmware does: the short family for about a second,
// the older one for as long as its count lasts. Until the board has said what it is, nothing but the preamble and IDENTIFY is sent.
// Neither has an octet that those bootloaders take for a command to program (64 hex, "program page").
const (
	// bootWindow is how long a board may be busy with its bootloader, and then with what it owes since a power cut.
	bootWindow = 4 * time.Second
	// knock is the wait for an answer to IDENTIFY before the next try, at the other rate.
	knock = 150 * time.Millisecond
)

// programPage is the octet that IDENTIFY must not contain.
const programPage = 0x64

// Patience of [Link.Connect].
const Patience = bootWindow

// NothingError means that a port opens but no feeder answers on it.
type NothingError struct {
	Port  string
	Waits time.Duration
	Heard []byte // what came instead, at most a few octets
	Echo  bool   // it is what was sent
}

func (e *NothingError) Error() string {
	if len(e.Heard) == 0 {
		return fmt.Sprintf("%s opens but nothing answers in %s: wrong port, no firmware yet, or RX and TX swapped", e.Port, Seconds(e.Waits))
	}
	if e.Echo {
		return fmt.Sprintf("%s sends back what it is sent: RX and TX are joined, or it is another device", e.Port)
	}
	return fmt.Sprintf("%s answers, but not as a feeder does (%s): another device, or firmware that is not a feeder's", e.Port, shown(e.Heard))
}

func shown(heard []byte) string {
	const most = 12
	text := fmt.Sprintf("% X", heard[:min(len(heard), most)])
	if len(heard) > most {
		text += " …"
	}
	return text
}

// Connect asks who is there, at each of the rates in turn, until a feeder answers, and returns the payload of its answer to IDENTIFY. The
// link stays at the rate at which it answered. The error is a [*NothingError], or wraps [ErrClosed].
func (l *Link) Connect(bauds []int, patience time.Duration) ([]byte, error) {
	end := l.t.Now().Add(patience)
	for n := 0; ; n++ {
		if err := l.SetBaud(bauds[n%len(bauds)]); err != nil {
			return nil, err
		}
		l.identifySequence()
		payload, err := l.again(Call{Code: frame.Identify, Patience: l.Wire(64) + knock})
		if err == nil || !errors.Is(err, ErrSilent) {
			return payload, err
		}
		if !l.t.Now().Before(end) {
			return nil, &NothingError{l.name, patience, l.heard, l.echoed()}
		}
	}
}

// identifySequence steps to a sequence number for which the frame of IDENTIFY has no octet that a bootloader would take amiss.
func (l *Link) identifySequence() {
	for {
		l.sequence++
		if !slices.Contains(frame.Append(nil, []byte{frame.Identify, l.sequence}), programPage) {
			return
		}
	}
}

// echoed reports whether what came is what Connect sends first.
func (l *Link) echoed() bool {
	return bytes.HasPrefix(l.heard, append(knocking(), frame.Flag, frame.Identify))
}
