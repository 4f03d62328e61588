package avr

// execSlow executes one instruction that exec left: an access outside the SRAM,
// one that may change what happens next, a new depth of the stack, or a rare one. The data
// access of an instruction of n cycles is made in its last cycle.
func (m *MCU) execSlow() {
	in := m.prog.plain[m.pc&(codeWords-1)]
	o := in.op()
	pc := m.pc
	m.pc++
	switch o {
	case opLds, opSts:
		m.pc++
		m.access(o == opLds, in.k(), in.d())
	case opLdd, opLdInc, opLdDec:
		m.access(true, m.effective(in), in.d())
	case opStd, opStInc, opStDec:
		m.indirectStore(in)
	case opPush:
		m.sp--
		m.noteStack()
		m.access(false, m.sp+1, in.d())
	case opPop:
		m.sp++
		m.access(true, m.sp, in.d())
	case opLpm, opLpmInc:
		a := m.pointer(30)
		m.mem[in.d()] = m.flashByte(a)
		if o == opLpmInc {
			m.setPointer(30, a+1)
		}
		m.cycle += 3
	case opCall:
		m.pc++
		m.jumpPushing(4, in.k())
	case opRcall:
		m.jumpPushing(3, in.k())
	case opIcall:
		m.jumpPushing(3, m.pointer(30)&m.pcMask)
	case opRet, opReti:
		m.cycle += 3
		m.pc = m.popPC()
		m.cycle++
		if o == opReti {
			m.enableInterrupts(true)
		}
	case opSei:
		m.cycle++
		m.enableInterrupts(m.sreg&flagI == 0)
	case opIn:
		m.mem[in.d()] = m.load(in.k())
		m.cycle++
	case opOut:
		m.store(in.k(), m.mem[in.d()])
		m.cycle++
	case opSbi, opCbi:
		m.cycle++
		if o == opSbi {
			m.setBit(in.k(), in.r())
		} else {
			m.clearBit(in.k(), in.r())
		}
		m.cycle++
	case opSbic, opSbis:
		if m.load(in.k())&in.r() != 0 == (o == opSbis) {
			m.cycle += uint64(in.k2() - m.pc)
			m.pc = in.k2()
		}
		m.cycle++
	case opMuls, opMulsu, opFmul, opFmuls, opFmulsu:
		m.multiply(o, in)
	default:
		m.execControl(o, pc)
	}
	m.pc &= m.pcMask
}

// multiply executes the multiplications other than MUL: signed ones, and fractional
// ones, whose product is shifted left by one after C is taken.
func (m *MCU) multiply(o op, in inst) {
	d, r := int32(m.mem[in.d()]), int32(m.mem[in.r()])
	if o != opFmul {
		d = int32(int8(d))
	}
	if o == opMuls || o == opFmuls {
		r = int32(int8(r))
	}
	x := uint32(d * r)
	carry := x >> 15
	if o == opFmul || o == opFmuls || o == opFmulsu {
		x <<= 1
	}
	m.mem[0], m.mem[1] = uint8(x), uint8(x>>8)
	m.sreg = uint8(flagsProduct(uint32(m.sreg), x, carry))
	m.cycle += 2
}

// execControl executes SLEEP, WDR, SPM, BREAK and reserved codes.
func (m *MCU) execControl(o op, pc uint16) {
	switch o {
	case opSleep:
		m.cycle++
		m.sleep()
	case opWdr:
		m.watchdogReset()
		m.cycle++
	case opSpm:
		m.storeProgram()
		m.cycle++
	case opBreak:
		m.cycle++
		m.mode = modeStopped
	default: // reserved: stay at it
		m.pc = pc
		m.mode = modeStopped
		m.illegal = true
	}
}

// access makes a two-cycle load or store of register d.
func (m *MCU) access(load bool, addr uint16, d uint8) {
	m.cycle++
	if load {
		m.mem[d] = m.load(addr)
	} else {
		m.store(addr, m.mem[d])
	}
	m.cycle++
}

// indirectStore is ST in all forms. With increment or decrement of its own
// pointer it stores the register as it was before [the manual leaves ST X+, r26
// and its like undefined; choice].
func (m *MCU) indirectStore(in inst) {
	v := m.mem[in.d()]
	addr := m.effective(in)
	m.cycle++
	m.store(addr, v)
	m.cycle++
}

// effective returns the address of an indirect access and moves the pointer.
func (m *MCU) effective(in inst) uint16 {
	pair := uint(in.r())
	addr := m.pointer(pair)
	switch in.op() {
	case opLdInc, opStInc:
		m.setPointer(pair, addr+1)
	case opLdDec, opStDec:
		addr--
		m.setPointer(pair, addr)
	default:
		addr += in.k()
	}
	return addr
}

func (m *MCU) jumpPushing(cycles uint64, to uint16) {
	m.cycle += cycles - 1
	m.call(m.pc)
	m.cycle++
	m.pc = to
}

// enableInterrupts sets I; the next instruction executes before any interrupt
// [DS 7.7], after SEI only if I was clear.
func (m *MCU) enableInterrupts(next bool) {
	m.sreg |= flagI
	if next {
		m.inhibit = true
	}
}
