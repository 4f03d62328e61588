package avr

// fuseSlack is the most cycles any but the last instruction of a fused pair can
// take: the fast loop keeps this distance from the bound, so that no event falls
// due inside a pair.
const fuseSlack = 4

// exec executes instructions while the time is below bound, or until one needs
// more than registers, SRAM and flash: that one is left to execSlow.
//
// The function makes no calls, so that the compiler keeps pc, sreg, cyc and the
// rest in machine registers: with the slow paths inside, it spilled six values at
// each instruction and ran at less than half the speed.
func (m *MCU) exec(bound uint64) {
	mem := &m.mem
	ramSize := m.part.RAMSize
	pcHigh := uint32(m.pcMask >> 8)
	flash := &m.prog.flash
	spm := m.spm.armedUntil
	code := &m.prog.code
	pc := uint32(m.pc)
	sreg := uint32(m.sreg)
	cyc := m.cycle
	fast := uint64(0)
	if !m.opt.NoFuse && bound > fuseSlack {
		fast = bound - fuseSlack
	}
	for {
		in := code[pc&(codeWords-1)]
		op := in.op()
		if cyc >= fast {
			if cyc >= bound {
				break
			}
			op = in.base()
		}
		switch op {
		case opNop:
			cyc++
			pc++
		case opMovw:
			d, r := int(in.d()), int(in.r())
			mem[d], mem[d+1] = mem[r], mem[r+1]
			cyc++
			pc++
		case opMov:
			mem[in.d()] = mem[in.r()]
			cyc++
			pc++
		case opLdi:
			mem[in.d()] = uint8(in.k())
			cyc++
			pc++

		// Arithmetic.
		case opAdd:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			x := d + r
			sreg = flagsAdd(sreg, d, r, x)
			mem[in.d()] = uint8(x)
			cyc++
			pc++
		case opAdc:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			x := d + r + sreg&flagC
			sreg = flagsAdd(sreg, d, r, x)
			mem[in.d()] = uint8(x)
			cyc++
			pc++
		case opSub:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			x := d - r
			sreg = flagsSub(sreg, d, r, x)
			mem[in.d()] = uint8(x)
			cyc++
			pc++
		case opSubi:
			d, r := uint32(mem[in.d()]), uint32(in.k())
			x := d - r
			sreg = flagsSub(sreg, d, r, x)
			mem[in.d()] = uint8(x)
			cyc++
			pc++
		case opSbc:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			x := d - r - sreg&flagC
			sreg = flagsSubC(sreg, d, r, x)
			mem[in.d()] = uint8(x)
			cyc++
			pc++
		case opSbci:
			d, r := uint32(mem[in.d()]), uint32(in.k())
			x := d - r - sreg&flagC
			sreg = flagsSubC(sreg, d, r, x)
			mem[in.d()] = uint8(x)
			cyc++
			pc++
		case opCp:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			sreg = flagsSub(sreg, d, r, d-r)
			cyc++
			pc++
		case opCpi:
			d, r := uint32(mem[in.d()]), uint32(in.k())
			sreg = flagsSub(sreg, d, r, d-r)
			cyc++
			pc++
		case opCpc:
			d, r := uint32(mem[in.d()]), uint32(mem[in.r()])
			sreg = flagsSubC(sreg, d, r, d-r-sreg&flagC)
			cyc++
			pc++
		case opAdiw:
			i := int(in.d())
			d := uint32(mem[i]) | uint32(mem[i+1])<<8
			x := d + uint32(in.k())
			sreg = flagsWord(sreg, (^d&x)>>15&1, (^x&d)>>15&1, x)
			mem[i], mem[i+1] = uint8(x), uint8(x>>8)
			cyc += 2
			pc++
		case opSbiw:
			i := int(in.d())
			d := uint32(mem[i]) | uint32(mem[i+1])<<8
			x := d - uint32(in.k())
			sreg = flagsWord(sreg, (d&^x)>>15&1, (x&^d)>>15&1, x)
			mem[i], mem[i+1] = uint8(x), uint8(x>>8)
			cyc += 2
			pc++
		case opNeg:
			d := uint32(mem[in.d()])
			x := -d
			sreg = flagsSub(sreg, 0, d, x)
			mem[in.d()] = uint8(x)
			cyc++
			pc++
		case opInc:
			x := uint32(mem[in.d()]) + 1
			mem[in.d()] = uint8(x)
			sreg = flagsLogic(sreg, x)
			if uint8(x) == 0x80 {
				sreg ^= flagV | flagS
			}
			cyc++
			pc++
		case opDec:
			x := uint32(mem[in.d()]) - 1
			mem[in.d()] = uint8(x)
			sreg = flagsLogic(sreg, x)
			if uint8(x) == 0x7F {
				sreg ^= flagV | flagS
			}
			cyc++
			pc++
		case opMul:
			x := uint32(mem[in.d()]) * uint32(mem[in.r()])
			mem[0], mem[1] = uint8(x), uint8(x>>8)
			sreg = flagsProduct(sreg, x, x>>15)
			cyc += 2
			pc++
		case opMuls:
			x := uint32(int32(int8(mem[in.d()])) * int32(int8(mem[in.r()])))
			mem[0], mem[1] = uint8(x), uint8(x>>8)
			sreg = flagsProduct(sreg, x, x>>15)
			cyc += 2
			pc++
		case opMulsu:
			x := uint32(int32(int8(mem[in.d()])) * int32(mem[in.r()]))
			mem[0], mem[1] = uint8(x), uint8(x>>8)
			sreg = flagsProduct(sreg, x, x>>15)
			cyc += 2
			pc++
		case opFmul:
			x := uint32(mem[in.d()]) * uint32(mem[in.r()])
			mem[0], mem[1] = uint8(x<<1), uint8((x<<1)>>8)
			sreg = flagsProduct(sreg, x<<1, x>>15)
			cyc += 2
			pc++
		case opFmuls:
			x := uint32(int32(int8(mem[in.d()])) * int32(int8(mem[in.r()])))
			mem[0], mem[1] = uint8(x<<1), uint8((x<<1)>>8)
			sreg = flagsProduct(sreg, x<<1, x>>15)
			cyc += 2
			pc++
		case opFmulsu:
			x := uint32(int32(int8(mem[in.d()])) * int32(mem[in.r()]))
			mem[0], mem[1] = uint8(x<<1), uint8((x<<1)>>8)
			sreg = flagsProduct(sreg, x<<1, x>>15)
			cyc += 2
			pc++

		// Logic and bits.
		case opAnd:
			x := uint32(mem[in.d()] & mem[in.r()])
			mem[in.d()] = uint8(x)
			sreg = flagsLogic(sreg, x)
			cyc++
			pc++
		case opAndi:
			x := uint32(mem[in.d()]) & uint32(in.k())
			mem[in.d()] = uint8(x)
			sreg = flagsLogic(sreg, x)
			cyc++
			pc++
		case opOr:
			x := uint32(mem[in.d()] | mem[in.r()])
			mem[in.d()] = uint8(x)
			sreg = flagsLogic(sreg, x)
			cyc++
			pc++
		case opOri:
			x := uint32(mem[in.d()]) | uint32(in.k())
			mem[in.d()] = uint8(x)
			sreg = flagsLogic(sreg, x)
			cyc++
			pc++
		case opEor:
			x := uint32(mem[in.d()] ^ mem[in.r()])
			mem[in.d()] = uint8(x)
			sreg = flagsLogic(sreg, x)
			cyc++
			pc++
		case opCom:
			x := uint32(^mem[in.d()])
			mem[in.d()] = uint8(x)
			sreg = flagsLogic(sreg, x) | flagC
			cyc++
			pc++
		case opSwap:
			x := mem[in.d()]
			mem[in.d()] = x<<4 | x>>4
			cyc++
			pc++
		case opAsr:
			d := uint32(mem[in.d()])
			x := d>>1 | d&0x80
			mem[in.d()] = uint8(x)
			sreg = flagsShift(sreg, d, x)
			cyc++
			pc++
		case opLsr:
			d := uint32(mem[in.d()])
			x := d >> 1
			mem[in.d()] = uint8(x)
			sreg = flagsShift(sreg, d, x)
			cyc++
			pc++
		case opRor:
			d := uint32(mem[in.d()])
			x := d>>1 | sreg&flagC<<7
			mem[in.d()] = uint8(x)
			sreg = flagsShift(sreg, d, x)
			cyc++
			pc++
		case opBset:
			sreg |= uint32(in.d())
			cyc++
			pc++
		case opBclr:
			sreg &= uint32(in.d())
			cyc++
			pc++
		case opBld:
			x := mem[in.d()] &^ in.r()
			if sreg&flagT != 0 {
				x |= in.r()
			}
			mem[in.d()] = x
			cyc++
			pc++
		case opBst:
			sreg &^= flagT
			if mem[in.d()]&in.r() != 0 {
				sreg |= flagT
			}
			cyc++
			pc++

		// Branches and skips.
		case opRjmp:
			pc = uint32(in.k())
			cyc += 2
		case opJmp:
			pc = uint32(in.k())
			cyc += 3
		case opIjmp:
			pc = uint32(mem[30]) | uint32(mem[31])<<8
			cyc += 2
		case opBrbs:
			pc++
			cyc++
			if sreg&uint32(in.r()) != 0 {
				pc = uint32(in.k())
				cyc++
			}
		case opBrbc:
			pc++
			cyc++
			if sreg&uint32(in.r()) == 0 {
				pc = uint32(in.k())
				cyc++
			}

		// Back edges of loops that only wait or count; poll.go.
		case opWaitRjmp:
			m.poll.at = uint16(pc)
			pc = uint32(in.k())
			cyc += 2
			if cyc >= m.poll.retryAt {
				m.poll.pending = true
				goto out
			}
		case opWaitBrbs, opWaitBrbc, opDelay:
			cyc++
			pc++
			if (sreg&uint32(in.r()) != 0) == (op == opWaitBrbs) {
				m.poll.at = uint16(pc - 1)
				pc = uint32(in.k())
				cyc++
				if cyc >= m.poll.retryAt {
					m.poll.pending = true
					goto out
				}
			}
		case opCpse:
			cyc++
			if mem[in.d()] == mem[in.r()] {
				cyc += uint64(uint32(in.k2()) - pc - 1)
				pc = uint32(in.k2())
			} else {
				pc++
			}
		case opSbrc:
			cyc++
			if mem[in.d()]&in.r() == 0 {
				cyc += uint64(uint32(in.k2()) - pc - 1)
				pc = uint32(in.k2())
			} else {
				pc++
			}
		case opSbrs:
			cyc++
			if mem[in.d()]&in.r() != 0 {
				cyc += uint64(uint32(in.k2()) - pc - 1)
				pc = uint32(in.k2())
			} else {
				pc++
			}

		// Data memory: SRAM only; registers and I/O by address are left to execSlow.
		case opLds:
			addr := in.k()
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc += 2
			pc += 2
		case opLddY:
			addr := (uint16(mem[28]) | uint16(mem[29])<<8) + in.k()
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc += 2
			pc++
		case opLddZ:
			addr := (uint16(mem[30]) | uint16(mem[31])<<8) + in.k()
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc += 2
			pc++
		case opLdX:
			addr := uint16(mem[26]) | uint16(mem[27])<<8
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc += 2
			pc++
		case opLdXInc:
			addr := uint16(mem[26]) | uint16(mem[27])<<8
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[26], mem[27] = uint8(addr+1), uint8((addr+1)>>8)
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc += 2
			pc++
		case opLdXDec:
			addr := (uint16(mem[26]) | uint16(mem[27])<<8) - 1
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[26], mem[27] = uint8(addr), uint8(addr>>8)
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc += 2
			pc++
		case opLdYInc:
			addr := uint16(mem[28]) | uint16(mem[29])<<8
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[28], mem[29] = uint8(addr+1), uint8((addr+1)>>8)
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc += 2
			pc++
		case opLdYDec:
			addr := (uint16(mem[28]) | uint16(mem[29])<<8) - 1
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[28], mem[29] = uint8(addr), uint8(addr>>8)
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc += 2
			pc++
		case opLdZInc:
			addr := uint16(mem[30]) | uint16(mem[31])<<8
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[30], mem[31] = uint8(addr+1), uint8((addr+1)>>8)
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc += 2
			pc++
		case opLdZDec:
			addr := (uint16(mem[30]) | uint16(mem[31])<<8) - 1
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[30], mem[31] = uint8(addr), uint8(addr>>8)
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc += 2
			pc++
		case opSts:
			addr := in.k()
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			cyc += 2
			pc += 2
		case opStdY:
			addr := (uint16(mem[28]) | uint16(mem[29])<<8) + in.k()
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			cyc += 2
			pc++
		case opStdZ:
			addr := (uint16(mem[30]) | uint16(mem[31])<<8) + in.k()
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			cyc += 2
			pc++
		case opStX:
			addr := uint16(mem[26]) | uint16(mem[27])<<8
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			cyc += 2
			pc++
		case opStXInc:
			addr := uint16(mem[26]) | uint16(mem[27])<<8
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			mem[26], mem[27] = uint8(addr+1), uint8((addr+1)>>8)
			cyc += 2
			pc++
		case opStXDec:
			addr := (uint16(mem[26]) | uint16(mem[27])<<8) - 1
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			mem[26], mem[27] = uint8(addr), uint8(addr>>8)
			cyc += 2
			pc++
		case opStYInc:
			addr := uint16(mem[28]) | uint16(mem[29])<<8
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			mem[28], mem[29] = uint8(addr+1), uint8((addr+1)>>8)
			cyc += 2
			pc++
		case opStYDec:
			addr := (uint16(mem[28]) | uint16(mem[29])<<8) - 1
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			mem[28], mem[29] = uint8(addr), uint8(addr>>8)
			cyc += 2
			pc++
		case opStZInc:
			addr := uint16(mem[30]) | uint16(mem[31])<<8
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			mem[30], mem[31] = uint8(addr+1), uint8((addr+1)>>8)
			cyc += 2
			pc++
		case opStZDec:
			addr := (uint16(mem[30]) | uint16(mem[31])<<8) - 1
			if addr-ramStart >= ramSize {
				goto out
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			mem[30], mem[31] = uint8(addr), uint8(addr>>8)
			cyc += 2
			pc++
		case opPush: // a new low of the stack is noted by execSlow
			addr := m.sp
			if addr > m.ramEnd || addr <= m.stats.MinSP {
				goto out
			}
			mem[addr&(memBytes-1)] = mem[in.d()]
			m.sp = addr - 1
			cyc += 2
			pc++
		case opPop:
			addr := m.sp + 1
			if addr-ramStart >= ramSize {
				goto out
			}
			m.sp = addr
			mem[in.d()] = mem[addr&(memBytes-1)]
			cyc += 2
			pc++
		case opLpm, opLpmInc:
			addr := uint16(mem[30]) | uint16(mem[31])<<8
			if spm != 0 {
				goto out
			}
			mem[in.d()] = uint8(flash[addr>>1&(codeWords-1)] >> (addr & 1 * 8))
			if op == opLpmInc {
				mem[30], mem[31] = uint8(addr+1), uint8((addr+1)>>8)
			}
			cyc += 3
			pc++

		// Calls and returns: the low byte of the return address is pushed first.
		case opCall, opRcall, opIcall:
			sp := m.sp
			if sp > m.ramEnd || sp-2 < m.stats.MinSP {
				goto out
			}
			ret := pc + 1
			switch op {
			case opCall:
				ret++
				cyc += 4
				pc = uint32(in.k())
			case opRcall:
				cyc += 3
				pc = uint32(in.k())
			default:
				cyc += 3
				pc = uint32(mem[30]) | uint32(mem[31])<<8
			}
			mem[sp&(memBytes-1)] = uint8(ret)
			mem[(sp-1)&(memBytes-1)] = uint8(ret >> 8 & pcHigh)
			m.sp = sp - 2
		case opRet:
			sp := m.sp
			if sp < ramStart-1 || sp > m.ramEnd-2 {
				goto out
			}
			pc = (uint32(mem[(sp+1)&(memBytes-1)])<<8 | uint32(mem[(sp+2)&(memBytes-1)]))
			m.sp = sp + 2
			cyc += 4
		case opInSreg:
			mem[in.d()] = uint8(sreg)
			cyc++
			pc++
			//FUSED
		default: // I/O, interrupt flag, sleep, reserved codes
			goto out
		}
	}
out:
	m.pc, m.cycle, m.sreg = uint16(pc)&m.pcMask, cyc, uint8(sreg)
}
