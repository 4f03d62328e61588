package flashertest

import (
	"time"

	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// Answering is a device that answers octets as a test says, in made-up time.
type Answering struct {
	// Octets gets what the host sent since the last time, and returns what comes back.
	Octets func(sent []byte) []byte
	now    time.Time
	back   []byte
	Sent   []byte // everything
}

func (a *Answering) Write(p []byte) (int, error) {
	a.Sent = append(a.Sent, p...)
	a.back = append(a.back, a.Octets(p)...)
	return len(p), nil
}

func (a *Answering) Read(p []byte, wait time.Duration) (int, error) {
	if len(a.back) == 0 {
		a.now = a.now.Add(max(wait, 0))
		return 0, nil
	}
	a.now = a.now.Add(time.Millisecond)
	n := copy(p, a.back)
	a.back = a.back[n:]
	return n, nil
}

func (a *Answering) SetBaud(int) error     { return nil }
func (a *Answering) Reset() error          { return link.ErrNoResetLine }
func (a *Answering) Now() time.Time        { return a.now }
func (a *Answering) Sleep(d time.Duration) { a.now = a.now.Add(d) }
func (a *Answering) Close() error          { return nil }

// Messages makes octets of a function from requests to answers; nil: none.
func Messages(answer func(code byte, payload []byte) (status byte, back []byte)) func([]byte) []byte {
	var d frame.Decoder
	return func(sent []byte) (back []byte) {
		for _, b := range sent {
			content, err, done := d.Next(b)
			if !done || err != nil {
				continue
			}
			status, payload := answer(content[0], append([]byte(nil), content[2:]...))
			back = frame.Append(back, frame.AppendResponse(nil, content[0], content[1], payload, status))
		}
		return back
	}
}
