package ports

// telnetEvent is what an octet of a Telnet connection (RFC 854) completes.
type telnetEvent struct {
	kind  telnetKind
	octet byte   // of data; the verb of an option
	body  []byte // the option; a subnegotiation without its IACs
}

type telnetKind int

const (
	telnetNothing telnetKind = iota
	telnetData
	telnetOption // WILL, WONT, DO or DONT
	telnetSub
)

// mostSub bounds a subnegotiation: a far end that never ends one fills no memory.
const mostSub = 256

// decoder takes a Telnet connection apart, octet by octet.
type decoder struct {
	escaped bool // after IAC
	verb    byte // WILL to DONT, whose option comes next; 0: none
	inSub   bool
	sub     []byte
}

func (d *decoder) next(octet byte) telnetEvent {
	if d.verb != 0 {
		verb := d.verb
		d.verb = 0
		return telnetEvent{telnetOption, verb, []byte{octet}}
	}
	if d.escaped {
		d.escaped = false
		return d.command(octet)
	}
	if octet == telnetIAC {
		d.escaped = true
		return telnetEvent{}
	}
	return d.plain(octet)
}

// command is the octet after IAC; those without a meaning for a port, such as NOP, are left out.
func (d *decoder) command(octet byte) telnetEvent {
	switch octet {
	case telnetIAC:
		return d.plain(octet)
	case telnetWill, telnetWont, telnetDo, telnetDont:
		d.verb = octet
	case telnetSB:
		d.inSub, d.sub = true, nil
	case telnetSE:
		if d.inSub {
			d.inSub = false
			return telnetEvent{kind: telnetSub, body: d.sub}
		}
	}
	return telnetEvent{}
}

func (d *decoder) plain(octet byte) telnetEvent {
	if !d.inSub {
		return telnetEvent{kind: telnetData, octet: octet}
	}
	if len(d.sub) < mostSub {
		d.sub = append(d.sub, octet)
	}
	return telnetEvent{}
}
