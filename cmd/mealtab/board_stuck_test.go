package main

import (
	"bytes"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/emulator/scenario"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/frame"
)

// deafHost sends without end and never reads.
type deafHost struct {
	waiting chan struct{} // closed when the board's octets wait for it
	ended   chan struct{}
	sent    bytes.Reader
}

func (d *deafHost) Write([]byte) (int, error) {
	close(d.waiting)
	<-d.ended
	return 0, io.ErrClosedPipe
}

func (d *deafHost) Read(p []byte) (int, error) {
	if n, err := d.sent.Read(p); err == nil {
		return n, nil
	}
	<-d.ended
	return 0, io.EOF
}

// hands types a command when the board's octets wait.
type hands struct {
	*deafHost
	text *strings.Reader
}

func (h hands) Read(p []byte) (int, error) {
	select {
	case <-h.waiting:
	case <-h.ended:
	}
	return h.text.Read(p)
}

// A host that sends and does not read holds up neither the commands nor a signal.
func TestBoardWithDeafHost(t *testing.T) {
	e := flashertest.New(t, "m328-mains", nil, nil)
	host := &deafHost{waiting: make(chan struct{}), ended: make(chan struct{})}
	defer close(host.ended)
	host.sent.Reset(bytes.Repeat(append(bytes.Repeat([]byte{frame.Preamble}, 16), frame.Append(nil, []byte{frame.Identify, 1})...), 300))
	l := newLive(e.Board, scenario.NewLog(replay.NewClock(&table.Zone{}), io.Discard), 50)
	l.join(host)
	require.NoError(t, l.run(hands{host, strings.NewReader("quit\n")}, nil))

	e = flashertest.New(t, "m328-mains", nil, nil)
	again := &deafHost{waiting: make(chan struct{}), ended: make(chan struct{})}
	defer close(again.ended)
	again.sent.Reset(bytes.Repeat(append(bytes.Repeat([]byte{frame.Preamble}, 16), frame.Append(nil, []byte{frame.Identify, 1})...), 300))
	l = newLive(e.Board, scenario.NewLog(replay.NewClock(&table.Zone{}), io.Discard), 50)
	l.join(again)
	require.NoError(t, l.run(strings.NewReader(""), again.waiting)) // as a signal would come
}
