package avr

import "math"

// A wait with a limit counts its rounds:
//
//	again:  lds  r18, TWCR
//	        sbrc r18, 7
//	        rjmp done
//	        sbiw r24, 1
//	        breq late
//	        rjmp again
//
// One round changes nothing but the counter, and nothing but its reaching zero
// depends on the counter, so rounds can be skipped while it is above zero.

// loopCounter is the counter of a waiting loop: bytes of it, from register low up.
// A zero value means the loop has none.
type loopCounter struct {
	low, high uint8 // registers; high is 0 for a counter of one byte
	bytes     uint8
}

// pack puts a counter into an instruction's k2: 0 is none.
func (c loopCounter) pack() uint16 {
	return uint16(c.bytes)<<10 | uint16(c.high)<<5 | uint16(c.low)
}

func unpackCounter(k2 uint16) loopCounter {
	return loopCounter{low: uint8(k2 & 31), high: uint8(k2 >> 5 & 31), bytes: uint8(k2 >> 10)}
}

// value reads the counter.
func (c loopCounter) value(m *MCU) uint64 {
	v := uint64(m.mem[c.low])
	if c.bytes == 2 {
		v |= uint64(m.mem[c.high]) << 8
	}
	return v
}

func (c loopCounter) set(m *MCU, v uint64) {
	m.mem[c.low] = uint8(v)
	if c.bytes == 2 {
		m.mem[c.high] = uint8(v >> 8)
	}
}

// countdown recognises the counter's instructions at body[n]: DEC, SBIW by 1, or
// SUBI by 1 with SBCI of 0 or SBC of a register (which must then hold 0). It
// returns how many instructions they are, 0 if none. limit is the last one's zero
// register, or 0xFF.
func countdown(body []inst, n int) (c loopCounter, size int, zero uint8) {
	i := body[n].fields()
	switch {
	case i.op == opDec:
		return loopCounter{low: i.d, bytes: 1}, 1, 0xFF
	case i.op == opSbiw && i.k == 1:
		return loopCounter{low: i.d, high: i.d + 1, bytes: 2}, 1, 0xFF
	case i.op == opSubi && i.k == 1 && n+1 < len(body):
		j := body[n+1].fields()
		switch {
		case j.op == opSbci && j.k == 0 && j.d != i.d:
			return loopCounter{low: i.d, high: j.d, bytes: 2}, 2, 0xFF
		case j.op == opSbc && j.d != i.d && j.r != i.d && j.r != j.d:
			return loopCounter{low: i.d, high: j.d, bytes: 2}, 2, j.r
		}
	}
	return loopCounter{}, 0, 0xFF
}

// registersOf returns the registers that an instruction of a waiting loop reads or
// writes, as bits.
func registersOf(in inst) uint32 {
	d, r := uint32(1)<<in.d(), uint32(1)<<in.r()
	switch in.op() {
	case opMovw:
		return d | d<<1 | r | r<<1
	case opLdd:
		return d | r | r<<1
	case opNop, opSbic, opSbis, opRjmp, opBrbs, opBrbc:
		return 0
	case opLds, opIn, opInSreg, opSbrc, opSbrs, opLdi, opAndi, opOri, opCpi, opSubi, opSbci, opCom, opSwap, opLsr, opRor, opAsr, opNeg, opBst, opBld:
		return d
	}
	return d | r
}

// flagsDefined returns the SREG bits that an instruction sets whatever they were.
func flagsDefined(o op) uint8 {
	switch o {
	case opAnd, opAndi, opOr, opOri, opEor, opDec:
		return flagsLogical
	case opCp, opCpi, opSub, opSubi, opAdd, opNeg:
		return flagsAll
	case opSbiw, opCom, opLsr, opAsr:
		return flagsLogical | flagC
	}
	return 0
}

// flagsRead returns the SREG bits on which an instruction depends.
func flagsRead(in inst) uint8 {
	switch in.op() {
	case opBrbs, opBrbc:
		return in.r()
	case opAdc, opRor:
		return flagC
	case opSbc, opSbci, opCpc:
		return flagC | flagZ
	case opBld:
		return flagT
	case opInSreg:
		return 0xFF
	}
	return 0
}

// roundFlags is what is known of SREG before an instruction of a loop body, whatever way a round has taken to it.
type roundFlags struct {
	reached     bool
	defined     uint8 // set in this round
	fromCounter uint8 // may be those of the counter
}

// join adds a way to the instruction.
func (f *roundFlags) join(g roundFlags) {
	if f.reached {
		g.defined &= f.defined
		g.fromCounter |= f.fromCounter
	}
	g.reached = true
	*f = g
}

// countsRounds looks for exactly one counter in a loop body that begins at word from and is closed by branch. On every way
// through a round, flags must be set before they are read, only Z of the counter's be read, and no other instruction touch the
// counter. Inside the body it goes forward only.
func countsRounds(body []inst, branch inst, from uint16) (loopCounter, bool) {
	code := append(append([]inst(nil), body...), branch)
	var c loopCounter
	used := uint32(0)
	before := make([]roundFlags, len(code))
	before[0].reached = true
	for n := 0; n < len(code); {
		in, flags := code[n], before[n]
		size := 1
		if in.op() == opLds {
			size = 2
		}
		got, counting, zero := countdown(code, n)
		switch {
		case counting > 0:
			if c.bytes != 0 {
				return c, false
			}
			c, size = got, counting
			if zero != 0xFF {
				used |= 1 << zero
			}
			flags.count(in.op())
		case !flags.follow(in):
			return c, false
		default:
			used |= registersOf(in)
		}
		for _, to := range waysOn(in, n, size, from) {
			if to <= n && n < len(body) {
				return c, false
			}
			if to > n && to < len(code) {
				before[to].join(flags)
			}
		}
		for inside := n + 1; inside < min(n+size, len(code)); inside++ {
			if before[inside].reached {
				return c, false // a jump to its second word
			}
		}
		n += size
	}
	mine := uint32(1)<<c.low | uint32(1)<<c.high
	if c.bytes == 1 {
		mine = 1 << c.low
	}
	return c, c.bytes != 0 && used&mine == 0
}

// count is what counting down does to the flags.
func (f *roundFlags) count(o op) {
	set := uint8(flagsLogical)
	if o != opDec {
		set |= flagC
	}
	f.defined = (f.defined | set) &^ flagH
	f.fromCounter |= set | flagH
}

// follow is what another instruction does to them; false: it depends on flags of an earlier round, or on the counter's value.
func (f *roundFlags) follow(in inst) bool {
	if need := flagsRead(in); need&^f.defined != 0 || need&f.fromCounter&^flagZ != 0 {
		return false
	}
	set := flagsDefined(in.op())
	f.defined |= set
	f.fromCounter &^= set
	return true
}

// waysOn lists where execution may go on, as indices in the body; what lies outside it is beyond its end, or, but for the
// closing branch, before its start.
func waysOn(in inst, n, size int, from uint16) []int {
	next := n + size
	target := func(to uint16) int {
		if i := int(to) - int(from); i >= 0 {
			return i
		}
		return math.MaxInt // out of the loop
	}
	switch in.op() {
	case opRjmp:
		return []int{target(in.k())}
	case opBrbs, opBrbc:
		return []int{next, target(in.k())}
	case opCpse, opSbic, opSbis, opSbrc, opSbrs:
		return []int{next, target(in.k2() & (codeWords - 1))}
	}
	return []int{next}
}

// skipCounted skips rounds of a waiting loop of which one was just executed, from
// `before` in the counter. The last round before the bound is left to be executed,
// which sets SREG.
func (m *MCU) skipCounted(c loopCounter, before, start, bound uint64) bool {
	now := c.value(m)
	if now+1 != before || m.cycle >= bound {
		return false
	}
	period := m.cycle - start
	rounds := (bound - m.cycle) / period
	if now < 3 || rounds < 2 {
		return true
	}
	k := min(now-2, rounds-1)
	c.set(m, now-k)
	m.cycle += k * period
	m.poll.retryAt = m.cycle + 3*period // past the round in which the event shows
	return true
}
