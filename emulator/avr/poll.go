package avr

// A loop waits if one round of it changes nothing: it reads flags or memory that
// only an event can change, and branches back. Its rounds up to the next event
// are then all alike, and the time can be moved by a whole number of them. That
// is exact: registers, SREG, memory and cycle count are those of the slow run.
//
// Candidates are found when flash is decoded (fuse.go): a backward branch over at
// most waitWords words that store nothing. When one is taken, one round is executed
// and compared. A read whose value depends on the time (TCNT) or has an effect
// (UDR) sets MCU.volatile and forbids the skip.

const (
	waitWords  = 12
	waitRounds = 24 // most instructions in one round
)

type pollState struct {
	pending bool   // exec stopped at a candidate's branch
	at      uint16 // the branch
	retryAt uint64 // no further try before this cycle
	failed  uint8  // tries in a row that found a loop that does not wait
}

// skipWait executes one round of the loop that was just entered again and skips
// the rounds like it that end by bound.
func (m *MCU) skipWait(bound uint64) {
	p := &m.poll
	target, at, start := m.pc, p.at&m.pcMask, m.cycle
	sreg := m.sreg
	regs := [32]byte(m.mem[:32])
	m.volatile = false
	for range waitRounds {
		if m.cycle >= bound || m.pc < target || m.pc > at {
			return
		}
		before := m.pc
		m.exec(m.cycle + 1)
		if m.attention {
			return
		}
		if m.pc == target && before == at {
			break
		}
	}
	p.pending = false
	if m.pc != target {
		return
	}
	if m.volatile || sreg != m.sreg || regs != [32]byte(m.mem[:32]) {
		p.failed = min(p.failed+1, 10)
		p.retryAt = m.cycle + 16<<p.failed
		return
	}
	p.failed = 0
	if m.cycle < bound {
		period := m.cycle - start
		m.cycle += (bound - m.cycle) / period * period
	}
}

// skipDelay skips rounds of a loop that only counts a register of up to four
// bytes down to zero, and returns the cycles skipped. One whole round before the
// end or the bound is left to be executed, which sets SREG.
func (m *MCU) skipDelay(in *inst, cyc, bound uint64) uint64 {
	code := &m.prog.code
	var regs [4]uint8
	count, bytes, words := uint64(0), 0, 0
	branch := uint16(0)
	for pc := in.k; ; pc++ {
		i := &code[pc&(codeWords-1)]
		if i == in {
			branch = pc
			break
		}
		words++
		switch i.base {
		case opSbiw:
			regs[0], regs[1], bytes = i.d, i.d+1, 2
			words++ // two cycles
		default:
			regs[bytes&3] = i.d
			bytes++
		}
	}
	_ = branch
	for b := bytes - 1; b >= 0; b-- {
		count = count<<8 | uint64(m.mem[regs[b]])
	}
	period := uint64(words) + 2
	if cyc >= bound {
		return 0
	}
	rounds := min(count-1, (bound-cyc)/period)
	if count < 2 || rounds < 4 {
		return 0
	}
	rounds--
	count -= rounds
	for b := range bytes {
		m.mem[regs[b]] = uint8(count >> (8 * b))
	}
	return rounds * period
}
