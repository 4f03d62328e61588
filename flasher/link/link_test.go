package link_test

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/flasher/flashertest"
	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// requests splits what was sent into frames.
func requests(octets []byte) (list [][]byte) {
	var d frame.Decoder
	for _, b := range octets {
		if content, err, done := d.Next(b); done && err == nil {
			list = append(list, bytes.Clone(content))
		}
	}
	return list
}

func echoPayload(code byte, payload []byte) (byte, []byte) { return frame.OK, payload }

// A request is sent again, octet by octet the same, until its answer comes.
func TestResendsUntilAnswered(t *testing.T) {
	answer := flashertest.Messages(echoPayload)
	asked := 0
	a := &flashertest.Answering{}
	a.Octets = func(sent []byte) []byte {
		back := answer(sent)
		if len(back) > 0 {
			if asked++; asked <= 4 {
				return nil
			}
		}
		return back
	}
	l := link.New(a, "port", 57600)
	got, err := l.Request(link.Call{Code: frame.Status, Payload: []byte{7, 0x7E, 0x7D, 9}})
	require.NoError(t, err)
	require.Equal(t, []byte{7, 0x7E, 0x7D, 9}, got)
	list := requests(a.Sent)
	require.Len(t, list, 5)
	for _, r := range list {
		require.Equal(t, list[0], r)
	}
	require.Equal(t, 4, l.Stats.Resent)
}

// Answers to an earlier request, or to none, are not taken for this one's.
func TestStaleAnswersAreDropped(t *testing.T) {
	answer := flashertest.Messages(echoPayload)
	var before []byte
	a := &flashertest.Answering{}
	a.Octets = func(sent []byte) []byte {
		now := answer(sent)
		if len(now) == 0 {
			return nil
		}
		back := append(bytes.Clone(before), now...)
		back = append(back, now...) // the line doubles it
		before = now
		return back
	}
	l := link.New(a, "port", 57600)
	for i := range byte(200) {
		got, err := l.Request(link.Call{Code: frame.Status, Payload: []byte{i}})
		require.NoError(t, err)
		require.Equal(t, []byte{i}, got)
	}
	require.Zero(t, l.Stats.Resent)
}

// A silent board is waited for as long as was said, and no longer than a little more.
func TestPatience(t *testing.T) {
	a := &flashertest.Answering{Octets: func([]byte) []byte { return nil }}
	l := link.New(a, "port", 57600)
	for _, patience := range []time.Duration{500 * time.Millisecond, 4 * time.Second, 20 * time.Second} {
		began := a.Now()
		_, err := l.Request(link.Call{Code: frame.Status, Patience: patience})
		require.ErrorIs(t, err, link.ErrSilent)
		require.InDelta(t, patience.Seconds(), a.Now().Sub(began).Seconds(), 0.1)
	}
	require.EqualError(t, link.ErrSilent, "no answer")
}

func TestStatusIsAnError(t *testing.T) {
	a := &flashertest.Answering{Octets: flashertest.Messages(func(byte, []byte) (byte, []byte) { return frame.BadTable, []byte{1, 2} })}
	got, err := link.New(a, "port", 57600).Request(link.Call{Code: frame.BankVerify})
	require.ErrorIs(t, err, frame.StatusError(frame.BadTable))
	require.Equal(t, []byte{1, 2}, got)
}

// A board that has just answered is awake: no preamble. One left alone for some seconds may sleep.
func TestPreambleWhereTheBoardMaySleep(t *testing.T) {
	a := &flashertest.Answering{Octets: flashertest.Messages(echoPayload)}
	l := link.New(a, "port", 57600)
	preambles := func() int { return bytes.Count(a.Sent, bytes.Repeat([]byte{frame.Preamble}, 16)) }
	ask := func() {
		_, err := l.Request(link.Call{Code: frame.Status})
		require.NoError(t, err)
	}
	ask()
	require.Equal(t, 1, preambles())
	ask()
	require.Equal(t, 1, preambles())
	a.Sleep(5 * time.Second)
	ask()
	require.Equal(t, 1, preambles())
	a.Sleep(7 * time.Second)
	ask()
	require.Equal(t, 2, preambles())
}

// rates answers at one rate only.
type rates struct {
	*flashertest.Answering
	baud, right int
}

func (r *rates) SetBaud(baud int) error { r.baud = baud; return nil }

func (r *rates) Write(p []byte) (int, error) {
	if r.baud != r.right {
		return len(p), nil
	}
	return r.Answering.Write(p)
}

func TestConnectTriesEveryRate(t *testing.T) {
	for _, right := range []int{57600, 19200} {
		r := &rates{&flashertest.Answering{Octets: flashertest.Messages(func(byte, []byte) (byte, []byte) { return frame.OK, []byte{1} })}, 57600, right}
		l := link.New(r, "port", 57600)
		got, err := l.Connect([]int{57600, 19200}, link.Patience)
		require.NoError(t, err)
		require.Equal(t, []byte{1}, got)
		require.Equal(t, right, l.Baud())
	}
}

// IDENTIFY never has the octet that bootloaders take for "program page" (STK500 version 1, application note AVR061: 64 hex), however
// often it is asked.
func TestIdentifyIsHarmlessToBootloaders(t *testing.T) {
	a := &flashertest.Answering{Octets: func([]byte) []byte { return nil }}
	_, err := link.New(a, "port", 57600).Connect([]int{57600}, time.Minute)
	require.Error(t, err)
	require.Greater(t, len(requests(a.Sent)), 256)
	require.NotContains(t, a.Sent, byte(0x64))
}

// Whatever comes from the line, an answer is one that was made for the request, with its check: here none is.
func FuzzAnswers(f *testing.F) {
	f.Add([]byte{0x7E, 0x82, 1, 0, 0x7E})
	f.Add(frame.Append(nil, []byte{frame.Status | frame.Answer, 2, 0}))
	f.Add(bytes.Repeat([]byte{0x7D}, 300))
	f.Fuzz(func(t *testing.T, octets []byte) {
		for _, content := range requests(bytes.Repeat(octets, 8)) { // every write is answered so
			if content[0] == frame.Status|frame.Answer && content[1] == 1 && len(content) >= frame.MinAnswer {
				return // a right answer after all
			}
		}
		a := &flashertest.Answering{Octets: func([]byte) []byte { return octets }}
		if got, err := link.New(a, "port", 57600).Request(link.Call{Code: frame.Status, Patience: 300 * time.Millisecond}); err == nil {
			t.Fatalf("took % X for an answer: % X", octets, got)
		}
	})
}
