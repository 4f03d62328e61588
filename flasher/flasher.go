// Package flasher does what an owner asks of a feeder over its serial line: who are you, what do you hold, take this table, set
// your clock, feed now, what have you done.
//
// In: a [link.Link], tables as bytes. Out: what the board says, in the units of its messages (minutes and seconds since
// 2000-01-01T00:00Z as [table.Minute] and [time.Time]), or an error that names what was not done. It knows tables by their
// format only, no plans and no recurrence rules.
package flasher

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// Identity is what a board says about itself. It may be asked in every version of the messages.
type Identity struct {
	Protocol     int
	Format       int // of tables
	Firmware     int
	Board        uint8
	EEPROMSize   int // bytes
	BankSize     int // bytes, commit byte included
	MaxData      int // bytes in one message
	HistorySlots int
	Sensors      int // SensorIndex, SensorBarrier
	ClockKHz     int // of the CPU
}

// Sensors of a board.
const (
	SensorIndex   = 1 << iota // index switch: counts pockets
	SensorBarrier             // light barrier at the outlet: sees what falls
)

// Feeder is a board that has said what it is.
type Feeder struct {
	link *link.Link
	ID   Identity
	Map  table.Map
	// NotBefore is a time that is past for certain, such as that of the newest data at hand: a computer whose clock shows an earlier one
	// sets no other clock. Zero: nothing is known.
	NotBefore time.Time
}

// DefaultBaud is the rate to open a port with.
func DefaultBaud() int { return profile.Rates()[0] }

// Connect asks the board on a link who it is. The error is a [*link.NothingError] if no feeder answers, a [*VersionError] if one does
// whose messages this program does not speak.
func Connect(l *link.Link) (*Feeder, error) { return ConnectWithin(l, link.Patience) }

// ConnectWithin is Connect with another patience.
func ConnectWithin(l *link.Link, patience time.Duration) (*Feeder, error) {
	payload, err := l.Connect(profile.Rates(), patience)
	var nothing *link.NothingError
	switch {
	case errors.As(err, &nothing):
		return nil, err
	case err != nil:
		return nil, failed(l.Name(), "IDENTIFY", err)
	}
	r := reader{b: payload}
	id := Identity{
		Protocol: r.byte(), Format: r.byte(), Firmware: r.word(), Board: uint8(r.byte()), EEPROMSize: r.word(), BankSize: r.word(),
		MaxData: r.byte(), ClockKHz: r.word(), HistorySlots: r.word(), Sensors: r.byte(),
	}
	f := &Feeder{link: l, ID: id}
	if id.Protocol != frame.Version {
		return f, &VersionError{l.Name(), "messages", id.Protocol, frame.Version}
	}
	if r.short {
		return nil, fmt.Errorf("%s answers with %d bytes where a feeder's answer has %d", l.Name(), len(payload), frame.Size(frame.MessageNamed("IDENTIFY").Response))
	}
	m, ok := table.MapFor(id.EEPROMSize)
	if !ok || m.BankSize != id.BankSize || id.MaxData == 0 {
		return f, fmt.Errorf("%s: the board says it has %d bytes of EEPROM in banks of %d; no feeder this program knows has", l.Name(), id.EEPROMSize, id.BankSize)
	}
	f.Map = m
	return f, nil
}

// VersionError is a board that speaks another version.
type VersionError struct {
	Port        string
	What        string // "messages" or "tables"
	Board, Ours int
}

func (e *VersionError) Error() string {
	cure := "a newer mealtab is needed"
	if e.Board < e.Ours {
		cure = "its firmware is older than this program: mealtab install puts the new one on it"
	}
	return fmt.Sprintf("the board on %s has version %d of the %s, this program has version %d; %s (nothing was written)", e.Port, e.Board, e.What, e.Ours, cure)
}

// BoardName is the name of the profile that the firmware was built for: of those with its code, the one with its sensors.
func (f *Feeder) BoardName() string {
	for _, b := range profile.Boards() {
		if b.Code == f.ID.Board && b.IndexSwitch == (f.ID.Sensors&SensorIndex != 0) && b.LightBarrier == (f.ID.Sensors&SensorBarrier != 0) {
			return b.Name
		}
	}
	return BoardName(f.ID.Board)
}

// BoardName is the name of a board profile by its code.
func BoardName(code uint8) string {
	if b, ok := profile.ByCode(code); ok {
		return b.Name
	}
	return fmt.Sprintf("board %d", code)
}

// Link is the conversation with the board.
func (f *Feeder) Link() *link.Link { return f.link }

// Port is the name of the board's port.
func (f *Feeder) Port() string { return f.link.Name() }

// Close ends the conversation.
func (f *Feeder) Close() error { return f.link.Close() }

// Now is the time of this computer, or of the world a test lets the board live in.
func (f *Feeder) Now() time.Time { return f.link.Transport().Now() }

// What a board may be busy with beside the request.
const (
	// byteWrite is the EEPROM's time for a byte: 3.4 ms (ATmega328P data sheet, table 8-1), of an oscillator that may be 10 % slow.
	byteWrite = 3740 * time.Microsecond
	// recordWork covers a record of the journal and one of the history: mark twice, contents, seal.
	recordWork = (table.JournalSlotSize + 2 + table.HistorySize) * byteWrite
	// settleWork covers reading the clock and measuring the supply.
	settleWork = 20 * time.Millisecond
	// turning is how long the wheel may keep a board from answering: 64 pockets of 0.31 s, and what belongs to them.
	turning = 25 * time.Second
)

// ask sends a request and wants an answer at least as long as the named message's.
func (f *Feeder) ask(c link.Call, name string) ([]byte, error) {
	b, err := f.link.Request(c)
	if err != nil {
		return b, f.failed(name, err)
	}
	if want := frame.Size(frame.MessageNamed(name).Response); len(b) < want {
		return nil, f.failed(name, fmt.Errorf("it has %d bytes, not %d", len(b), want))
	}
	return b, nil
}

func (f *Feeder) failed(what string, err error) error { return failed(f.link.Name(), what, err) }

func failed(port, what string, err error) error { return &RequestError{port, what, err} }

// RequestError is a request that was not answered as it should be.
type RequestError struct {
	Port    string
	Message string // name in package frame
	Err     error
}

func (e *RequestError) Error() string { return e.Port + ": " + e.Reason() }

// Reason is the error without the name of the port.
func (e *RequestError) Reason() string {
	var status frame.StatusError
	switch {
	case errors.Is(e.Err, link.ErrClosed) || errors.Is(e.Err, link.ErrStuck):
		return e.Err.Error()
	case errors.Is(e.Err, link.ErrSilent):
		return strings.Replace(e.Err.Error(), "no answer", "no answer to "+e.Message, 1)
	case errors.As(e.Err, &status):
		what, why, _ := strings.Cut(e.Err.Error(), ":") // "the board answers STALE", " it is not newer"
		return strings.TrimSuffix(what+" to "+e.Message+":"+why, ":")
	}
	return fmt.Sprintf("the answer to %s is not one that a feeder gives: %v", e.Message, e.Err)
}

func (e *RequestError) Unwrap() error { return e.Err }

// Named makes an error name a port, once.
func Named(port string, err error) error {
	if strings.Contains(err.Error(), port) {
		return err
	}
	return fmt.Errorf("%s: %w", port, err)
}

func seconds(n uint32) time.Time { return time.Unix(table.Epoch+int64(n), 0).UTC() }

// secondsOf is the inverse, for the years of the calendar.
func secondsOf(t time.Time) uint32 { return uint32(t.Unix() - table.Epoch) }

// reader takes little-endian numbers off a payload.
type reader struct {
	b     []byte
	short bool
}

func (r *reader) number(n int) (v uint32) {
	if len(r.b) < n {
		r.short, r.b = true, nil
		return 0
	}
	for i := n - 1; i >= 0; i-- {
		v = v<<8 | uint32(r.b[i])
	}
	r.b = r.b[n:]
	return v
}

func (r *reader) byte() int    { return int(r.number(1)) }
func (r *reader) word() int    { return int(r.number(2)) }
func (r *reader) long() uint32 { return r.number(4) }
