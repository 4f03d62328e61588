package avr

// fuseSlack is the most cycles any but the last instruction of a fused pair can
// take: the fast loop keeps this distance from the bound, so that no event falls
// due inside a pair.
const fuseSlack = 4

// wrap is for distances from the fast loop's pc, which runs on beyond the end of flash where no jump brings it back.
const wrap = codeWords - 1

// exec executes instructions while the time is below bound, or until one needs
// more than registers, SRAM and flash: that one is left to execSlow.
//
// The function makes no calls, so that the compiler keeps pc, sreg, cyc and the
// rest in machine registers: with the slow paths inside, it spilled six values at
// each instruction and ran at less than half the speed.
//
// The instructions are those in prog.code, and near the bound those in prog.plain.
func (m *MCU) exec(prog *program, bound uint64) {
	mem := &m.mem
	ramSize := m.part.RAMSize
	pc := uint32(m.pc)
	sreg := uint32(m.sreg)
	cyc := m.cycle
next:
	for {
		in := prog.code[pc&(codeWords-1)]
		if cyc+fuseSlack >= bound {
			if cyc >= bound {
				break
			}
			in = prog.plain[pc&(codeWords-1)]
		}
		op := in.op()
		pc++
		cyc++
		switch op {
		case opNop: // nothing
		case opMovw:
			d, r := int(in.d()), int(in.r())
			mem[d], mem[d+1] = mem[r], mem[r+1]
		case opMov:
			mem[in.d()] = mem[in.r()]
		case opLdi:
			mem[in.d()] = uint8(in.k())

		case opAdd:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			x := d + r
			mem[in.d()], sreg = uint8(x), flagsAdd(sreg, d, r, x)
		case opAdc:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			x := d + r + sreg&flagC
			mem[in.d()], sreg = uint8(x), flagsAdd(sreg, d, r, x)
		case opSub:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			x := d - r
			mem[in.d()], sreg = uint8(x), flagsSub(sreg, d, r, x)
		case opSubi:
			d, r := uint32(mem[in.d()]), uint32(in.k())
			x := d - r
			mem[in.d()], sreg = uint8(x), flagsSub(sreg, d, r, x)
		case opSbc:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			x := d - r - sreg&flagC
			mem[in.d()], sreg = uint8(x), flagsSubC(sreg, d, r, x)
		case opSbci:
			d, r := uint32(mem[in.d()]), uint32(in.k())
			x := d - r - sreg&flagC
			mem[in.d()], sreg = uint8(x), flagsSubC(sreg, d, r, x)
		case opCp:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			sreg = flagsSub(sreg, d, r, d-r)
		case opCpi:
			d, r := uint32(mem[in.d()]), uint32(in.k())
			sreg = flagsSub(sreg, d, r, d-r)
		case opCpc:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			sreg = flagsSubC(sreg, d, r, d-r-sreg&flagC)
		case opAdiw:
			i := int(in.d())
			d := uint32(mem[i]) | uint32(mem[i+1])<<8
			x := d + uint32(in.k())
			sreg = flagsWord(sreg, (^d&x)>>15&1, (^x&d)>>15&1, x)
			mem[i], mem[i+1] = uint8(x), uint8(x>>8)
			cyc++
		case opSbiw:
			i := int(in.d())
			d := uint32(mem[i]) | uint32(mem[i+1])<<8
			x := d - uint32(in.k())
			sreg = flagsWord(sreg, (d&^x)>>15&1, (x&^d)>>15&1, x)
			mem[i], mem[i+1] = uint8(x), uint8(x>>8)
			cyc++
		case opNeg:
			d := uint32(mem[in.d()])
			x := -d
			mem[in.d()], sreg = uint8(x), flagsSub(sreg, 0, d, x)
		case opInc:
			x := uint32(mem[in.d()]) + 1
			mem[in.d()], sreg = uint8(x), flagsLogic(sreg, x)
			if uint8(x) == 0x80 {
				sreg ^= flagV | flagS
			}
		case opDec:
			x := uint32(mem[in.d()]) - 1
			mem[in.d()], sreg = uint8(x), flagsLogic(sreg, x)
			if uint8(x) == 0x7F {
				sreg ^= flagV | flagS
			}
		case opMul:
			x := uint32(mem[in.d()]) * uint32(mem[in.r()])
			mem[0], mem[1] = uint8(x), uint8(x>>8)
			sreg = flagsProduct(sreg, x, x>>15)
			cyc++
		case opAnd:
			x := uint32(mem[in.d()] & mem[in.r()])
			mem[in.d()], sreg = uint8(x), flagsLogic(sreg, x)
		case opAndi:
			x := uint32(mem[in.d()]) & uint32(in.k())
			mem[in.d()], sreg = uint8(x), flagsLogic(sreg, x)
		case opOr:
			x := uint32(mem[in.d()] | mem[in.r()])
			mem[in.d()], sreg = uint8(x), flagsLogic(sreg, x)
		case opOri:
			x := uint32(mem[in.d()]) | uint32(in.k())
			mem[in.d()], sreg = uint8(x), flagsLogic(sreg, x)
		case opEor:
			x := uint32(mem[in.d()] ^ mem[in.r()])
			mem[in.d()], sreg = uint8(x), flagsLogic(sreg, x)
		case opCom:
			x := uint32(^mem[in.d()])
			mem[in.d()], sreg = uint8(x), flagsLogic(sreg, x)|flagC
		case opSwap:
			x := mem[in.d()]
			mem[in.d()] = x<<4 | x>>4
		case opAsr:
			d := uint32(mem[in.d()])
			x := d>>1 | d&0x80
			mem[in.d()], sreg = uint8(x), flagsShift(sreg, d, x)
		case opLsr:
			d := uint32(mem[in.d()])
			x := d >> 1
			mem[in.d()], sreg = uint8(x), flagsShift(sreg, d, x)
		case opRor:
			d := uint32(mem[in.d()])
			x := d>>1 | sreg&flagC<<7
			mem[in.d()], sreg = uint8(x), flagsShift(sreg, d, x)
		case opBset:
			sreg |= uint32(in.d())
		case opBclr:
			sreg &= uint32(in.d())
		case opBld:
			x := mem[in.d()] &^ in.r()
			if sreg&flagT != 0 {
				x |= in.r()
			}
			mem[in.d()] = x
		case opBst:
			sreg &^= flagT
			if mem[in.d()]&in.r() != 0 {
				sreg |= flagT
			}

		// Branches and skips. pc is already that of the next word.
		case opRjmp:
			pc = uint32(in.k())
			cyc++
		case opJmp:
			pc = uint32(in.k())
			cyc += 2
		case opIjmp:
			pc = (uint32(mem[30]) | uint32(mem[31])<<8) & uint32(m.pcMask)
			cyc++
		case opBrbs:
			if sreg&uint32(in.r()) != 0 {
				pc = uint32(in.k())
				cyc++
			}
		case opBrbc:
			if sreg&uint32(in.r()) == 0 {
				pc = uint32(in.k())
				cyc++
			}
		case opCpse:
			if mem[in.d()] == mem[in.r()] {
				cyc += uint64((uint32(in.k2()) - pc) & wrap)
				pc = uint32(in.k2())
			}
		case opSbrc:
			if mem[in.d()]&in.r() == 0 {
				cyc += uint64((uint32(in.k2()) - pc) & wrap)
				pc = uint32(in.k2())
			}
		case opSbrs:
			if mem[in.d()]&in.r() != 0 {
				cyc += uint64((uint32(in.k2()) - pc) & wrap)
				pc = uint32(in.k2())
			}

		// Back edges of loops that only wait or count; poll.go.
		case opWaitRjmp:
			m.poll.at = uint16(pc - 1)
			pc = uint32(in.k())
			cyc++
			if cyc >= m.poll.retryAt {
				m.poll.pending = true
				goto out
			}
		case opWaitBrbs, opWaitBrbc, opDelay:
			if (sreg&uint32(in.r()) != 0) == (op == opWaitBrbs) {
				m.poll.at = uint16(pc - 1)
				pc = uint32(in.k())
				cyc++
				if cyc >= m.poll.retryAt {
					m.poll.pending = true
					goto out
				}
			}

		// Data memory: SRAM only; the pointer's first register is r; registers and I/O by address are left to execSlow.
		case opLds:
			addr := in.k()
			if addr-ramStart >= ramSize {
				goto slow
			}
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc++
			pc++
		case opLdd:
			i := int(in.r() & 31)
			addr := (uint16(mem[i]) | uint16(mem[i+1])<<8) + in.k()
			if addr-ramStart >= ramSize {
				goto slow
			}
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc++
		case opLdInc:
			i := int(in.r() & 31)
			addr := uint16(mem[i]) | uint16(mem[i+1])<<8
			if addr-ramStart >= ramSize {
				goto slow
			}
			mem[i], mem[i+1] = uint8(addr+1), uint8((addr+1)>>8)
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc++
		case opLdDec:
			i := int(in.r() & 31)
			addr := (uint16(mem[i]) | uint16(mem[i+1])<<8) - 1
			if addr-ramStart >= ramSize {
				goto slow
			}
			mem[i], mem[i+1] = uint8(addr), uint8(addr>>8)
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc++
		case opSts:
			addr := in.k()
			if addr-ramStart >= ramSize {
				goto slow
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			cyc++
			pc++
		case opStd:
			i := int(in.r() & 31)
			addr := (uint16(mem[i]) | uint16(mem[i+1])<<8) + in.k()
			if addr-ramStart >= ramSize {
				goto slow
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			cyc++
		case opStInc:
			i := int(in.r() & 31)
			addr := uint16(mem[i]) | uint16(mem[i+1])<<8
			if addr-ramStart >= ramSize {
				goto slow
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			mem[i], mem[i+1] = uint8(addr+1), uint8((addr+1)>>8)
			cyc++
		case opStDec:
			i := int(in.r() & 31)
			addr := (uint16(mem[i]) | uint16(mem[i+1])<<8) - 1
			if addr-ramStart >= ramSize {
				goto slow
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			mem[i], mem[i+1] = uint8(addr), uint8(addr>>8)
			cyc++
		case opPush: // a new low of the stack is noted by execSlow
			addr := m.sp
			if addr > m.ramEnd || addr <= m.stats.MinSP {
				goto slow
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			m.sp = addr - 1
			cyc++
		case opPop:
			addr := m.sp + 1
			if addr-ramStart >= ramSize {
				goto slow
			}
			m.sp = addr
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc++
		case opLpm, opLpmInc:
			addr := uint16(mem[30]) | uint16(mem[31])<<8
			if m.spm.armedUntil != 0 {
				goto slow
			}
			mem[in.d()] = uint8(prog.flash[addr>>1&(codeWords-1)] >> (addr & 1 * 8))
			if op == opLpmInc {
				mem[30], mem[31] = uint8(addr+1), uint8((addr+1)>>8)
			}
			cyc += 2

		// Calls and returns: the low byte of the return address is pushed first.
		case opCall, opRcall, opIcall:
			sp := m.sp
			if sp > m.ramEnd || sp-2 < m.stats.MinSP {
				goto slow
			}
			ret := pc
			pc = uint32(in.k())
			cyc += 2
			switch op {
			case opCall:
				ret++
				cyc++
			case opIcall:
				pc = (uint32(mem[30]) | uint32(mem[31])<<8) & uint32(m.pcMask)
			}
			mem[sp&(memBytes-1)] = uint8(ret)
			mem[(sp-1)&(memBytes-1)] = uint8(ret & uint32(m.pcMask) >> 8)
			m.sp = sp - 2
		case opRet:
			sp := m.sp
			if sp < ramStart-1 || sp > m.ramEnd-2 {
				goto slow
			}
			pc = (uint32(mem[(sp+1)&(memBytes-1)])<<8 | uint32(mem[(sp+2)&(memBytes-1)])) & uint32(m.pcMask)
			m.sp = sp + 2
			cyc += 3
		case opInSreg:
			mem[in.d()] = uint8(sreg)

		// Fused pairs and triples; the layouts are in fuse.go. Only the flags that
		// last are computed.
		case opAddAdc:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			x := d + r
			mem[in.d()] = uint8(x)
			d, r = uint32(mem[in.d2()]), uint32(mem[in.r2()])
			x = d + r + x>>8
			mem[in.d2()], sreg = uint8(x), flagsAdd(sreg, d, r, x)
			cyc++
			pc++
		case opAdcAdc:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			x := d + r + sreg&flagC
			mem[in.d()] = uint8(x)
			d, r = uint32(mem[in.d2()]), uint32(mem[in.r2()])
			x = d + r + x>>8
			mem[in.d2()], sreg = uint8(x), flagsAdd(sreg, d, r, x)
			cyc++
			pc++
		case opSubSbc:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			x := d - r
			mem[in.d()] = uint8(x)
			sreg = sreg&(flagI|flagT) | uint32(flagTab[x&0x1FF])
			d, r = uint32(mem[in.d2()]), uint32(mem[in.r2()])
			x = d - r - sreg&flagC
			mem[in.d2()], sreg = uint8(x), flagsSubC(sreg, d, r, x)
			cyc++
			pc++
		case opSbcSbc:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			x := d - r - sreg&flagC
			mem[in.d()] = uint8(x)
			sreg = sreg&(flagI|flagT) | uint32(flagTab[x&0x1FF])&^(^sreg&flagZ)
			d, r = uint32(mem[in.d2()]), uint32(mem[in.r2()])
			x = d - r - sreg&flagC
			mem[in.d2()], sreg = uint8(x), flagsSubC(sreg, d, r, x)
			cyc++
			pc++
		case opSubiSbci:
			d, r := uint32(mem[in.d()]), uint32(in.r())
			x := d - r
			mem[in.d()] = uint8(x)
			sreg = sreg&(flagI|flagT) | uint32(flagTab[x&0x1FF])
			d, r = uint32(mem[in.d2()]), uint32(in.r2())
			x = d - r - sreg&flagC
			mem[in.d2()], sreg = uint8(x), flagsSubC(sreg, d, r, x)
			cyc++
			pc++
		case opSbciSbci:
			d, r := uint32(mem[in.d()]), uint32(in.r())
			x := d - r - sreg&flagC
			mem[in.d()] = uint8(x)
			sreg = sreg&(flagI|flagT) | uint32(flagTab[x&0x1FF])&^(^sreg&flagZ)
			d, r = uint32(mem[in.d2()]), uint32(in.r2())
			x = d - r - sreg&flagC
			mem[in.d2()], sreg = uint8(x), flagsSubC(sreg, d, r, x)
			cyc++
			pc++
		case opLsrRor:
			d := uint32(mem[in.d()])
			mem[in.d()] = uint8(d >> 1)
			x := uint32(mem[in.d2()]) | d<<8
			mem[in.d2()], sreg = uint8(x>>1), flagsShift(sreg, x, x>>1)
			cyc++
			pc++
		case opRorRor:
			d := uint32(mem[in.d()]) | sreg<<8
			mem[in.d()] = uint8(d >> 1)
			x := uint32(mem[in.d2()]) | d<<8
			mem[in.d2()], sreg = uint8(x>>1), flagsShift(sreg, x, x>>1)
			cyc++
			pc++
		case opLdiLdi:
			mem[in.d()] = in.r()
			mem[in.d2()] = in.r2()
			cyc++
			pc++
		case opLdiEor:
			mem[in.d()] = in.r()
			x := uint32(mem[in.d2()] ^ mem[in.r2()])
			mem[in.d2()], sreg = uint8(x), flagsLogic(sreg, x)
			cyc++
			pc++
		case opMovwMovw:
			d, r := int(in.d()), int(in.r())
			mem[d], mem[d+1] = mem[r], mem[r+1]
			d, r = int(in.d2()), int(in.r2())
			mem[d], mem[d+1] = mem[r], mem[r+1]
			cyc++
			pc++
		case opSbrcRjmp, opSbrsRjmp:
			cyc++
			pc++
			if mem[in.d()]&in.r() != 0 == (op == opSbrcRjmp) {
				pc = uint32(in.k())
				cyc++
			}
		case opLdsLds:
			mem[in.d()] = mem[in.k()&(memBytes-1)]
			mem[in.r()] = mem[in.k2()&(memBytes-1)]
			cyc += 3
			pc += 3
		case opStsSts:
			mem[in.k()&(memBytes-1)] = mem[in.d()]
			mem[in.k2()&(memBytes-1)] = mem[in.r()]
			cyc += 3
			pc += 3
		case opLddLdd:
			i := int(in.k2())
			addr := uint16(mem[i&31]) | uint16(mem[i&31+1])<<8
			first, second := addr+uint16(in.d2()), addr+uint16(in.r2())
			if first-ramStart >= ramSize || second-ramStart >= ramSize {
				goto slow
			}
			mem[in.d()] = mem[first&(memBytes-1)]
			mem[in.r()] = mem[second&(memBytes-1)]
			cyc += 3
			pc++
		case opStdStd:
			i := int(in.k2())
			addr := uint16(mem[i&31]) | uint16(mem[i&31+1])<<8
			first, second := addr+uint16(in.d2()), addr+uint16(in.r2())
			if first-ramStart >= ramSize || second-ramStart >= ramSize {
				goto slow
			}
			mem[first&(memBytes-1)] = mem[in.d()]
			mem[second&(memBytes-1)] = mem[in.r()]
			cyc += 3
			pc++

		// Comparisons with the branch that follows.
		case opCpBr:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			sreg = flagsSub(sreg, d, r, d-r)
			goto branch
		case opCpiBr:
			d, r := uint32(mem[in.d()]), uint32(in.r())
			sreg = flagsSub(sreg, d, r, d-r)
			goto branch
		case opSubiBr:
			d, r := uint32(mem[in.d()]), uint32(in.r())
			x := d - r
			mem[in.d()], sreg = uint8(x), flagsSub(sreg, d, r, x)
			goto branch
		case opDecBr:
			x := uint32(mem[in.d()]) - 1
			mem[in.d()], sreg = uint8(x), flagsLogic(sreg, x)
			if uint8(x) == 0x7F {
				sreg ^= flagV | flagS
			}
			goto branch
		case opAndBr:
			x := uint32(mem[in.d()] & mem[in.r()])
			mem[in.d()], sreg = uint8(x), flagsLogic(sreg, x)
			goto branch
		case opCpCpc:
			x := uint32(mem[in.d()]) - uint32(mem[in.r()])
			sreg = sreg&(flagI|flagT) | uint32(flagTab[x&0x1FF])
			d, r := uint32(mem[in.d2()]), uint32(mem[in.r2()])
			sreg = flagsSubC(sreg, d, r, d-r-sreg&flagC)
			cyc++
			pc++
		case opCpCpcBr:
			x := uint32(mem[in.d()]) - uint32(mem[in.r()])
			sreg = sreg&(flagI|flagT) | uint32(flagTab[x&0x1FF])
			d, r := uint32(mem[in.d2()]), uint32(mem[in.r2()])
			sreg = flagsSubC(sreg, d, r, d-r-sreg&flagC)
			cyc++
			pc++
			goto branch
		case opCpcCpcBr:
			x := uint32(mem[in.d()]) - uint32(mem[in.r()]) - sreg&flagC
			sreg = sreg&(flagI|flagT) | uint32(flagTab[x&0x1FF])&^(^sreg&flagZ)
			d, r := uint32(mem[in.d2()]), uint32(mem[in.r2()])
			sreg = flagsSubC(sreg, d, r, d-r-sreg&flagC)
			cyc++
			pc++
			goto branch

		case opIllegal: // named, so that the jump table starts at 0
			goto slow
		default:
			goto direct
		}
		continue

	branch: // the branch of a fused comparison, packed in k2
		cyc++
		pc++
		if (sreg^uint32(-int64(in>>56&1)))&uint32(in>>48&0xFF) != 0 {
			pc += uint32(int64(in) >> 57)
			cyc++
		}
	}
	goto out

	// I/O registers that just hold what was written (direct.go), outside the loop
	// above: one more case in its switch cost every instruction an extra jump.
direct:
	if cyc+fuseSlack > bound { // it was one of prog.plain
		goto slow
	}
	switch in := prog.code[(pc-1)&(codeWords-1)]; in.op() {
	case opLoadIO:
		mem[in.d()] = mem[in.k()&(memBytes-1)]
		cyc += uint64(in.k2())
		pc += uint32(in.k2())
	case opBitWait: // bitwait.go
		v := mem[in.k()&(memBytes-1)]
		if v>>(in.r()>>4&7)&1 == in.r()>>7 && cyc > m.poll.retryAt {
			m.poll.at, m.poll.pending = uint16(pc-1)+uint16(in.r()&15), true
			goto slow
		}
		mem[in.d()] = v
		cyc += uint64(in.k2())
		pc += uint32(in.k2())
	case opBitIO:
		mem[in.k()&(memBytes-1)] = mem[in.k()&(memBytes-1)]&in.d() | in.r()
		cyc++
	case opSkipIO:
		if (mem[in.k()&(memBytes-1)]^in.d())&in.r() == 0 {
			cyc += uint64((uint32(in.k2()) - pc) & wrap)
			pc = uint32(in.k2())
		}
	case opInSP:
		mem[in.d()] = uint8(m.sp >> in.r())
	case opOutSPL: // a new low of the stack is noted by execSlow
		sp := m.sp&0xFF00 | uint16(mem[in.d()])
		if sp < m.stats.MinSP {
			goto slow
		}
		m.sp = sp
	case opOutSPH:
		m.sp = m.sp&0xFF | uint16(mem[in.d()])<<8&m.spMask
	case opOutSreg:
		v := uint32(mem[in.d()])
		if v&flagI != 0 && m.irq != 0 {
			goto slow
		}
		sreg = v
	case opSeiIdle:
		if m.irq != 0 {
			goto slow
		}
		sreg |= flagI
	default: // I/O that acts, interrupt flag, sleep
		goto slow
	}
	goto next
slow: // not executed: back to its own word
	pc--
	cyc--
out:
	m.pc, m.cycle, m.sreg = uint16(pc)&m.pcMask, cyc, uint8(sreg)
}
