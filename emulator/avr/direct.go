package avr

// Many accesses to I/O registers neither depend on the time nor do anything but
// read or write one byte. In the fast loop they have forms of their own, so that
// they do not leave it; poll loops and the frames of functions consist of them.
// The fast loop keeps a distance from the next event (fuseSlack), so none falls
// due before the access.

// Operations beside opFusedMax.
const (
	opLoadIO  op = opFusedMax + iota // IN, LDS: d; k: register; k2: cycles and words beyond the first
	opSkipIO                         // SBIC, SBIS: r: mask; d: 0xFF for SBIS; k, k2 as there
	opBitWait                        // opLoadIO at the start of a bitWait: r: words to the branch back, bit << 4, value while it waits << 7
	opBitIO                          // SBI, CBI: r: bits to set; d: bits to keep; k: register
	opInSP                           // IN from SPL, SPH: d; r: bits to shift
	opOutSPL                         // OUT: d
	opOutSPH
	opOutSreg // OUT to SREG: d
	opSeiIdle // SEI, executed here while nothing is requested
	opDirectMax
)

// plainRead reports whether reading an I/O register gives the byte in memory, at
// any time and without an effect: MCU.load and MCU.peek have no case for it.
func plainRead(addr uint16) bool {
	switch addr {
	case DDRB, PORTB, DDRC, PORTC, DDRD, PORTD, PCIFR, EIFR, EIMSK, GPIOR0, GPIOR1, GPIOR2, EEDR, EEARL, EEARH,
		TCCR0A, TCCR0B, SMCR, MCUSR, PRR, PCICR, EICRA, PCMSK0, PCMSK1, PCMSK2, TIMSK0, TIMSK1, TIMSK2, TCCR1A, TCCR1B,
		TCCR2A, TCCR2B, TWBR, TWSR, TWDR, TWCR, UCSR0A, UCSR0B, UCSR0C:
		return true
	}
	return false
}

// plainWrite reports whether writing an I/O register stores all eight bits and does
// nothing else.
func plainWrite(addr uint16) bool { return addr == GPIOR0 || addr == GPIOR1 || addr == GPIOR2 }

// direct returns the form of an instruction for the fast loop; most are their own.
func direct(in inst) inst {
	i := in.fields()
	switch {
	case i.op == opIn && plainRead(i.k):
		i.op, i.k2 = opLoadIO, 0
	case i.op == opLds && plainRead(i.k):
		i.op, i.k2 = opLoadIO, 1
	case (i.op == opSbic || i.op == opSbis) && plainRead(i.k):
		i.d = 0
		if i.op == opSbis {
			i.d = 0xFF
		}
		i.op = opSkipIO
	case i.op == opSbi && plainWrite(i.k):
		i.op, i.d = opBitIO, 0xFF
	case i.op == opCbi && plainWrite(i.k):
		i.op, i.d, i.r = opBitIO, ^i.r, 0
	case i.op == opIn && (i.k == SPL || i.k == SPH):
		i.op, i.r = opInSP, uint8(8*(i.k-SPL))
	case i.op == opOut && i.k == SPL:
		i.op = opOutSPL
	case i.op == opOut && i.k == SPH:
		i.op = opOutSPH
	case i.op == opOut && i.k == SREG:
		i.op = opOutSreg
	case i.op == opSei:
		i.op = opSeiIdle
	default:
		return in
	}
	return i.pack()
}
