package avr

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

// countsRounds looks for exactly one counter in a loop body closed by branch, and
// checks that flags are set before they are read in each round, that no other
// instruction touches the counter, and that only Z of its last value is read.
func countsRounds(body []inst, branch inst) (loopCounter, bool) {
	code := append(append([]inst(nil), body...), branch)
	var c loopCounter
	defined, fromCounter, afterSkip := uint8(0), false, false
	used := uint32(0)
	for n := 0; n < len(code); n++ {
		in := code[n]
		if got, size, zero := countdown(code, n); size > 0 {
			if c.bytes != 0 || afterSkip {
				return c, false
			}
			c = got
			if zero != 0xFF {
				used |= 1 << zero
			}
			defined, fromCounter = (defined|flagsLogical)&^flagH, true
			if in.op() != opDec {
				defined |= flagC
			}
			n += size - 1
			continue
		}
		if need := flagsRead(in); need&^defined != 0 || fromCounter && need&^flagZ != 0 {
			return c, false
		}
		if set := flagsDefined(in.op()); set != 0 && !afterSkip {
			defined |= set
			fromCounter = fromCounter && set&flagZ == 0
		} else if set != 0 {
			return c, false
		}
		used |= registersOf(in)
		afterSkip = false
		switch in.op() {
		case opSbrc, opSbrs, opSbic, opSbis, opCpse:
			afterSkip = true
		case opLds:
			n++ // its address word
		}
	}
	mine := uint32(1)<<c.low | uint32(1)<<c.high
	if c.bytes == 1 {
		mine = 1 << c.low
	}
	return c, c.bytes != 0 && used&mine == 0
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
