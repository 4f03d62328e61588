package ports

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"strings"
	"time"

	"mealtab/flasher/link"
)

// controlPrefix begins the name of a serial port behind a network whose far end sets the rate and moves the modem lines when it is asked to, by
// RFC 2217: "rfc2217:HOST:PORT". Such a board is reset and installed on as if it were here.
const controlPrefix = "rfc2217:"

// Octets of Telnet (RFC 854, RFC 855).
const (
	telnetSE   = 240 // end of a subnegotiation
	telnetSB   = 250
	telnetWill = 251
	telnetWont = 252
	telnetDo   = 253
	telnetDont = 254
	telnetIAC  = 255
)

// Options: binary transmission (RFC 856), without go-aheads (RFC 858), control of a port (RFC 2217).
const (
	optionBinary  = 0
	optionAhead   = 3
	optionControl = 44
)

// Commands of RFC 2217, section 3; the far end answers with the same plus 100.
const (
	setBaud    = 1
	setData    = 2
	setParity  = 3
	setStop    = 4
	setControl = 5
	purge      = 12
	answered   = 100
)

// Values of [setControl] and of [purge].
const (
	flowNone  = 1
	dtrOn     = 8
	dtrOff    = 9
	rtsOn     = 11
	rtsOff    = 12
	purgeBoth = 3
)

// controlTime is how long the far end may take to obey.
const controlTime = 3 * time.Second

// controlled is a serial port at the far end of a Telnet connection.
type controlled struct {
	connection
	name    string
	telnet  decoder
	data    []byte // come and not read yet
	agreed  bool   // the far end obeys RFC 2217
	refused bool
	replies map[byte][]byte // the newest answer to each command
	answers []byte          // owed to the far end
}

// openControlled connects, and agrees on 8N1 at a rate, without flow control.
func openControlled(name string, baud int) (*link.Link, error) {
	if err := CheckName(name); err != nil {
		return nil, err
	}
	c, err := dial(name, strings.TrimPrefix(name, controlPrefix))
	if err != nil {
		return nil, err
	}
	p := &controlled{connection: *c, name: name, replies: map[byte][]byte{}}
	if err := p.begin(baud); err != nil {
		p.Close()
		return nil, &OpenError{name, err.Error()}
	}
	return link.New(p, name, baud), nil
}

func (p *controlled) begin(baud int) error {
	var hello []byte
	for _, option := range []byte{optionBinary, optionAhead} {
		hello = append(hello, telnetIAC, telnetWill, option, telnetIAC, telnetDo, option)
	}
	hello = append(hello, telnetIAC, telnetWill, optionControl)
	if _, err := p.connection.Write(hello); err != nil {
		return err
	}
	if err := p.until(func() bool { return p.agreed || p.refused }); err != nil || p.refused {
		return fmt.Errorf("the far end does not control its port by RFC 2217; if it only carries octets, use %s%s", tcpPrefix, strings.TrimPrefix(p.name, controlPrefix))
	}
	for _, c := range [][2]byte{{setData, 8}, {setParity, 1}, {setStop, 1}, {setControl, flowNone}} {
		if _, err := p.command(c[0], c[1]); err != nil {
			return err
		}
	}
	return p.SetBaud(baud)
}

// until reads on, data too, until something holds.
func (p *controlled) until(holds func() bool) error {
	for end := time.Now().Add(controlTime); !holds(); {
		left := time.Until(end)
		if left <= 0 {
			return fmt.Errorf("the far end does not answer within %s", link.Seconds(controlTime))
		}
		if err := p.receive(left); err != nil {
			return err
		}
	}
	return nil
}

// command asks the far end for something and returns what it says it has done.
func (p *controlled) command(code byte, value ...byte) ([]byte, error) {
	delete(p.replies, code)
	request := append([]byte{telnetIAC, telnetSB, optionControl, code}, doubled(value)...)
	if _, err := p.connection.Write(append(request, telnetIAC, telnetSE)); err != nil {
		return nil, err
	}
	err := p.until(func() bool { return p.replies[code] != nil })
	return p.replies[code], err
}

// receive takes what has come, at most so long.
func (p *controlled) receive(wait time.Duration) error {
	var b [512]byte
	n, err := p.connection.Read(b[:], wait)
	for _, octet := range b[:n] {
		p.octet(octet)
	}
	if len(p.answers) > 0 && err == nil {
		_, err = p.connection.Write(p.answers)
		p.answers = nil
	}
	return err
}

func (p *controlled) octet(octet byte) {
	switch e := p.telnet.next(octet); e.kind {
	case telnetData:
		p.data = append(p.data, e.octet)
	case telnetOption:
		p.option(e.octet, e.body[0])
	case telnetSub:
		if len(e.body) >= 2 && e.body[0] == optionControl && e.body[1] > answered {
			p.replies[e.body[1]-answered] = append([]byte{}, e.body[2:]...)
		}
	}
}

// option takes an agreement, and refuses what was not offered.
func (p *controlled) option(verb, option byte) {
	ours := option == optionBinary || option == optionAhead || option == optionControl
	switch {
	case option == optionControl && verb == telnetDo:
		p.agreed = true
	case option == optionControl && verb == telnetDont:
		p.refused = true
	case !ours && verb == telnetDo:
		p.answers = append(p.answers, telnetIAC, telnetWont, option)
	case !ours && verb == telnetWill:
		p.answers = append(p.answers, telnetIAC, telnetDont, option)
	}
}

func (p *controlled) Read(b []byte, wait time.Duration) (int, error) {
	for end := time.Now().Add(wait); len(p.data) == 0; {
		left := time.Until(end)
		if left <= 0 {
			return 0, nil
		}
		if err := p.receive(left); err != nil {
			return 0, err
		}
	}
	n := copy(b, p.data)
	p.data = p.data[n:]
	return n, nil
}

func (p *controlled) Write(b []byte) (int, error) {
	if _, err := p.connection.Write(doubled(b)); err != nil {
		return 0, err
	}
	return len(b), nil
}

// doubled writes each IAC among data twice.
func doubled(b []byte) []byte {
	return bytes.ReplaceAll(b, []byte{telnetIAC}, []byte{telnetIAC, telnetIAC})
}

func (p *controlled) SetBaud(baud int) error {
	got, err := p.command(setBaud, binary.BigEndian.AppendUint32(nil, uint32(baud))...)
	if err != nil {
		return err
	}
	if len(got) != 4 || binary.BigEndian.Uint32(got) != uint32(baud) {
		return fmt.Errorf("the far end does not set its port to %d Bd", baud)
	}
	return nil
}

// Reset drops DTR and RTS and raises them again, as [port.Reset] does.
func (p *controlled) Reset() error {
	for _, pair := range [][2]byte{{dtrOff, rtsOff}, {dtrOn, rtsOn}} {
		for _, line := range pair {
			if _, err := p.command(setControl, line); err != nil {
				return err
			}
		}
		if pair[0] == dtrOff {
			time.Sleep(resetPulse)
		}
	}
	_, err := p.command(purge, purgeBoth)
	p.data = nil
	return err
}
