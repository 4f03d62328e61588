// Package link talks to one board over one serial line: it wakes a sleeping board, and carries requests and their answers
// through noise.
//
// In: message codes and payloads of package frame. Out: the payloads of the answers, or an error that says what was on the
// line instead. Times are [time.Duration], rates bits per second. Frames are those of RFC 1662; the line is 8N1, without
// flow control.
//
// Every request may be sent again (see [frame.Message.Repeatable]), so a lost frame costs time only. What lies below is a
// [Transport]: a port of this computer (package ports) or a cable to an emulated board, whose time is not ours.
package link

import (
	"errors"
	"time"
)

// Transport carries octets, and has the time: that of this computer at a serial port, the board's own where the board is emulated.
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
