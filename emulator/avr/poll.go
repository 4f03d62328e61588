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
	waitRounds = 24 // most stops in one round
)

type pollState struct {
	pending bool   // exec stopped at a candidate's branch
	at      uint16 // the branch
	retryAt uint64 // no further try before this cycle
	failed  uint8  // tries in a row that found a loop that does not wait
}

// skipWait looks at the loop that was just entered again: one that counts down is
// shortened, of one that waits a round is executed and the rounds like it that end
// by bound are skipped.
func (m *MCU) skipWait(bound uint64) {
	p := &m.poll
	if m.opt.NoPollSkip {
		p.retryAt = never
		return
	}
	at := p.at & m.pcMask
	in := m.prog.code[at]
	if in.op() == opDelay {
		m.skipDelay(at, bound)
		return
	}
	for i := range m.prog.bits {
		if w := &m.prog.bits[i]; w.at == at {
			m.skipBitWait(w, bound)
			return
		}
	}
	target, start := m.pc, m.cycle
	sreg := m.sreg
	regs := [32]byte(m.mem[:32])
	m.volatile = false
	if !m.oneRound(at, bound) {
		return
	}
	if c := unpackCounter(in.k2()); c.bytes != 0 && !m.volatile && m.pc == target {
		now := [32]byte(m.mem[:32])
		before := uint64(regs[c.low])
		now[c.low] = regs[c.low]
		if c.bytes == 2 {
			before |= uint64(regs[c.high]) << 8
			now[c.high] = regs[c.high]
		}
		if now == regs && m.skipCounted(c, before, start, bound) {
			p.failed = 0
			return
		}
	}
	if m.volatile || sreg != m.sreg || regs != [32]byte(m.mem[:32]) || m.pc != target {
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

// oneRound executes the loop until the branch at `at` is taken again. It reports
// false where the bound, an event or an exit from the loop came first.
func (m *MCU) oneRound(at uint16, bound uint64) bool {
	target := m.pc
	for range waitRounds {
		m.exec(m.prog.round, bound) // stops at words outside the loop and at its branches
		if m.cycle+fuseSlack >= bound || m.pc < target || m.pc > at {
			return false
		}
		before, now := m.pc, m.cycle
		m.exec(m.prog, now+1)
		if m.cycle == now {
			m.execSlow()
		}
		if m.attention || m.mode != modeRun {
			return false
		}
		if m.pc == target && before == at {
			return true
		}
	}
	return false
}

// insides says to which waiting loop's body each word belongs.
type insides struct {
	loops []span
	owner [codeWords]uint16 // index in loops + 1; 0: none; shared: several
}

type span struct{ from, at uint16 } // first word and branch back

const shared = 0xFFFF

func (n *insides) add(from, at uint16) {
	n.loops = append(n.loops, span{from, at})
	for w := from; w < at; w++ {
		if n.owner[w] != 0 {
			n.owner[w] = shared
			continue
		}
		n.owner[w] = uint16(len(n.loops))
	}
}

// fill makes program.round: all words are illegal there, so that they stop the fast
// loop, but for those of exactly one waiting loop that lead nowhere but on in it, to
// its branch, or to a word that stops.
func (n *insides) fill(p *program) {
	p.round = &program{flash: p.flash, plain: p.plain}
	for _, l := range n.loops {
		for w := l.from; w < l.at; w++ {
			in := p.plain[w]
			to := w
			switch in.op() {
			case opRjmp, opBrbs, opBrbc:
				to = in.k()
			case opCpse, opSbic, opSbis, opSbrc, opSbrs:
				to = in.k2() & (codeWords - 1)
			}
			if mine := n.owner[w]; mine != shared && (n.owner[to] == mine || n.owner[to] == 0) {
				p.round.code[w] = direct(in)
			}
		}
	}
}

// skipDelay skips rounds of a loop that only counts a register of up to four
// bytes down to zero. The last rounds before the end or the bound are left to be
// executed, which sets SREG.
func (m *MCU) skipDelay(at uint16, bound uint64) {
	var regs []uint8
	words := uint64(0)
	for _, i := range m.prog.plain[m.pc:at] {
		words++
		regs = append(regs, i.d())
		if i.op() == opSbiw { // two cycles
			words++
			regs = append(regs, i.d()+1)
		}
	}
	count := uint64(0)
	for b := len(regs) - 1; b >= 0; b-- {
		count = count<<8 | uint64(m.mem[regs[b]])
	}
	period := words + 2
	if m.cycle < bound {
		const leave = 2
		if rounds := min(count, (bound-m.cycle)/period); rounds > 2*leave {
			rounds -= leave
			count -= rounds
			m.cycle += rounds * period
		}
	}
	for b, r := range regs {
		m.mem[r] = uint8(count >> (8 * b))
	}
	m.poll.retryAt = m.cycle + 8*period
}
