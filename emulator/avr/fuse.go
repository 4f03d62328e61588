package avr

// Operations that replace a plain one where the code around it allows more.
const (
	opWaitRjmp op = opPlainMax + iota // back edges of loops that wait; poll.go
	opWaitBrbs
	opWaitBrbc
	opDelay // BRNE of a loop that only counts down
	opFusedMax
)

// fuse marks the back edges of waiting loops.
func fuse(p *program) {
	for pc := range p.code {
		switch p.code[pc].base() {
		case opRjmp, opBrbs, opBrbc:
			markLoop(p, uint16(pc))
		}
	}
}

// markLoop gives a backward branch its waiting or counting form.
func markLoop(p *program, pc uint16) {
	i := p.code[pc].fields()
	if i.k > pc || pc-i.k > waitWords {
		return
	}
	body := p.code[i.k:pc]
	switch {
	case i.base == opBrbc && i.r == flagZ && countsDown(body):
		i.op = opDelay
	case !waits(body):
	case i.base == opRjmp:
		i.op = opWaitRjmp
	case i.base == opBrbs:
		i.op = opWaitBrbs
	default:
		i.op = opWaitBrbc
	}
	p.code[pc] = i.pack()
}

// waits reports whether a loop body has only instructions that store nothing and
// do not obviously make each round differ from the last.
func waits(body []inst) bool {
	for n := 0; n < len(body); n++ {
		switch body[n].base() {
		case opLds:
			n++ // its address word
		case opNop, opLddY, opLddZ, opLdX, opIn, opInSreg, opSbic, opSbis, opSbrc, opSbrs, opCpse,
			opMov, opMovw, opLdi, opAnd, opAndi, opOr, opOri, opEor, opCp, opCpi, opCpc, opCom, opSwap,
			opLsr, opRor, opAsr, opAdd, opAdc, opSub, opSbc, opNeg, opBst, opBld, opRjmp, opBrbs, opBrbc:
		case opSubi, opSbci: // used to compare with a changed copy
		default:
			return false
		}
	}
	return true
}

// countsDown reports whether body is DEC r, or SBIW r,1, or SUBI r,1 followed by
// SBCI r,0 of other registers: with BRNE the delay loops that avr-gcc emits.
func countsDown(body []inst) bool {
	if len(body) == 1 {
		b := body[0].fields()
		return b.base == opDec || b.base == opSubi && b.k == 1 || b.base == opSbiw && b.k == 1
	}
	if len(body) == 0 || len(body) > 4 || body[0].base() != opSubi || body[0].k() != 1 {
		return false
	}
	used := uint32(1) << body[0].d()
	for _, b := range body[1:] {
		if b.base() != opSbci || b.k() != 0 || used>>b.d()&1 != 0 {
			return false
		}
		used |= 1 << b.d()
	}
	return true
}
