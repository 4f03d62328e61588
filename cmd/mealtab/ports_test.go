package main

import (
	"bytes"
	"encoding/binary"
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/cmd/mealtab/internal/page"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/frame"
	"mealtab/flasher/link"
	"mealtab/flasher/ports"
)

// found is a port with a feeder that answers who it is.
func found(t *testing.T, name string) opened {
	t.Helper()
	id := []byte{frame.Version, 1, frame.FirmwareVersion, 0, 1}
	for _, v := range []uint16{1024, 416} {
		id = binary.LittleEndian.AppendUint16(id, v)
	}
	id = append(id, frame.MaxData, 0x80, 0x3E, 0xFF, 1, 0)
	a := &flashertest.Answering{Octets: flashertest.Messages(func(byte, []byte) (byte, []byte) { return frame.OK, id })}
	f, err := flasher.Connect(link.New(a, name, 57600))
	require.NoError(t, err)
	return opened{name, f, nil}
}

func silent(name string) opened {
	return opened{name, nil, &link.NothingError{Port: name, Waits: link.Patience}}
}

// Without --port the only feeder is used; several want a choice, and none says what is on each port.
func TestChooseFeeder(t *testing.T) {
	names := func(list []opened) (out []string) {
		for _, o := range list {
			out = append(out, o.port)
		}
		return out
	}
	one, err := choose([]opened{silent("ttyUSB0"), found(t, "ttyUSB1")}, false)
	require.NoError(t, err)
	require.Equal(t, []string{"ttyUSB1"}, names(one))

	_, err = choose([]opened{found(t, "ttyUSB0"), silent("ttyUSB1"), found(t, "ttyUSB2")}, false)
	require.EqualError(t, err, "feeders are on ttyUSB0 and ttyUSB2: say which with --port, or --all")

	all, err := choose([]opened{found(t, "ttyUSB0"), silent("ttyUSB1"), found(t, "ttyUSB2")}, true)
	require.NoError(t, err)
	require.Equal(t, []string{"ttyUSB0", "ttyUSB2"}, names(all))

	_, err = choose([]opened{silent("ttyUSB0"), {"ttyUSB1", nil, errors.New("ttyUSB1: another program has the port open")}}, false)
	require.EqualError(t, err, "no feeder found\n  ttyUSB0 opens but nothing answers in 5 s: a feeder whose wheel turns answers when it stands again, so try once more; else it is the wrong port, has no supply or no firmware yet, or RX and TX are swapped\n  ttyUSB1: another program has the port open")
}

// A question takes its own line of the input and no more; only yes is yes.
func TestAsk(t *testing.T) {
	in := strings.NewReader("yes\nno\nY \n\nmaybe")
	var out bytes.Buffer
	a := newApp(in, &out, &out)
	s := &session{a: a}
	var answers []bool
	for range 6 {
		answers = append(answers, s.ask("Really?"))
	}
	require.Equal(t, []bool{true, false, true, false, false, false}, answers)
	require.Equal(t, strings.Repeat("Really? [y/N] \n", 6), out.String())
}

// A feeder behind a port is found and named; without --port the other commands use it.
func TestPortsFindFeeder(t *testing.T) {
	name := flashertest.Terminal(t, flashertest.New(t, "m328-mains", flashertest.Table(t, "m328-mains", []uint16{420}, 0), nil))
	run := func(args ...string) string {
		var out, errs bytes.Buffer
		a := newApp(nil, &out, &errs)
		a.ports = func() ([]ports.Port, error) {
			return []ports.Port{{Name: name, USB: true, VID: "1a86", PID: "7523", Product: "USB Serial"}, {Name: "/dev/ttyNONE0", USB: true, VID: "0403"}}, nil
		}
		require.Equal(t, exitGood, a.execute(args), errs.String())
		return out.String()
	}
	require.Regexp(t, `^`+name+` +USB Serial +feeder: m328-mains, firmware \d+\n/dev/ttyNONE0 +USB 0403: +there is no such port`, run("ports"))
	require.Contains(t, run("status"), "board    m328-mains on "+name)
}

// The page asks on USB ports and of emulated boards; what is on another serial port it could disturb.
func TestPageLooksOnUSBPortsAndAtEmulatedBoards(t *testing.T) {
	list := likelyBoards([]ports.Port{{Name: "/dev/ttyS0"}, {Name: "/dev/ttyUSB0", USB: true, Product: "a bridge"}, {Name: "tcp:127.0.0.1:4161", Product: "emulated board"}})
	require.Equal(t, []page.FoundBoard{{ID: "/dev/ttyUSB0", Name: "ttyUSB0", Note: "a bridge"}, {ID: "tcp:127.0.0.1:4161", Name: "tcp:127.0.0.1:4161", Note: "emulated board"}}, list)
}
