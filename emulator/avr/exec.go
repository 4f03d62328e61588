package avr

// fuseSlack is the most cycles any but the last instruction of a fused pair can
// take: the fast loop keeps this distance from the bound, so that no event falls
// due inside a pair.
const fuseSlack = 4

// exec executes instructions while the time is below bound, or until something
// asks for attention. State that changes with every instruction lives in locals.
func (m *MCU) exec(bound uint64) {
	mem := &m.mem
	code := &m.prog.code
	ramSize := m.part.RAMSize
	pc := m.pc
	sreg := uint32(m.sreg)
	cyc := m.cycle
	fast := uint64(0)
	if !m.opt.NoFuse && bound > fuseSlack {
		fast = bound - fuseSlack
	}
	m.attention = false
	skip := !m.opt.NoPollSkip
	var addr uint16
	for {
		in := &code[pc&(codeWords-1)]
		op := in.op
		if cyc >= fast {
			if cyc >= bound {
				goto out
			}
			op = in.base
		}
		switch op {
		case opNop:
			cyc++
			pc++
		case opMovw:
			d, r := uint(in.d), uint(in.r)
			mem[d], mem[d+1] = mem[r], mem[r+1]
			cyc++
			pc++
		case opMov:
			mem[in.d] = mem[in.r]
			cyc++
			pc++
		case opLdi:
			mem[in.d] = uint8(in.k)
			cyc++
			pc++

		// Arithmetic.
		case opAdd:
			d, r := uint32(mem[in.d]), uint32(mem[in.r])
			x := d + r
			sreg = flagsAdd(sreg, d, r, x)
			mem[in.d] = uint8(x)
			cyc++
			pc++
		case opAdc:
			d, r := uint32(mem[in.d]), uint32(mem[in.r])
			x := d + r + sreg&flagC
			sreg = flagsAdd(sreg, d, r, x)
			mem[in.d] = uint8(x)
			cyc++
			pc++
		case opSub:
			d, r := uint32(mem[in.d]), uint32(mem[in.r])
			x := d - r
			sreg = flagsSub(sreg, d, r, x)
			mem[in.d] = uint8(x)
			cyc++
			pc++
		case opSubi:
			d, r := uint32(mem[in.d]), uint32(in.k)
			x := d - r
			sreg = flagsSub(sreg, d, r, x)
			mem[in.d] = uint8(x)
			cyc++
			pc++
		case opSbc:
			d, r := uint32(mem[in.d]), uint32(mem[in.r])
			x := d - r - sreg&flagC
			sreg = flagsSubC(sreg, d, r, x)
			mem[in.d] = uint8(x)
			cyc++
			pc++
		case opSbci:
			d, r := uint32(mem[in.d]), uint32(in.k)
			x := d - r - sreg&flagC
			sreg = flagsSubC(sreg, d, r, x)
			mem[in.d] = uint8(x)
			cyc++
			pc++
		case opCp:
			d, r := uint32(mem[in.d]), uint32(mem[in.r])
			sreg = flagsSub(sreg, d, r, d-r)
			cyc++
			pc++
		case opCpi:
			d, r := uint32(mem[in.d]), uint32(in.k)
			sreg = flagsSub(sreg, d, r, d-r)
			cyc++
			pc++
		case opCpc:
			d, r := uint32(mem[in.d]), uint32(mem[in.r])
			sreg = flagsSubC(sreg, d, r, d-r-sreg&flagC)
			cyc++
			pc++
		case opAdiw:
			i := uint(in.d)
			d := uint32(mem[i]) | uint32(mem[i+1])<<8
			x := d + uint32(in.k)
			sreg = flagsWord(sreg, (^d&x)>>15&1, (^x&d)>>15&1, x)
			mem[i], mem[i+1] = uint8(x), uint8(x>>8)
			cyc += 2
			pc++
		case opSbiw:
			i := uint(in.d)
			d := uint32(mem[i]) | uint32(mem[i+1])<<8
			x := d - uint32(in.k)
			sreg = flagsWord(sreg, (d&^x)>>15&1, (x&^d)>>15&1, x)
			mem[i], mem[i+1] = uint8(x), uint8(x>>8)
			cyc += 2
			pc++
		case opNeg:
			d := uint32(mem[in.d])
			x := -d
			sreg = flagsSub(sreg, 0, d, x)
			mem[in.d] = uint8(x)
			cyc++
			pc++
		case opInc:
			x := uint32(mem[in.d]) + 1
			mem[in.d] = uint8(x)
			sreg = flagsLogic(sreg, x)
			if uint8(x) == 0x80 {
				sreg ^= flagV | flagS
			}
			cyc++
			pc++
		case opDec:
			x := uint32(mem[in.d]) - 1
			mem[in.d] = uint8(x)
			sreg = flagsLogic(sreg, x)
			if uint8(x) == 0x7F {
				sreg ^= flagV | flagS
			}
			cyc++
			pc++
		case opMul:
			x := uint32(mem[in.d]) * uint32(mem[in.r])
			sreg = m.product(sreg, x, x>>15)
			cyc += 2
			pc++
		case opMuls:
			x := uint32(int32(int8(mem[in.d])) * int32(int8(mem[in.r])))
			sreg = m.product(sreg, x, x>>15)
			cyc += 2
			pc++
		case opMulsu:
			x := uint32(int32(int8(mem[in.d])) * int32(mem[in.r]))
			sreg = m.product(sreg, x, x>>15)
			cyc += 2
			pc++
		case opFmul:
			x := uint32(mem[in.d]) * uint32(mem[in.r])
			sreg = m.product(sreg, x<<1, x>>15)
			cyc += 2
			pc++
		case opFmuls:
			x := uint32(int32(int8(mem[in.d])) * int32(int8(mem[in.r])))
			sreg = m.product(sreg, x<<1, x>>15)
			cyc += 2
			pc++
		case opFmulsu:
			x := uint32(int32(int8(mem[in.d])) * int32(mem[in.r]))
			sreg = m.product(sreg, x<<1, x>>15)
			cyc += 2
			pc++

		// Logic and bits.
		case opAnd:
			x := uint32(mem[in.d] & mem[in.r])
			mem[in.d] = uint8(x)
			sreg = flagsLogic(sreg, x)
			cyc++
			pc++
		case opAndi:
			x := uint32(mem[in.d]) & uint32(in.k)
			mem[in.d] = uint8(x)
			sreg = flagsLogic(sreg, x)
			cyc++
			pc++
		case opOr:
			x := uint32(mem[in.d] | mem[in.r])
			mem[in.d] = uint8(x)
			sreg = flagsLogic(sreg, x)
			cyc++
			pc++
		case opOri:
			x := uint32(mem[in.d]) | uint32(in.k)
			mem[in.d] = uint8(x)
			sreg = flagsLogic(sreg, x)
			cyc++
			pc++
		case opEor:
			x := uint32(mem[in.d] ^ mem[in.r])
			mem[in.d] = uint8(x)
			sreg = flagsLogic(sreg, x)
			cyc++
			pc++
		case opCom:
			x := uint32(^mem[in.d])
			mem[in.d] = uint8(x)
			sreg = flagsLogic(sreg, x) | flagC
			cyc++
			pc++
		case opSwap:
			x := mem[in.d]
			mem[in.d] = x<<4 | x>>4
			cyc++
			pc++
		case opAsr:
			d := uint32(mem[in.d])
			x := d>>1 | d&0x80
			mem[in.d] = uint8(x)
			sreg = flagsShift(sreg, d, x)
			cyc++
			pc++
		case opLsr:
			d := uint32(mem[in.d])
			x := d >> 1
			mem[in.d] = uint8(x)
			sreg = flagsShift(sreg, d, x)
			cyc++
			pc++
		case opRor:
			d := uint32(mem[in.d])
			x := d>>1 | sreg&flagC<<7
			mem[in.d] = uint8(x)
			sreg = flagsShift(sreg, d, x)
			cyc++
			pc++
		case opBset:
			sreg |= uint32(in.d)
			cyc++
			pc++
		case opBclr:
			sreg &= uint32(in.d)
			cyc++
			pc++
		case opBld:
			x := mem[in.d] &^ in.r
			if sreg&flagT != 0 {
				x |= in.r
			}
			mem[in.d] = x
			cyc++
			pc++
		case opBst:
			sreg &^= flagT
			if mem[in.d]&in.r != 0 {
				sreg |= flagT
			}
			cyc++
			pc++

		// Branches and skips.
		case opRjmp:
			pc = in.k
			cyc += 2
		case opJmp:
			pc = in.k
			cyc += 3
		case opIjmp:
			pc = uint16(mem[30]) | uint16(mem[31])<<8
			cyc += 2
		case opBrbs:
			pc++
			cyc++
			if sreg&uint32(in.r) != 0 {
				pc = in.k
				cyc++
			}
		case opBrbc:
			pc++
			cyc++
			if sreg&uint32(in.r) == 0 {
				pc = in.k
				cyc++
			}

		// Back edges of loops that only wait; poll.go.
		case opWaitRjmp:
			m.poll.at = pc
			pc = in.k
			cyc += 2
			if skip && cyc >= m.poll.retryAt {
				m.poll.pending = true
				goto out
			}
		case opWaitBrbs, opWaitBrbc:
			if (sreg&uint32(in.r) != 0) == (op == opWaitBrbs) {
				m.poll.at = pc
				pc = in.k
				cyc += 2
				if skip && cyc >= m.poll.retryAt {
					m.poll.pending = true
					goto out
				}
			} else {
				pc++
				cyc++
			}
		case opDelay:
			if sreg&flagZ == 0 {
				pc = in.k
				cyc += 2
				if skip {
					cyc += m.skipDelay(in, cyc, bound)
				}
			} else {
				pc++
				cyc++
			}
		case opCpse:
			cyc++
			if mem[in.d] == mem[in.r] {
				cyc += uint64(in.k2 - pc - 1)
				pc = in.k2
			} else {
				pc++
			}
		case opSbrc:
			cyc++
			if mem[in.d]&in.r == 0 {
				cyc += uint64(in.k2 - pc - 1)
				pc = in.k2
			} else {
				pc++
			}
		case opSbrs:
			cyc++
			if mem[in.d]&in.r != 0 {
				cyc += uint64(in.k2 - pc - 1)
				pc = in.k2
			} else {
				pc++
			}

		// Data memory. The address is formed here, the access made below.
		case opLds:
			addr = in.k
			pc += 2
			goto load
		case opLddY:
			addr = uint16(mem[28]) | uint16(mem[29])<<8
			addr += in.k
			pc++
			goto load
		case opLddZ:
			addr = uint16(mem[30]) | uint16(mem[31])<<8
			addr += in.k
			pc++
			goto load
		case opLdX:
			addr = uint16(mem[26]) | uint16(mem[27])<<8
			pc++
			goto load
		case opLdXInc:
			addr = m.pointer(26)
			m.setPointer(26, addr+1)
			pc++
			goto load
		case opLdXDec:
			addr = m.pointer(26) - 1
			m.setPointer(26, addr)
			pc++
			goto load
		case opLdYInc:
			addr = m.pointer(28)
			m.setPointer(28, addr+1)
			pc++
			goto load
		case opLdYDec:
			addr = m.pointer(28) - 1
			m.setPointer(28, addr)
			pc++
			goto load
		case opLdZInc:
			addr = m.pointer(30)
			m.setPointer(30, addr+1)
			pc++
			goto load
		case opLdZDec:
			addr = m.pointer(30) - 1
			m.setPointer(30, addr)
			pc++
			goto load
		case opPop:
			m.sp++
			addr = m.sp
			pc++
			goto load
		case opSts:
			addr = in.k
			pc += 2
			goto store
		case opStdY:
			addr = uint16(mem[28]) | uint16(mem[29])<<8
			addr += in.k
			pc++
			goto store
		case opStdZ:
			addr = uint16(mem[30]) | uint16(mem[31])<<8
			addr += in.k
			pc++
			goto store
		case opStX:
			addr = uint16(mem[26]) | uint16(mem[27])<<8
			pc++
			goto store

		// ST with increment or decrement of its own pointer stores the register as
		// it was before [ISM leaves r26/r27 with X undefined; choice].
		case opStXInc, opStYInc, opStZInc:
			i := uint(26 + (op-opStXInc)&^1)
			addr = m.pointer(i)
			v := mem[in.d]
			m.setPointer(i, addr+1)
			pc++
			if addr-ramStart < ramSize {
				mem[addr&(memBytes-1)] = v
				cyc += 2
				continue
			}
			m.cycle, m.sreg, m.pc = cyc+1, uint8(sreg), pc
			m.store(addr, v)
			goto slow
		case opStXDec, opStYDec, opStZDec:
			i := uint(26 + (op-opStXDec)&^1)
			addr = m.pointer(i) - 1
			v := mem[in.d]
			m.setPointer(i, addr)
			pc++
			if addr-ramStart < ramSize {
				mem[addr&(memBytes-1)] = v
				cyc += 2
				continue
			}
			m.cycle, m.sreg, m.pc = cyc+1, uint8(sreg), pc
			m.store(addr, v)
			goto slow
		case opPush:
			addr = m.sp
			m.sp--
			if m.sp < m.stats.MinSP {
				m.noteStack()
			}
			pc++
			goto store
		case opLpm:
			a := uint16(mem[30]) | uint16(mem[31])<<8
			mem[in.d] = m.flashByte(a)
			cyc += 3
			pc++
		case opLpmInc:
			a := m.pointer(30)
			mem[in.d] = m.flashByte(a)
			m.setPointer(30, a+1)
			cyc += 3
			pc++

		// Calls and returns: the low byte of the return address is pushed first.
		case opCall:
			m.cycle = cyc + 2
			m.call(pc + 2)
			pc = in.k
			cyc += 4
		case opRcall:
			m.cycle = cyc + 1
			m.call(pc + 1)
			pc = in.k
			cyc += 3
		case opIcall:
			m.cycle = cyc + 1
			m.call(pc + 1)
			pc = m.pointer(30)
			cyc += 3
		case opRet:
			m.cycle = cyc + 2
			pc = m.popPC()
			cyc += 4
		case opReti:
			m.cycle = cyc + 2
			pc = m.popPC()
			cyc += 4
			sreg |= flagI
			if m.irq != 0 || cyc >= bound {
				m.inhibit = true
				goto out
			}
		case opSei:
			inhibit := sreg&flagI == 0
			sreg |= flagI
			cyc++
			pc++
			if inhibit && (m.irq != 0 || cyc >= bound) {
				m.inhibit = true
				goto out
			}

		// I/O space.
		case opInSreg:
			mem[in.d] = uint8(sreg)
			cyc++
			pc++
		case opIn:
			pc++
			m.cycle, m.sreg, m.pc = cyc, uint8(sreg), pc
			mem[in.d] = m.load(in.k)
			goto slow
		case opOut:
			pc++
			m.cycle, m.sreg, m.pc = cyc, uint8(sreg), pc
			m.store(in.k, mem[in.d])
			goto slow
		case opSbi:
			pc++
			m.cycle, m.sreg, m.pc = cyc+1, uint8(sreg), pc
			m.setBit(in.k, in.r)
			goto slow
		case opCbi:
			pc++
			m.cycle, m.sreg, m.pc = cyc+1, uint8(sreg), pc
			m.clearBit(in.k, in.r)
			goto slow
		case opSbic, opSbis:
			pc++
			m.cycle, m.sreg, m.pc = cyc, uint8(sreg), pc
			set := m.load(in.k)&in.r != 0
			if set == (op == opSbis) {
				m.cycle += uint64(in.k2 - pc)
				pc = in.k2
			}
			goto slow
		case opSleep:
			pc++
			m.cycle, m.sreg, m.pc = cyc+1, uint8(sreg), pc
			m.sleep()
			cyc = m.cycle
			if m.attention {
				goto out
			}
		case opWdr:
			pc++
			m.cycle, m.sreg = cyc, uint8(sreg)
			m.watchdogReset()
			goto slow
		case opSpm:
			pc++
			m.cycle, m.sreg, m.pc = cyc, uint8(sreg), pc
			m.storeProgram()
			code = &m.prog.code
			goto slow
		case opBreak, opIllegal:
			if op == opBreak {
				pc++
				cyc++
			}
			m.mode = modeStopped
			goto out
		}
		continue

	load:
		if addr-ramStart < ramSize {
			mem[in.d] = mem[addr&(memBytes-1)]
			cyc += 2
			continue
		}
		m.cycle, m.sreg, m.pc = cyc+1, uint8(sreg), pc
		mem[in.d] = m.load(addr)
		goto slow

	store:
		if addr-ramStart < ramSize {
			mem[addr&(memBytes-1)] = mem[in.d]
			cyc += 2
			continue
		}
		m.cycle, m.sreg, m.pc = cyc+1, uint8(sreg), pc
		m.store(addr, mem[in.d])

	slow: // the access was made at m.cycle, the last cycle of the instruction
		cyc = m.cycle + 1
		sreg = uint32(m.sreg)
		if m.attention {
			goto out
		}
	}
out:
	m.pc, m.cycle, m.sreg = pc&m.pcMask, cyc, uint8(sreg)
}
