package avr

// step executes one recorded instruction on affine bytes. It clears ok where the
// instruction could act otherwise in another nap.
func (e *affineEnv) step(m *MCU, t *napTrace, s *napStep) {
	in := s.in
	d, r := uint16(in.d()), uint16(in.r())
	get := func(a uint16) affine { return e.get(m, t, a) }
	if s.entry {
		e.pushPC(s.addr, s.pc)
		e.setFlags(flagI, 0)
		return
	}
	switch in.op() {
	case opNop, opRjmp, opJmp, opWdr, opSleep:
	case opSbi, opCbi:
		e.changeBit(get, s)
	case opMov:
		e.set(d, get(r))
	case opMovw:
		lo, hi := get(r), get(r+1)
		e.set(d, lo)
		e.set(d+1, hi)
	case opLdi:
		e.set(d, constant(uint8(in.k())))
	case opLds, opLdd, opLdInc, opLdDec, opPop, opIn, opInSreg:
		if e.movePointer(get, s) {
			e.load(get, s, d)
		}
	case opSts, opStd, opStInc, opStDec, opPush, opOut:
		v := get(d)
		if e.movePointer(get, s) {
			e.store(s, v)
		}
	case opLpm, opLpmInc:
		e.same(get(30), get(31), s.addr)
		e.set(d, constant(s.lo))
		if in.op() == opLpmInc {
			e.setPair(get, 30, 1)
		}
	case opCall:
		e.pushPC(s.addr, s.pc+2)
	case opIcall, opRcall:
		if in.op() == opIcall {
			e.same(get(30), get(31), s.next)
		}
		e.pushPC(s.addr, s.pc+1)
	case opIjmp:
		e.same(get(30), get(31), s.next)
	case opRet, opReti:
		e.same(get(s.addr+1), get(s.addr), s.next)
		if in.op() == opReti {
			e.setFlags(flagI, flagI)
		}
	case opBrbs, opBrbc, opSbrc, opSbrs, opCpse, opSbic, opSbis:
		e.branch(get, s)
	case opBset:
		e.setFlags(in.d(), in.d())
	case opBclr:
		e.setFlags(^in.d(), 0)
	case opSei:
		e.setFlags(flagI, flagI)
	case opBst, opBld:
		e.transfer(get, in)
	default:
		e.arithmetic(get, s)
	}
}

// setFlags makes the SREG bits in mask known and equal to v.
func (e *affineEnv) setFlags(mask, v uint8) {
	e.flags.v = e.flags.v&^mask | v&mask
	e.flags.known |= mask
	e.stale &^= mask
}

// forgetFlags makes the SREG bits in mask unknown.
func (e *affineEnv) forgetFlags(mask uint8, stale bool) {
	e.flags.known &^= mask
	e.stale &^= mask
	if stale {
		e.stale |= mask
	}
}

// readFlags notes that SREG bits are used, and reports whether one is stale.
func (e *affineEnv) readFlags(mask uint8) bool {
	e.read |= e.stale & mask
	return e.stale&mask != 0
}

func (e *affineEnv) pushPC(sp, pc uint16) {
	e.set(sp, constant(uint8(pc)))
	e.set(sp-1, constant(uint8(pc>>8)))
}

// same checks that two bytes are constant and those of the recorded nap.
func (e *affineEnv) same(lo, hi affine, recorded uint16) {
	e.ok = e.ok && lo.fixed() && hi.fixed() && uint16(lo.v)|uint16(hi.v)<<8 == recorded
}

// movePointer checks that an indirect address is the recorded one, and moves the
// pointer.
func (e *affineEnv) movePointer(get func(uint16) affine, s *napStep) bool {
	pair := uint16(s.in.r())
	switch s.in.op() {
	case opLdd, opStd:
		e.same(get(pair), get(pair+1), s.addr-s.in.k())
	case opLdInc, opStInc:
		e.same(get(pair), get(pair+1), s.addr)
		e.setPair(get, pair, 1)
	case opLdDec, opStDec:
		e.same(get(pair), get(pair+1), s.addr+1)
		e.setPair(get, pair, 0xFFFF)
	}
	return e.ok
}

// setPair adds to a constant register pair.
func (e *affineEnv) setPair(get func(uint16) affine, pair, add uint16) {
	v := (uint16(get(pair).v) | uint16(get(pair+1).v)<<8) + add
	e.set(pair, constant(uint8(v)))
	e.set(pair+1, constant(uint8(v>>8)))
}

// load reads memory, SREG, or an I/O register.
func (e *affineEnv) load(get func(uint16) affine, s *napStep, d uint16) {
	switch {
	case s.in.op() == opInSreg || s.addr == SREG:
		f := e.flags
		f.stale = e.readFlags(0xFF)
		e.set(d, f)
	case memoryLike(s.addr):
		e.set(d, get(s.addr))
	default:
		e.readIO(get, s.addr)
		e.set(d, constant(s.lo))
	}
}

// readIO checks that an I/O register reads as in the recorded nap: it is among the
// peripherals compared, or inert and still the same. Counters and data registers
// are neither.
func (e *affineEnv) readIO(get func(uint16) affine, addr uint16) {
	switch {
	case readable(addr):
	case addr == MCUSR || addr == EEDR || addr == EEARL || addr == EEARH || addr == TWBR || addr == TWDR:
		get(addr)
	default:
		e.ok = false
	}
}

// store writes memory, SREG, or an I/O register; the last must get what the recorded
// nap wrote.
func (e *affineEnv) store(s *napStep, v affine) {
	switch addr := s.addr; {
	case addr == SREG:
		if v.slope != 0 {
			v = unknown
		}
		e.setFlags(0xFF, v.v)
		e.forgetFlags(^v.known, v.stale)
		e.ok = e.ok && v.known&flagI != 0
	case memoryLike(addr):
		e.set(addr, v)
	default:
		e.ok = e.ok && v.fixed() && v.v == s.was.d && writable(addr)
	}
}

// changeBit is SBI and CBI.
func (e *affineEnv) changeBit(get func(uint16) affine, s *napStep) {
	if !memoryLike(s.addr) {
		e.ok = e.ok && writable(s.addr)
		return
	}
	v := get(s.addr)
	if v.slope != 0 {
		v = unknown
	}
	v.known |= s.in.r()
	v.v &^= s.in.r()
	if s.in.op() == opSbi {
		v.v |= s.in.r()
	}
	e.set(s.addr, v)
}

// branch checks that a branch or skip goes the recorded way in every nap.
func (e *affineEnv) branch(get func(uint16) affine, s *napStep) {
	bit, v, known, want := s.in.r(), e.flags.v, e.flags.known, true
	switch s.in.op() {
	case opBrbc:
		want = false
	case opSbrc, opSbrs:
		a := get(uint16(s.in.d()))
		if a.slope != 0 {
			a = unknown
		}
		v, known, want = a.v, a.known, s.in.op() == opSbrs
	case opSbic, opSbis:
		if !memoryLike(s.addr) {
			e.readIO(get, s.addr)
			return
		}
		a := get(s.addr)
		if a.slope != 0 {
			a = unknown
		}
		v, known, want = a.v, a.known, s.in.op() == opSbis
	case opCpse:
		a, b := get(uint16(s.in.d())), get(uint16(s.in.r()))
		if !a.fixed() || !b.fixed() {
			e.ok = false
			return
		}
		bit, v, known = 1, 0, 1
		if a.v == b.v {
			v = 1
		}
	}
	taken := (v&bit != 0) == want
	if known&bit == 0 || taken != (s.next != s.pc+1) {
		e.ok = false
	}
}

// transfer is BST and BLD.
func (e *affineEnv) transfer(get func(uint16) affine, in inst) {
	d, bit := uint16(in.d()), in.r()
	a := get(d)
	if a.slope != 0 {
		a = unknown
	}
	if in.op() == opBst {
		e.forgetFlags(flagT, a.stale)
		if a.known&bit != 0 {
			e.setFlags(flagT, 0)
			if a.v&bit != 0 {
				e.setFlags(flagT, flagT)
			}
		}
		return
	}
	a.v, a.known = a.v&^bit, a.known&^bit
	a.stale = a.stale || e.readFlags(flagT)
	if e.flags.known&flagT != 0 {
		a.known |= bit
		if e.flags.v&flagT != 0 {
			a.v |= bit
		}
	}
	e.set(d, a)
}
