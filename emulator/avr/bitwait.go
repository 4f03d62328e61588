package avr

import "math/bits"

// The commonest wait looks at one bit and counts its rounds:
//
//	again:  lds  r18, TWCR         or IN
//	        sbrc r18, 7            or SBRS
//	        rjmp done
//	        sbiw r24, 1
//	        breq late
//	        rjmp again             or, for the last two, BRNE again
//
// All that a round does is known when flash is decoded, so that none need be
// executed to see that the next ones are like it: not the first, nor the last one
// before the bound, for SREG is what SBIW leaves. So the skip begins at the loop's
// first instruction, which has a form of its own in the fast loop.

// bitWait is one such loop.
type bitWait struct {
	at      uint16 // of the branch back
	words   uint8  // from the first one to that branch
	addr    uint16 // of the register or SRAM byte looked at
	reg     uint8  // where it is loaded
	mask    uint8  // the bit
	stays   uint8  // the bit while the loop goes on: 0 or mask
	counter uint8  // register pair
	period  uint64 // cycles of a round
}

// bitWaitOf recognises the loop from its first word to the branch that closes it.
func bitWaitOf(p *program, from, at, ramEnd uint16) (w bitWait, ok bool) {
	body, branch := p.plain[from:at], p.plain[at]
	load, n := body[0].fields(), 1
	w.at, w.words, w.period = at, uint8(at-from), 1
	if load.op == opLds {
		n, w.period = 2, 2
	} else if load.op != opIn {
		return w, false
	}
	inRAM := load.op == opLds && load.k >= ramStart && load.k <= ramEnd
	if !plainRead(load.k) && !inRAM || len(body) < n+3 {
		return w, false
	}
	w.addr, w.reg = load.k, load.d
	outside := func(to uint16) bool { return to < from || to > at }
	skip, leave, count := body[n].fields(), body[n+1].fields(), body[n+2].fields()
	w.mask, w.counter = skip.r, count.d
	switch {
	case skip.op == opSbrs:
		w.stays = w.mask
	case skip.op != opSbrc:
		return w, false
	}
	if skip.d != w.reg || leave.op != opRjmp || !outside(leave.k) || count.op != opSbiw || count.k != 1 || w.reg|1 == w.counter|1 {
		return w, false
	}
	w.period += 2 + 2 + 2 // a skip, SBIW, the branch back
	close, rest := branch.fields(), body[n+3:]
	if len(rest) == 0 {
		return w, close.op == opBrbc && close.r == flagZ
	}
	late := rest[0].fields()
	w.period++
	return w, len(rest) == 1 && late.op == opBrbs && late.r == flagZ && outside(late.k) && close.op == opRjmp
}

// head returns the form of the loop's first instruction.
func (w *bitWait) head(in inst) inst {
	i := in.fields()
	bit := uint8(bits.TrailingZeros8(w.mask))
	i.op, i.k2 = opBitWait, 0
	if in.op() == opLds {
		i.k2 = 1
	}
	i.r = w.words | bit<<4
	if w.stays != 0 {
		i.r |= 0x80
	}
	return i.pack()
}

// skipBitWait passes over all rounds that end by bound, of a loop at whose start the
// program is.
func (m *MCU) skipBitWait(w *bitWait, bound uint64) {
	v := m.mem[w.addr]
	count := uint64(m.pointer(uint(w.counter)))
	if v&w.mask == w.stays && count >= 2 && m.cycle < bound {
		if rounds := min(count-1, (bound-m.cycle)/w.period); rounds > 0 {
			m.mem[w.reg] = v
			left := count - rounds
			m.setPointer(uint(w.counter), uint16(left))
			m.sreg = uint8(flagsDecremented(uint32(m.sreg), uint32(left+1)))
			m.cycle += rounds * w.period
		}
	}
	m.poll.retryAt = m.cycle + 1 // the next round is executed
}

// flagsDecremented returns sreg after SBIW d, 1.
func flagsDecremented(s, d uint32) uint32 {
	x := d - 1
	return flagsWord(s, (d&^x)>>15&1, (x&^d)>>15&1, x)
}
