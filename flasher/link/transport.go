// Package link talks to one board over one serial line: it opens ports, pulses the reset line, wakes a sleeping board, and
// carries requests and their answers through noise.
//
// In: message codes and payloads of package frame. Out: the payloads of the answers, or an error that says what was on the
// line instead. Times are [time.Duration], rates bits per second. Frames are those of RFC 1662; the line is 8N1, without
// flow control.
//
// Every request may be sent again (see [frame.Message.Repeatable]), so a lost frame costs time only. The package is the only one
// that uses go.bug.st/serial, whose ways it hides: a read that times out returns 0, nil; DTR and RTS are set by opening a port,
// which resets most boards; a pseudo-terminal has no such lines.
package link

import (
	"errors"
	"slices"
	"strings"
	"time"
)

// Transport carries octets. Implementations are a serial port ([Open]) and, in tests, an emulated board whose time is not ours;
// therefore a transport has the time too.
type Transport interface {
	// Read waits for octets, at most so long; 0, nil: none came.
	Read(p []byte, wait time.Duration) (int, error)
	Write(p []byte) (int, error)
	// SetBaud changes the rate of both directions.
	SetBaud(baud int) error
	// Reset pulses the board's reset line; [ErrNoResetLine] where there is none.
	Reset() error
	Now() time.Time
	Sleep(time.Duration)
	Close() error
}

// ErrNoResetLine is the answer of lines without DTR and RTS, such as a pseudo-terminal.
var ErrNoResetLine = errors.New("the port has no reset line")

// ErrClosed wraps what a transport says when the line is gone, as when the cable is pulled.
var ErrClosed = errors.New("the connection is gone: was the cable pulled?")

// ErrStuck is a port that takes no more octets.
var ErrStuck = errors.New("the port takes no octets: the device at its other end does not read them")

// Port is a serial port of this computer.
type Port struct {
	Name     string
	USB      bool
	VID, PID string // of the USB device, hexadecimal
	Serial   string // number of the USB device
	Product  string
}

// bridges are the USB vendor numbers of the serial bridges on boards of this kind, and of such boards themselves [from memory].
var bridges = []string{"0403", "04D8", "067B", "10C4", "1A86", "2341", "2A03"}

// Likely reports whether a feeder may be on the port: asking on others could disturb what is there.
func (p Port) Likely() bool {
	if p.VID == "" {
		return p.USB && hasBridgeName(p.Name)
	}
	return p.USB && slices.Contains(bridges, strings.ToUpper(p.VID))
}
