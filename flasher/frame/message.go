package frame

import (
	"encoding/binary"
	"fmt"
)

// Version is the version of the messages. A board answers IDENTIFY in every version.
const Version = 5

// FirmwareVersion is the version of the firmware in this tree, which a board answers to IDENTIFY.
const FirmwareVersion = 6

// Sizes in bytes.
const (
	MaxData    = 96             // bytes of a bank or EEPROM in one message
	MaxContent = MaxData + 8    // code, sequence, status and payload of the longest message
	minContent = 2              // code and sequence number
	Answer     = 0x80           // added to the code of a request in its response
	Preamble   = 0x55           // sent before the first frame to wake a sleeping board and to show it the bit time
	MinAnswer  = minContent + 1 // code, sequence number, status
	NextMax    = 6              // servings in one answer to NEXT
	NextSize   = 14             // bytes of each
	HistoryMax = MaxData / 8    // history records in one answer
	NextDays   = 31             // days that one NEXT request searches at most
	// ClockSetNote is the note of the last CLOCK_SET: the request without its code, with its check.
	ClockSetNote = 1 + 4 + fcsSize
)

// Codes of requests. A response has the code with [Answer] added, the same sequence number, and a status at its
// end: the board sends an answer while it makes it.
const (
	Identify = 1 + iota
	Status
	ClockRead
	ClockSet
	EEPROMRead
	HistoryRead
	BankWrite
	BankVerify
	BankCommit
	Next
	Serve
	Settings
	FaultsClear
	Ageing
	Hopper
	Service
)

// What HOPPER takes for HOLDS beside a number of pockets.
const (
	HopperRead   = 0      // nothing is changed
	HopperForget = 0xFFFE // no forecast from here on
	HopperFull   = 0xFFFF // filled with as many as before
)

// Statuses of responses.
const (
	OK = iota
	BadRequest
	BadRange
	BadTable
	Stale
	Refused
	NoClock
	NoTable
	Failed
)

// Field describes one field of a message.
type Field struct {
	Name    string
	Offset  int // in the payload; below 0: from its end
	Width   int // bytes; 0: the rest
	Unit    string
	Meaning string
}

// Message describes a request, its response and why it may be repeated.
type Message struct {
	Name       string
	Code       int
	Request    []Field
	Response   []Field // before the status
	Repeatable string
}

// Code describes a status.
type Code struct {
	Name    string
	Value   int
	Meaning string
}

// Statuses lists the statuses of responses.
func Statuses() []Code {
	return []Code{
		{"OK", OK, "done, or found done already"},
		{"BAD_REQUEST", BadRequest, "unknown code, or payload of the wrong length"},
		{"BAD_RANGE", BadRange, "offset, count or value out of range"},
		{"BAD_TABLE", BadTable, "the spare bank holds no valid table for this board; the answer says why"},
		{"STALE", Stale, "the table to be committed is not newer than the one in force, or not the one meant"},
		{"REFUSED", Refused, "a limit of the hour or the day, a supply that is too low, or a serving in progress"},
		{"NO_CLOCK", NoClock, "the clock chip does not answer"},
		{"NO_TABLE", NoTable, "no table is in force"},
		{"FAILED", Failed, "written, but read back otherwise"},
	}
}

// Messages lists all messages in order of code.
func Messages() []Message {
	return []Message{
		{"IDENTIFY", Identify, nil, []Field{
			{"PROTOCOL", 0, 1, "", "version of the messages"},
			{"FORMAT", 1, 1, "", "version of the table format"},
			{"FIRMWARE", 2, 2, "", "version of the firmware"},
			{"BOARD", 4, 1, "", "code of the board profile"},
			{"EEPROM_SIZE", 5, 2, "bytes", ""},
			{"BANK_SIZE", 7, 2, "bytes", "commit byte included"},
			{"MAX_DATA", 9, 1, "bytes", "in one message"},
			{"CLOCK_KHZ", 10, 2, "kHz", "of the CPU"},
			{"HISTORY_SLOTS", 12, 2, "records", "in the memory in use for the history"},
			{"SENSORS", 14, 1, "", "bit 0: index switch, bit 1: light barrier"},
		}, "reads only"},
		{"STATUS", Status, nil, []Field{
			{"FAULTS", 0, 2, "", "fault bits"},
			{"TICKS", 2, 2, "8 s", "periods of the watchdog since the reset, modulo 65536"},
			{"NOW", 4, 4, "seconds", "since 2000-01-01T00:00Z, by the clock chip or, if that is lost, the watchdog"},
			{"BANK", 8, 1, "", "0 or 1; FF: none"},
			{"CURSOR", 9, 4, "minutes", "every serving up to and including this instant is settled; 3FFFFFF: none is known"},
			{"CARRY", 13, 4, "tenths of mass units", ""},
			{"PRESET", 17, 1, "", "index"},
			{"ADJUST", 18, 1, "tenths", "8 to 12"},
			{"TOKEN", 19, 1, "", "of the last serving asked for over the line"},
			{"ASKED", 20, 1, "pockets", "by button or line in the window of a day; at most 40"},
			{"TABLE_CRC", 21, 2, "", "of the table in force"},
			{"SEQUENCE", 23, 1, "", "of the table in force"},
			{"PRESETS", 24, 1, "", "number of presets in the table"},
			{"SUPPLY", 25, 2, "mV", "measured now, at rest"},
			{"LOADED", 27, 2, "mV", "lowest under the servo in the last turn since the reset; 0: not known"},
			{"HOPPER_LEFT", 29, 2, "pockets", "in the hopper, by what was turned since it was filled; FFFF: nobody has said what it holds"},
			{"HOUR_LEFT", 31, 1, "servings", "by button or line that are allowed before the next hour without one"},
			{"DAY_LEFT", 32, 1, "servings", "by button or line that are allowed in the window of a day"},
			{"CLOCK_SET", 33, ClockSetNote, "", "the CLOCK_SET that was obeyed last, from its sequence number to its check, as the EEPROM holds it; a wrong check: never"},
		}, "reads only"},
		{"CLOCK_READ", ClockRead, nil, []Field{
			{"NOW", 0, 4, "seconds", "since 2000-01-01T00:00Z, read from the clock chip; sent at the moment at which the seconds change, at most a second after the request"},
			{"STOPPED", 4, 1, "", "1: the oscillator-stop flag is set"},
		}, "reads only"},
		{"CLOCK_SET", ClockSet, []Field{
			{"NOW", 0, 4, "seconds", "since 2000-01-01T00:00Z, taken as the time at which the frame ends"},
		}, nil, "the same request with the same sequence number is not obeyed twice"},
		{"EEPROM_READ", EEPROMRead, []Field{
			{"OFFSET", 0, 2, "bytes", ""},
			{"COUNT", 2, 1, "bytes", "1 to 96"},
		}, []Field{{"DATA", 0, 0, "", "the bytes"}}, "reads only"},
		{"HISTORY_READ", HistoryRead, []Field{
			{"SLOT", 0, 2, "", "of the ring; FFFF: none, to be told the newest"},
		}, []Field{
			{"NEWEST", 0, 2, "", "slot of the newest record"},
			{"RECORDS", 2, 0, "", "12 of 8 bytes each, that in the slot and those in the slots below it; fewer before a slot that holds none; what would lie below slot 0 means nothing"},
		}, "reads only"},
		{"BANK_WRITE", BankWrite, []Field{
			{"OFFSET", 0, 2, "bytes", "in the table"},
			{"DATA", 2, 0, "", "1 to 96 bytes"},
		}, []Field{{"HELD", 0, 0, "", "the same bytes, read again"}}, "writes the same bytes to the bank that is not in force, which it voids first"},
		{"BANK_VERIFY", BankVerify, nil, []Field{
			{"FAULT", 0, 1, "", "what is wrong with the table in the spare bank"},
			{"FAULT_AT", 1, 2, "bytes", "offset in the EEPROM near which"},
			{"TABLE_CRC", 3, 2, "", "of that table"},
			{"SEQUENCE", 5, 1, "", "of that table"},
		}, "reads only"},
		{"BANK_COMMIT", BankCommit, []Field{
			{"TABLE_CRC", 0, 2, "", "of the table to be put in force"},
			{"SEQUENCE", 2, 1, "", "of that table"},
		}, []Field{{"FAULT", 0, 0, "", "with BAD_TABLE only: what is wrong with the table in the spare bank (1)"}}, "if that table is in force already, nothing is done and the answer is OK"},
		{"NEXT", Next, []Field{
			{"AFTER", 0, 4, "minutes", "instants after this one; FFFFFFFF: after the cursor"},
			{"COUNT", 4, 1, "servings", "1 to 6"},
		}, []Field{
			{"SERVINGS", 0, 0, "", "14 bytes each: minute (4), meals (8), of which bit i is meal i, pockets (2)"},
			{"SEARCHED", -4, 4, "minutes", "no serving up to and including this instant has been left out; ask again from here"},
		}, "reads only"},
		{"SERVE", Serve, []Field{
			{"TOKEN", 0, 1, "", "one more than the token in STATUS, modulo 256"},
			{"UNITS", 1, 3, "mass units", "0: the button's portion; at most 20 pockets"},
		}, []Field{{"POCKETS", 0, 2, "pockets", "that will be turned"}}, "a token that was served already is not served again, not even after a reset"},
		{"SETTINGS", Settings, []Field{
			{"PRESET", 0, 1, "", "index; FF: as it is"},
			{"ADJUST", 1, 1, "tenths", "8 to 12; FF: as it is"},
		}, []Field{{"PRESET", 0, 1, "", "now"}, {"ADJUST", 1, 1, "tenths", "now"}}, "sets, does not step"},
		{"FAULTS_CLEAR", FaultsClear, []Field{{"FAULTS", 0, 2, "", "fault bits to acknowledge"}}, []Field{{"FAULTS", 0, 2, "", "fault bits now"}}, "clears what it names"},
		{"AGEING", Ageing, []Field{
			{"VALUE", 0, 1, "", "ageing offset of the clock chip, -128 to 127"},
			{"WRITE", 1, 1, "", "1: write it; 0: only read"},
		}, []Field{{"VALUE", 0, 1, "", "now in the chip"}}, "sets, does not step"},
		{"HOPPER", Hopper, []Field{
			{"HOLDS", 0, 2, "pockets", "1 to FFFD: filled with so many; FFFF: with as many as before; FFFE: no forecast from here on; 0: only read"},
		}, []Field{
			{"HOLDS", 0, 2, "pockets", "when filled; 0: nobody has said"},
			{"LEFT", 2, 2, "pockets", "by what was turned since"},
		}, "sets, does not step; a repeated one comes within seconds"},
		{"SERVICE", Service, []Field{
			{"TOKEN", 0, 1, "", "one more than that of the last action, modulo 256; of no meaning with action 0"},
			{"ACTION", 1, 1, "", "of a test on the bench: 0 look, 1 watch the wires, 2 light, 3 hold the stop pulse, 4 ring, 5 pockets forwards, 6 one pocket back and forwards again, 7 pulses on another pin"},
			{"COUNT", 2, 1, "", "seconds (1, 3, 4), flashes (2), pockets (5), number of the pin on port B (7: 0, 2, 3 or 4); at most 8"},
			{"TRIM", 3, 2, "µs", "two's complement: added to the stop pulse (3, 6), at most 60 either way; with 1: what the wires do at rest"},
		}, []Field{
			{"TOKEN", 0, 1, "", "of the last action that was obeyed; 0 after a reset"},
			{"BEFORE", 1, 2, "", "what the wires did before the action: bit 0 interrupt wire low; 1 to 3 feed, portion, plan button closed; 4 index switch closed; 5 beam broken; action 0 only: 6, 7 SDA, SCL rise by their pull-ups; 8, 9 SDA, SCL rise by the chip's own; 10 the clock chip answers with SDA and SCL exchanged; 11 it counts in twelve hours"},
			{"AFTER", 3, 2, "", "what they did after it"},
			{"SEEN", 5, 2, "", "those that did otherwise than BEFORE at any time meanwhile"},
		}, "an action whose token was obeyed last is not begun again, and a token that is not the next one is BAD_RANGE, as after a reset"},
	}
}

// MessageNamed returns the message of a name and panics if there is none; for tables in this program.
func MessageNamed(name string) Message {
	for _, m := range Messages() {
		if m.Name == name {
			return m
		}
	}
	panic("frame: no message " + name)
}

// Answered is a field of the message's response by its name. It panics if there is no such field; the payload has at least the
// [Size] of the response.
func (m Message) Answered(payload []byte, name string) []byte {
	for _, f := range m.Response {
		if f.Name != name {
			continue
		}
		at := f.Offset
		if at < 0 {
			at += len(payload)
		}
		return payload[at : at+f.Width]
	}
	panic("frame: " + m.Name + " has no field " + name)
}

// Number is a field of the response as an unsigned number of at most four bytes.
func (m Message) Number(payload []byte, name string) uint32 {
	var wide [4]byte
	copy(wide[:], m.Answered(payload, name))
	return binary.LittleEndian.Uint32(wide[:])
}

// Response takes the content of a response apart: its payload and its status, which is the last octet. The content has at least
// [MinAnswer] octets.
func Response(content []byte) (payload []byte, status int) {
	last := len(content) - 1
	return content[minContent:last], int(content[last])
}

// AppendResponse appends the content of a response to a request.
func AppendResponse(dst []byte, code, sequence byte, payload []byte, status byte) []byte {
	return append(append(append(dst, code|Answer, sequence), payload...), status)
}

// Size returns the bytes of fields of fixed width.
func Size(fields []Field) int {
	n := 0
	for _, f := range fields {
		n += f.Width
	}
	return n
}

// StatusError is a status other than OK.
type StatusError int

func (e StatusError) Error() string {
	for _, s := range Statuses() {
		if s.Value == int(e) {
			return fmt.Sprintf("the board answers %s: %s", s.Name, s.Meaning)
		}
	}
	return fmt.Sprintf("the board answers with unknown status %d", int(e))
}
