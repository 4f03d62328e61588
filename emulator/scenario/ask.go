package scenario

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"mealtab/compiler/table"
	"mealtab/emulator/board"
	"mealtab/flasher/frame"
)

// host is the far end of the serial line in the emulated world: it asks as the uploader does.
type host struct {
	b        *board.Board
	sequence uint8
	decoder  frame.Decoder
	answer   []byte
	got      bool
	said     func(data []byte) // sees what is sent; may be nil
}

// newHost is a host that observes a board.
func newHost(b *board.Board) *host {
	h := &host{b: b}
	b.Observe(h.see)
	return h
}

const (
	answerTime   = 3 * time.Second
	wakeTime     = 100 * time.Millisecond
	preambleSize = 24
	tries        = 4
)

var errNoAnswer = errors.New("the board does not answer on the line")

// Host is the far end of a board's serial line: the owner's computer. It asks as the uploader does.
type Host struct{ host }

// NewHost is a host of a board; whoever observes the board must show it the events by See.
func NewHost(b *board.Board) *Host { return &Host{host{b: b}} }

// See takes an event of the board.
func (h *Host) See(e board.Event) { h.see(e) }

// SetClock sets the board's clock to an instant.
func (h *Host) SetClock(t time.Time) error { return h.setClock(t) }

// AskStatus asks a fork of the board for its status, so that the board itself is not disturbed, and says how long the answer
// took.
func AskStatus(b *board.Board) (s Status, took time.Duration, err error) {
	f := b.Fork()
	from := f.Nanos()
	s, err = newHost(f).status()
	return s, time.Duration(f.Nanos() - from), err
}

// see takes what the board sends.
func (h *host) see(e board.Event) {
	if e.Kind != board.LineSent {
		return
	}
	if content, err, done := h.decoder.Next(uint8(e.Value)); done && err == nil && h.ours(content) {
		h.answer, h.got = append([]byte(nil), content...), true
		h.b.MCU().Stop()
	}
}

func (h *host) ours(content []byte) bool {
	return len(content) >= frame.MinAnswer && content[0]&frame.Answer != 0 && content[1] == h.sequence
}

// ask sends a request until it is answered and returns the payload of the answer. The board must be observed by see.
func (h *host) ask(code uint8, payload ...byte) ([]byte, error) {
	h.sequence++
	for try := range tries {
		h.got = false
		if try == 0 || try > 1 { // a sleeping board is woken first
			var preamble [preambleSize]byte
			for i := range preamble {
				preamble[i] = frame.Preamble
			}
			h.send(preamble[:])
			h.wait(wakeTime)
		}
		h.send(frame.Append(nil, append([]byte{code, h.sequence}, payload...)))
		h.wait(answerTime)
		if !h.got {
			continue
		}
		payload, status := frame.Response(h.answer)
		if status != frame.OK {
			return payload, frame.StatusError(status)
		}
		return payload, nil
	}
	return nil, errNoAnswer
}

func (h *host) send(data []byte) {
	if h.said != nil {
		h.said(data)
	}
	h.b.Send(data)
}

// wait runs the board for a while, or until the answer is there.
func (h *host) wait(d time.Duration) {
	for end := h.b.Nanos() + uint64(d); !h.got && h.b.Nanos() < end; {
		h.b.RunTo(end)
	}
}

// Status is what a board says of itself.
type Status struct {
	Bank   uint8
	Faults int
	Now    time.Time
	Cursor table.Minute
	Adjust int
	Preset int
}

func (h *host) status() (s Status, err error) {
	a, err := h.ask(frame.Status)
	if err != nil {
		return s, err
	}
	m := frame.MessageNamed("STATUS")
	if len(a) < frame.Size(m.Response) {
		return s, fmt.Errorf("the board's status has %d bytes, not %d", len(a), frame.Size(m.Response))
	}
	value := func(name string) uint32 { return m.Number(a, name) }
	return Status{
		Bank: uint8(value("BANK")), Faults: int(value("FAULTS")), Cursor: table.Minute(value("CURSOR")),
		Now:    time.Unix(table.Epoch+int64(value("NOW")), 0).UTC(),
		Adjust: int(value("ADJUST")), Preset: int(value("PRESET")),
	}, nil
}

// upload writes a table to the spare bank, has it checked and commits it.
func (h *host) upload(encoded []byte) error {
	const chunk = 64
	a, err := h.ask(frame.Status)
	if err != nil {
		return err
	}
	sequence := uint8(frame.MessageNamed("STATUS").Number(a, "SEQUENCE")) + 1
	encoded = table.WithSequence(encoded, sequence)
	for at := 0; at < len(encoded); at += chunk {
		part := encoded[at:min(at+chunk, len(encoded))]
		if _, err := h.ask(frame.BankWrite, append([]byte{byte(at), byte(at >> 8)}, part...)...); err != nil {
			return fmt.Errorf("writing at %d: %w", at, err)
		}
	}
	verdict, err := h.ask(frame.BankVerify)
	if err != nil {
		return fmt.Errorf("verifying: %w", err)
	}
	if fault := frame.MessageNamed("BANK_VERIFY").Number(verdict, "FAULT"); fault != table.FaultGood {
		return fmt.Errorf("the board finds fault %d in the table", fault)
	}
	crc := encoded[len(encoded)-2:]
	if _, err := h.ask(frame.BankCommit, crc[0], crc[1], sequence); err != nil {
		return fmt.Errorf("committing: %w", err)
	}
	return nil
}

func (h *host) setClock(t time.Time) error {
	var b [4]byte
	binary.LittleEndian.PutUint32(b[:], uint32(t.Unix()-table.Epoch))
	_, err := h.ask(frame.ClockSet, b[:]...)
	return err
}

// presetOverLine chooses a preset as a program on the computer does; the portions stay as they are.
func presetOverLine(r *run, e *Event) error {
	const asItIs = 0xFF
	if e.Number < 1 || e.Number > max(1, r.t.Presets) {
		return fmt.Errorf("number is %d; the plan has the presets 1 to %d", e.Number, max(1, r.t.Presets))
	}
	_, err := r.host.ask(frame.Settings, uint8(e.Number-1), asItIs)
	return err
}

func uploadTable(r *run, e *Event) error {
	encoded, err := r.in.Table(e.Plan)
	if err != nil {
		return err
	}
	return r.host.upload(encoded)
}

// setClockOverLine sets the clock to a time, to the world's, or by a step from what it says.
func setClockOverLine(r *run, e *Event) error {
	to := r.b.Now()
	var err error
	switch {
	case e.By != "":
		var by time.Duration
		by, err = clockStep(e.By)
		to = r.b.ClockTime().Add(by)
	case e.To != nil:
		to, err = moment(e.To, r.start, r.log.local)
	}
	if err == nil {
		err = inCalendar(to)
	}
	if err != nil {
		return err
	}
	return r.host.setClock(to)
}
