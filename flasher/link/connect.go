package link

import (
	"bytes"
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
	bootWindow = 5 * time.Second
	// knock is the wait for an answer to IDENTIFY before the next try. The tries go on at one rate for that long, then at the next; and when all
	// rates have been tried, for twice as long at each: some bridges and networks take a second there and back.
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
		return fmt.Sprintf("%s opens but nothing answers in %s: a feeder whose wheel turns answers when it stands again, so try once more; else it is the wrong port, has no supply or no firmware yet, or RX and TX are swapped", e.Port, Seconds(e.Waits))
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

// Connect asks who is there, at each of the rates in turn, until a feeder answers, and returns the payload of its answer to IDENTIFY. An answer to
// any of the tries at a rate will do; one that comes when the rate is another already says how long to wait. The link stays at the rate at which it answered. The error is a [*NothingError], or wraps [ErrClosed].
func (l *Link) Connect(bauds []int, patience time.Duration) ([]byte, error) {
	end, extended := l.t.Now().Add(patience), false
	l.knocks = map[byte]knocked{}
	defer func() { l.knocks = nil }()
	for n := 0; l.t.Now().Before(end); n++ {
		if err := l.SetBaud(bauds[n%len(bauds)]); err != nil {
			return nil, err
		}
		until := l.t.Now().Add(max(knock<<(n/len(bauds)), 2*l.trip))
		if until.After(end) && l.trip == 0 {
			until = end
		}
		payload, err := l.knockUntil(until)
		if payload != nil || err != nil {
			return payload, err
		}
		if late := l.t.Now().Add(time.Duration(2*len(bauds)) * l.trip); l.trip > 0 && !extended {
			end, extended = late, true // somebody is there: once more at each rate, for as long as it takes
		}
	}
	return nil, &NothingError{l.name, patience, l.heard, l.echoed()}
}

// knocked is a try to find a feeder.
type knocked struct {
	at   time.Time
	baud int
}

// knockUntil sends IDENTIFY again and again; nil: no answer came.
func (l *Link) knockUntil(until time.Time) ([]byte, error) {
	for l.t.Now().Before(until) {
		l.identifySequence()
		if err := l.preamble(); err != nil {
			return nil, err
		}
		l.knocks[l.sequence] = knocked{l.t.Now(), l.baud}
		l.Stats.Requests++
		if err := l.write(frame.Append(nil, []byte{frame.Identify, l.sequence})); err != nil {
			return nil, err
		}
		wait := l.t.Now().Add(l.Wire(64) + knock)
		if wait.After(until) {
			wait = until
		}
		payload, status, err := l.await(frame.Identify, wait)
		switch {
		case err != nil:
			return nil, err
		case payload != nil && status != frame.OK:
			return payload, frame.StatusError(status)
		case payload != nil:
			return payload, nil
		}
	}
	return nil, nil
}

// answers reports whether an answer with a sequence number is one to a knock at the present rate. Any says how long it took.
func (l *Link) answers(sequence byte) bool {
	k, ok := l.knocks[sequence]
	if ok {
		l.trip = max(l.trip, l.t.Now().Sub(k.at))
	}
	return ok && l.baud == k.baud
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
