package avr

// op is a decoded operation. Those above opPlainMax are fused pairs; fuse.go.
type op uint8

// inst is one decoded flash word (and, for two-word instructions, the next) packed
// into 64 bits, so that one load fetches it into one register:
//
//	0–7    op
//	8–15   unused
//	16–23  d     register number, or bit mask
//	24–31  r     register number, or bit mask
//	32–47  k     immediate, data address, or absolute word address of the target
//	48–63  k2    where a skip leads; fused forms: see fuse.go
type inst uint64

func (i inst) op() op     { return op(i) }
func (i inst) d() uint8   { return uint8(i >> 16) }
func (i inst) r() uint8   { return uint8(i >> 24) }
func (i inst) k() uint16  { return uint16(i >> 32) }
func (i inst) k2() uint16 { return uint16(i >> 48) }

// d2 and r2 are the second register pair of a fused form, in k.
func (i inst) d2() uint8 { return uint8(i >> 32) }
func (i inst) r2() uint8 { return uint8(i >> 40) }

// fields is an inst taken apart.
type fields struct {
	op    op
	d, r  uint8
	k, k2 uint16
}

func (f fields) pack() inst {
	return inst(f.op) | inst(f.d)<<16 | inst(f.r)<<24 | inst(f.k)<<32 | inst(f.k2)<<48
}

func (i inst) fields() fields {
	return fields{i.op(), i.d(), i.r(), i.k(), i.k2()}
}

// The plain operations, encodings in decode.
const (
	opIllegal op = iota
	opNop
	opMovw
	opMuls
	opMulsu
	opFmul
	opFmuls
	opFmulsu
	opCpc
	opSbc
	opAdd
	opCpse
	opCp
	opSub
	opAdc
	opAnd
	opEor
	opOr
	opMov
	opCpi
	opSbci
	opSubi
	opOri
	opAndi
	opLdi
	opLdd // any pointer; LD without increment is q = 0
	opStd
	opLds
	opSts
	opLdInc
	opLdDec
	opStInc
	opStDec
	opLpm
	opLpmInc
	opPop
	opPush
	opCom
	opNeg
	opSwap
	opInc
	opAsr
	opLsr
	opRor
	opDec
	opBset
	opBclr
	opSei
	opRet
	opReti
	opSleep
	opBreak
	opWdr
	opSpm
	opIjmp
	opIcall
	opJmp
	opCall
	opAdiw
	opSbiw
	opCbi
	opSbi
	opSbic
	opSbis
	opMul
	opIn
	opOut
	opInSreg
	opRjmp
	opRcall
	opBrbs
	opBrbc
	opBld
	opBst
	opSbrc
	opSbrs
	opPlainMax
)

// twoWords reports whether w starts a two-word instruction (LDS, STS, JMP, CALL).
func twoWords(w uint16) bool {
	return w&0xFC0F == 0x9000 || w&0xFE0C == 0x940C
}

// decode decodes the instruction at word address pc of flash, whose size is a
// power of two. Targets are absolute and wrapped to that size.
func decode(flash []uint16, pc uint16) inst {
	mask := uint16(len(flash) - 1)
	w := flash[pc&mask]
	next := flash[(pc+1)&mask]
	var i fields
	switch w >> 12 {
	case 0x0, 0x1, 0x2:
		i = decodeTwoRegister(w)
	case 0x3, 0x4, 0x5, 0x6, 0x7, 0xE: // oooo KKKK dddd KKKK
		immediate := [16]op{3: opCpi, 4: opSbci, 5: opSubi, 6: opOri, 7: opAndi, 14: opLdi}
		i = fields{op: immediate[w>>12], d: 16 + uint8(w>>4&15), k: w>>4&0xF0 | w&15}
	case 0x8, 0xA: // LDD, STD: 10q0 qqsd dddd yqqq
		displaced := [2]op{opLdd, opStd}
		i = fields{op: displaced[w>>9&1], d: uint8(w >> 4 & 31), r: 30 - uint8(w>>2&2), k: w>>8&0x20 | w>>7&0x18 | w&7}
	case 0x9:
		i = decodeNine(w, next, mask)
	case 0xB: // IN, OUT: 1011 sAAr rrrr AAAA
		i = fields{op: opIn, d: uint8(w >> 4 & 31), k: (w>>5&0x30 | w&15) + 0x20}
		if w&0x800 != 0 {
			i.op = opOut
		} else if i.k == SREG {
			i.op = opInSreg
		}
	case 0xC: // RJMP: 1100 kkkk kkkk kkkk
		i = fields{op: opRjmp, k: (pc + 1 + signed(w, 12)) & mask}
	case 0xD: // RCALL: 1101 kkkk kkkk kkkk
		i = fields{op: opRcall, k: (pc + 1 + signed(w, 12)) & mask}
	case 0xF:
		i = decodeFifteen(w, pc, mask)
	}
	switch i.op {
	case opCpse, opSbic, opSbis, opSbrc, opSbrs:
		// k2: where a skip leads; k keeps the I/O address.
		i.k2 = pc + 2
		if twoWords(next) {
			i.k2++
		}
	}
	return i.pack()
}

// signed returns the low n bits of w shifted down from bit pos as a two's
// complement word offset.
func signed(w uint16, n uint) uint16 {
	return uint16(int16(w<<(16-n)) >> (16 - n))
}

// decodeTwoRegister decodes 00oo oord dddd rrrr and its corner of multiplies.
func decodeTwoRegister(w uint16) fields {
	d, r := uint8(w>>4&31), uint8(w>>5&16|w&15)
	switch w >> 8 {
	case 0x00:
		if w == 0 {
			return fields{op: opNop}
		}
		return fields{}
	case 0x01: // MOVW: 0000 0001 dddd rrrr
		return fields{op: opMovw, d: d << 1 & 30, r: r << 1 & 30}
	case 0x02: // MULS: 0000 0010 dddd rrrr
		return fields{op: opMuls, d: 16 + d&15, r: 16 + r&15}
	case 0x03: // MULSU, FMUL, FMULS, FMULSU: 0000 0011 oddd orrr
		ops := [4]op{opMulsu, opFmul, opFmuls, opFmulsu}
		return fields{op: ops[w>>6&2|w>>3&1], d: 16 + d&7, r: 16 + r&7}
	}
	ops := [12]op{0, opCpc, opSbc, opAdd, opCpse, opCp, opSub, opAdc, opAnd, opEor, opOr, opMov}
	return fields{op: ops[w>>10], d: d, r: r}
}

// decodeNine decodes 1001 xxxx xxxx xxxx.
func decodeNine(w, next, mask uint16) fields {
	d := uint8(w >> 4 & 31)
	switch w >> 8 & 15 {
	case 0, 1: // LD, LPM, POP: 1001 000d dddd oooo
		ops := [16]op{opLds, opLdInc, opLdDec, 0, opLpm, opLpmInc, 0, 0, 0, opLdInc, opLdDec, 0, opLdd, opLdInc, opLdDec, opPop}
		return indirect(ops[w&15], w, next)
	case 2, 3: // ST, PUSH: 1001 001r rrrr oooo
		ops := [16]op{opSts, opStInc, opStDec, 0, 0, 0, 0, 0, 0, opStInc, opStDec, 0, opStd, opStInc, opStDec, opPush}
		return indirect(ops[w&15], w, next)
	case 4, 5:
		return decodeOneOperand(w, next, mask)
	case 6, 7: // ADIW, SBIW: 1001 011o KKdd KKKK
		i := fields{op: opAdiw, d: 24 + uint8(w>>3&6), k: w>>2&0x30 | w&15}
		if w&0x100 != 0 {
			i.op = opSbiw
		}
		return i
	case 8, 9, 10, 11: // CBI, SBIC, SBI, SBIS: 1001 10oo AAAA Abbb
		ops := [4]op{opCbi, opSbic, opSbi, opSbis}
		return fields{op: ops[w>>8&3], r: 1 << (w & 7), k: w>>3&31 + 0x20}
	default: // MUL: 1001 11rd dddd rrrr
		return fields{op: opMul, d: d, r: uint8(w>>5&16 | w&15)}
	}
}

// indirect fills in a load or store: its pointer is Z, Y or X by bits 3 and 2, and
// LDS and STS have their address in the next word.
func indirect(o op, w, next uint16) fields {
	i := fields{op: o, d: uint8(w >> 4 & 31), r: 30 - uint8(w>>2&2) - uint8((w>>1)&(w>>2)&2)}
	if o == opLds || o == opSts {
		i.k = next
	}
	return i
}

// decodeOneOperand decodes 1001 010x xxxx xxxx.
func decodeOneOperand(w, next, mask uint16) fields {
	d := uint8(w >> 4 & 31)
	switch w & 15 {
	case 0, 1, 2, 3, 5, 6, 7, 10: // 1001 010d dddd oooo
		ops := [16]op{0: opCom, 1: opNeg, 2: opSwap, 3: opInc, 5: opAsr, 6: opLsr, 7: opRor, 10: opDec}
		return fields{op: ops[w&15], d: d}
	case 12, 13: // JMP: 1001 010k kkkk 110k; a part of 16 K words ignores the upper bits
		return fields{op: opJmp, k: next & mask}
	case 14, 15: // CALL: 1001 010k kkkk 111k
		return fields{op: opCall, k: next & mask}
	case 8:
		if w&0x100 == 0 { // BSET, BCLR: 1001 0100 Bsss 1000
			bit := uint8(1) << (w >> 4 & 7)
			switch {
			case w&0x80 != 0:
				return fields{op: opBclr, d: ^bit, r: bit}
			case bit == flagI:
				return fields{op: opSei}
			}
			return fields{op: opBset, d: bit}
		}
	}
	switch w {
	case 0x9508:
		return fields{op: opRet}
	case 0x9518:
		return fields{op: opReti}
	case 0x9588:
		return fields{op: opSleep}
	case 0x9598:
		return fields{op: opBreak}
	case 0x95A8:
		return fields{op: opWdr}
	case 0x95C8: // LPM with implied r0
		return fields{op: opLpm, d: 0}
	case 0x95E8:
		return fields{op: opSpm}
	case 0x9409:
		return fields{op: opIjmp}
	case 0x9509:
		return fields{op: opIcall}
	}
	return fields{} // reserved here: EIJMP, EICALL, ELPM, DES, SPM Z+
}

// erased is a word of flash that was never written. Bit 3 is not decoded in silicon, so that it acts as SBRS r31,7 and the
// processor runs through erased flash to whatever comes next, the boot section or address 0 [from memory].
const erased = 0xFFFF

// decodeFifteen decodes 1111 xxxx xxxx xxxx.
func decodeFifteen(w, pc, mask uint16) fields {
	bit := uint8(1) << (w & 7)
	if w&0x800 == 0 { // BRBS, BRBC: 1111 0okk kkkk ksss
		i := fields{op: opBrbs, r: bit, k: (pc + 1 + signed(w>>3, 7)) & mask}
		if w&0x400 != 0 {
			i.op = opBrbc
		}
		return i
	}
	if w&8 != 0 && w != erased {
		return fields{} // reserved
	}
	ops := [4]op{opBld, opBst, opSbrc, opSbrs} // 1111 1oor rrrr 0bbb
	return fields{op: ops[w>>9&3], d: uint8(w >> 4 & 31), r: bit}
}
