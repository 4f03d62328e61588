package avr

const (
	flagsLogical = flagS | flagV | flagN | flagZ
	flagsAll     = flagH | flagsLogical | flagC
)

// arithmetic executes the instructions that compute.
func (e *affineEnv) arithmetic(get func(uint16) affine, s *napStep) {
	in := s.in
	d := uint16(in.d())
	a := get(d)
	k := constant(uint8(in.k()))
	switch in.op() {
	case opAdd:
		e.set(d, e.linear(a, get(uint16(in.r())), false, false))
	case opAdc:
		e.set(d, e.linear(a, get(uint16(in.r())), false, true))
	case opSub:
		e.set(d, e.linear(a, get(uint16(in.r())), true, false))
	case opSbc:
		e.set(d, e.linear(a, get(uint16(in.r())), true, true))
	case opSubi:
		e.set(d, e.linear(a, k, true, false))
	case opSbci:
		e.set(d, e.linear(a, k, true, true))
	case opCp:
		e.linear(a, get(uint16(in.r())), true, false)
	case opCpc:
		e.linear(a, get(uint16(in.r())), true, true)
	case opCpi:
		e.linear(a, k, true, false)
	case opInc, opDec:
		keep, stale := e.flags, e.stale
		e.set(d, e.linear(a, constant(1), in.op() == opDec, false))
		e.restore(flagsAll&^flagsLogical, keep, stale)
	case opAdiw, opSbiw:
		e.word(get, in)
	case opAnd, opOr:
		if in.r() == in.d() { // TST
			e.test(a)
			return
		}
		e.recorded(get, s, flagsLogical)
	case opEor:
		if in.r() == in.d() { // CLR
			e.set(d, constant(0))
			e.setFlags(flagsLogical, flagZ)
			return
		}
		e.recorded(get, s, flagsLogical)
	case opAndi, opOri:
		e.recorded(get, s, flagsLogical)
	case opSwap:
		e.recorded(get, s, 0)
	case opCom, opLsr, opAsr, opRor:
		e.recorded(get, s, flagsLogical|flagC)
	case opNeg:
		e.recorded(get, s, flagsAll)
	case opMul, opMuls, opMulsu, opFmul, opFmuls, opFmulsu:
		e.recorded(get, s, flagC|flagZ)
	default:
		e.ok = false
	}
}

// linear adds or subtracts, with carry or without. While no operand and not the
// result passes 0, 128 or 256, all flags but H are the same in each nap.
func (e *affineEnv) linear(a, b affine, subtract, carry bool) affine {
	old := uint32(e.flags.v)
	if a.known&b.known != 0xFF || carry && e.flags.known&(flagC|flagZ) != flagC|flagZ {
		stale := a.stale || b.stale || carry && e.readFlags(flagC|flagZ)
		e.forgetFlags(flagsAll, stale)
		return affine{stale: stale}
	}
	c := uint32(0)
	if carry {
		c = old & flagC
	}
	x, y := uint32(a.v), uint32(b.v)
	var r affine
	var sum, sreg uint32
	switch {
	case !subtract:
		sum = x + y + c
		r.slope = a.slope + b.slope
		sreg = flagsAdd(old, x, y, sum)
	case carry:
		sum = x - y - c
		r.slope = a.slope - b.slope
		sreg = flagsSubC(old, x, y, sum)
	default:
		sum = x - y
		r.slope = a.slope - b.slope
		sreg = flagsSub(old, x, y, sum)
	}
	r.v, r.known = uint8(sum), 0xFF
	e.setFlags(flagsAll, uint8(sreg))
	if a.slope != 0 || b.slope != 0 {
		e.forgetFlags(flagH, false)
		e.steady(a)
		e.steady(b)
		e.steady(r)
	}
	return r
}

// steady limits the naps to those in which a's sign, and whether it is zero, stay.
func (e *affineEnv) steady(a affine) {
	switch {
	case a.v == 0:
		e.limit(a, 0, 0)
	case a.v < 128:
		e.limit(a, 1, 127)
	default:
		e.limit(a, 128, 255)
	}
}

// test is AND or OR of a register with itself.
func (e *affineEnv) test(a affine) {
	if a.known != 0xFF {
		e.forgetFlags(flagsLogical, a.stale)
		return
	}
	e.steady(a)
	e.setFlags(flagsLogical, flagTab[a.v])
}

// word is ADIW and SBIW: two bytes with a carry between; H is kept, Z covers both.
func (e *affineEnv) word(get func(uint16) affine, in inst) {
	d, subtract, before, stale := uint16(in.d()), in.op() == opSbiw, e.flags, e.stale
	lo := e.linear(get(d), constant(uint8(in.k())), subtract, false)
	zero := e.flags.v & flagZ
	hi := e.linear(get(d+1), constant(0), subtract, true)
	e.set(d, lo)
	e.set(d+1, hi)
	if !subtract {
		e.flags.v &^= flagZ &^ zero
	}
	e.restore(flagH, before, stale)
}

// restore puts back SREG bits that an instruction does not touch.
func (e *affineEnv) restore(mask uint8, flags affine, stale uint8) {
	e.flags.v = e.flags.v&^mask | flags.v&mask
	e.flags.known = e.flags.known&^mask | flags.known&mask
	e.stale = e.stale&^mask | stale&mask
}

// recorded gives the results seen in the recorded nap if all inputs are constants and
// those of that nap; else the results are unknown.
func (e *affineEnv) recorded(get func(uint16) affine, s *napStep, flags uint8) {
	in := s.in
	d := uint16(in.d())
	a := get(d)
	inputs, stale := a.fixed() && a.v == s.was.d, a.stale
	switch in.op() {
	case opAnd, opOr, opEor, opMul, opMuls, opMulsu, opFmul, opFmuls, opFmulsu:
		b := get(uint16(in.r()))
		inputs, stale = inputs && b.fixed() && b.v == s.was.r, stale || b.stale
	case opRor:
		inputs = inputs && e.flags.known&flagC != 0 && (e.flags.v^s.was.sreg)&flagC == 0
		stale = e.readFlags(flagC) || stale
	}
	product := flags == flagC|flagZ
	lo, hi := affine{stale: stale}, affine{stale: stale}
	if inputs {
		lo, hi = constant(s.lo), constant(s.hi)
		e.setFlags(flags, s.sreg)
	} else {
		e.forgetFlags(flags, stale)
	}
	if product {
		e.set(0, lo)
		e.set(1, hi)
		return
	}
	e.set(d, lo)
}
