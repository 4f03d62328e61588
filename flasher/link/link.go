package link

import (
	"bytes"
	"errors"
	"fmt"
	"time"

	"mealtab/flasher/frame"
)

// Waits. Those that grow with what is sent or done are computed in [Link.patience].
const (
	// latency is what computer, USB bridge and driver may add to a round trip: a bridge's latency timer is 16 ms
	// [common practice], a busy computer adds more.
	latency = 120 * time.Millisecond
	// tries is how often a request is sent before the wait is doubled.
	tries = 3
	// longestTry is the longest wait for one answer before the request is sent again.
	longestTry = 2 * time.Second
	// quiet is how long a board may have been left alone and still be awake: it stays so for 8 to 16 s after the last good frame, by an
	// oscillator that may be a tenth off. Longer would be too late; shorter sends preambles to boards that are awake, and one that
	// measures them then throws the first away, and what follows it.
	quiet = 6 * time.Second
	// settle separates the preamble from the first frame, so that a receiver that woke in the middle of it finds the line idle for
	// more than a character at 19,200 baud (0.52 ms), whatever the bridge does with it; and so that the board, which cannot listen
	// while it checks a frame, is done with what was left of an earlier one: 106 octets take it about 1.5 ms at 8 MHz.
	settle = 4 * time.Millisecond
	// stuffing is the longest that octet stuffing can make a frame.
	stuffing = 2
)

// slowest is the lowest rate of a board. A preamble may be on its way at that rate, whatever this side is set to: a pseudo-terminal has
// no rate of its own. A frame that follows it without a pause is lost, and so is the next, which ends it.
const slowest = 19200

// preambleOctets wake a board and show it the bit time. A crystal takes 16,384 cycles to start (1.02 ms at 16 MHz, 6 characters
// at 57,600 baud; 2.05 ms at 8 MHz, 4 characters at 19,200); the measurement takes 10 bits more and may begin in the middle of a
// character. A flag ends the preamble, and with it what the board may have kept of a frame that was cut off.
const preambleOctets = 16

// Trip is what a round trip has taken lately, beyond the board's own work.
func (l *Link) Trip() time.Duration { return l.trip }

// Stats counts what went over the line.
type Stats struct {
	Sent, Received int // octets
	Requests       int
	Resent         int // requests sent again
	Damaged        int // frames thrown away
}

// Link is a conversation with a board. It is not safe for concurrent use.
type Link struct {
	t        Transport
	name     string
	baud     int
	sequence byte
	decoder  frame.Decoder
	input    []byte // read, not yet decoded
	answered time.Time
	knocks   map[byte]knocked // tries of Connect, by their sequence numbers
	trip     time.Duration    // what a round trip has taken lately, beyond the board's own work
	heard    []byte           // the first octets that came, for telling what is there
	Stats    Stats
}

// New returns a link over a transport that is set to a rate; name is for messages.
func New(t Transport, name string, baud int) *Link {
	return &Link{t: t, name: name, baud: baud}
}

// Name is the name of the port.
func (l *Link) Name() string { return l.name }

// Baud is the rate in use.
func (l *Link) Baud() int { return l.baud }

// Answered is when the last answer ended.
func (l *Link) Answered() time.Time { return l.answered }

// Transport is what lies below, for a bootloader's other protocol.
func (l *Link) Transport() Transport { return l.t }

// Close ends the conversation.
func (l *Link) Close() error { return l.t.Close() }

// SetBaud changes the rate.
func (l *Link) SetBaud(baud int) error {
	if baud == l.baud {
		return nil
	}
	l.baud = baud
	l.decoder = frame.Decoder{}
	return l.t.SetBaud(baud)
}

// Wire is the time that so many octets take on the line: ten bits each.
func (l *Link) Wire(octets int) time.Duration { return wire(octets, l.baud) }

func wire(octets, baud int) time.Duration {
	return time.Duration(octets) * 10 * time.Second / time.Duration(baud)
}

// ErrSilent means that no answer to a request came, however often it was sent.
var ErrSilent = errors.New("no answer")

// Call is a request.
type Call struct {
	Code    byte
	Payload []byte
	// Work is how long the board may take over it beyond the time on the line.
	Work time.Duration
	// Usual is how long it takes as a rule, if that is much less: the request is sent again after that already; 0: Work.
	Usual time.Duration
	// Patience is how long the request is sent again and again; 0: [DefaultPatience] and Work.
	Patience time.Duration
	// Once: sent once only, because what it says holds for this moment.
	Once bool
}

// DefaultPatience bounds a request on a noisy line.
const DefaultPatience = 4 * time.Second

// Request sends a request until an answer to it comes, and returns the answer's payload. A status other than OK is a
// [frame.StatusError]; the payload comes with it. [ErrSilent] is wrapped when there is no answer.
func (l *Link) Request(c Call) ([]byte, error) {
	l.sequence++
	content := append([]byte{c.Code, l.sequence}, c.Payload...)
	octets := frame.Append(nil, content)
	if c.Patience == 0 {
		c.Patience = DefaultPatience + c.Work
	}
	if c.Usual == 0 {
		c.Usual = c.Work
	}
	c.Patience += tries * l.trip
	l.Stats.Requests++
	began := l.t.Now()
	end := began.Add(c.Patience)
	for n := 0; ; n++ {
		if n > 0 {
			l.Stats.Resent++
		}
		if err := l.send(octets, n > 0); err != nil {
			return nil, err
		}
		payload, status, err := l.await(c.Code, l.tryUntil(n, len(octets), c, end))
		switch {
		case err != nil:
			return nil, err
		case payload != nil:
			l.learn(l.answered.Sub(began)-l.Wire(len(octets)+len(payload))-c.Work, n > 0)
			if status != frame.OK {
				return payload, frame.StatusError(status)
			}
			return payload, nil
		case c.Once || !l.t.Now().Before(end):
			return nil, fmt.Errorf("%w in %s", ErrSilent, Seconds(c.Patience))
		}
	}
}

// longestTrip is the longest round trip that is learnt: what takes longer was lost.
const longestTrip = 2 * time.Second

// learn takes up what a round trip took: more at once, less by and by. Where the request was sent again nobody knows which of the two was
// answered.
func (l *Link) learn(trip time.Duration, again bool) {
	if again {
		trip /= 2
	}
	l.trip = min(max(trip, l.trip-l.trip/8), longestTrip)
}

// tryUntil is when the n-th try is given up: wire time both ways, what the board usually needs, and what round trips take here; doubling later for
// boards that are slower than we know or busy turning the wheel.
func (l *Link) tryUntil(n, octets int, c Call, end time.Time) time.Time {
	const longestAnswer = stuffing*(frame.MaxContent+2) + 2
	wire := l.Wire(octets + longestAnswer)
	once := wire + max(latency, l.trip+l.trip/2) + c.Usual
	most := max(longestTry, once, wire+latency+c.Work)
	every := tries // so often before the wait is doubled
	if c.Usual < c.Work {
		every = 1
	}
	until := l.t.Now().Add(min(once<<min(n/every, 8), most))
	if until.After(end) {
		until = end
	}
	return until
}

// send writes a frame, after the preamble where the board may sleep or did not answer. Elsewhere it has answered the frame before, and so
// has seen the flag that ended it, which begins this one too: one flag is enough between two frames (RFC 1662, section 4.1).
func (l *Link) send(octets []byte, repeated bool) error {
	if !repeated && !l.answered.IsZero() && l.t.Now().Sub(l.answered) <= quiet {
		return l.write(octets[1:])
	}
	if err := l.preamble(); err != nil {
		return err
	}
	return l.write(octets)
}

// knocking is what wakes a board: the preamble and the flag that ends it.
func knocking() []byte {
	return append(bytes.Repeat([]byte{frame.Preamble}, preambleOctets), frame.Flag)
}

func (l *Link) preamble() error {
	octets := knocking()
	if err := l.write(octets); err != nil {
		return err
	}
	l.t.Sleep(wire(len(octets), slowest) + settle)
	return nil
}

func (l *Link) write(octets []byte) error {
	for len(octets) > 0 {
		n, err := l.t.Write(octets)
		if errors.Is(err, ErrStuck) {
			return err
		}
		if err != nil {
			return fmt.Errorf("%w (%w)", ErrClosed, err)
		}
		l.Stats.Sent += n
		octets = octets[n:]
	}
	return nil
}

// await reads until the answer comes; payload nil: it did not. An answer with another sequence number is that to an earlier
// request, and is dropped.
func (l *Link) await(code byte, until time.Time) (payload []byte, status int, err error) {
	for {
		content, err := l.next(until)
		if content == nil || err != nil {
			return nil, 0, err
		}
		if len(content) >= frame.MinAnswer && content[0] == code|frame.Answer && (content[1] == l.sequence && l.knocks == nil || l.answers(content[1])) {
			l.answered = l.t.Now()
			payload, status := frame.Response(content)
			return append([]byte{}, payload...), status, nil
		}
	}
}

// next is the next good frame; nil: none came.
func (l *Link) next(until time.Time) ([]byte, error) {
	for {
		for len(l.input) > 0 {
			content, err, done := l.decoder.Next(l.input[0])
			l.input = l.input[1:]
			switch {
			case !done:
			case err != nil:
				l.Stats.Damaged++
			default:
				return content, nil
			}
		}
		if n, err := l.fill(until); n == 0 || err != nil {
			return nil, err
		}
	}
}

// keepHeard is how much of what came is kept for messages.
const keepHeard = 64

func (l *Link) fill(until time.Time) (int, error) {
	wait := until.Sub(l.t.Now())
	if wait <= 0 {
		return 0, nil
	}
	var buf [256]byte
	n, err := l.t.Read(buf[:], wait)
	if err != nil {
		return 0, fmt.Errorf("%w (%w)", ErrClosed, err)
	}
	l.Stats.Received += n
	l.input = append(l.input, buf[:n]...)
	if room := keepHeard - len(l.heard); room > 0 {
		l.heard = append(l.heard, buf[:min(n, room)]...)
	}
	return n, nil
}

// Seconds is a duration in words: "4 s", "0.3 s".
func Seconds(d time.Duration) string {
	return fmt.Sprintf("%g s", float64(d.Round(100*time.Millisecond))/float64(time.Second))
}
