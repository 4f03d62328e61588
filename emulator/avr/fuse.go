package avr

// Operations that replace a plain one where the code around it allows more. A
// fused form executes what stands at its word and the one or two words after it;
// those keep their own forms for jumps into the middle. Every form leaves what the
// single instructions leave: a test runs random code both ways.
const (
	opWaitRjmp op = opPlainMax + iota // back edges of loops that wait; poll.go
	opWaitBrbs
	opWaitBrbc
	opDelay // BRNE of a loop that only counts down

	// d, r: operands of the first; d2, r2: of the second (an immediate in r or r2).
	opAddAdc
	opAdcAdc
	opSubSbc
	opSbcSbc
	opSubiSbci
	opSbciSbci
	opCpCpc
	opLsrRor
	opRorRor
	opLdiLdi
	opLdiEor
	opMovwMovw
	opSbrcRjmp // d, r as SBRC; k the target
	opSbrsRjmp
	opLdsLds // d, r: registers; k, k2: addresses, both in SRAM
	opStsSts
	opLddLdd // d, r: registers; d2, r2: displacements; k2: the pointer
	opStdStd

	// d, r as the comparison, d2, r2 the second one; k2: offset (7 bits), polarity
	// (1: branch if clear), SREG mask.
	opCpBr
	opCpiBr
	opSubiBr
	opDecBr
	opAndBr
	opCpCpcBr
	opCpcCpcBr
	opFusedMax
)

// layout says how the operands of a fused form are packed.
type layout uint8

const (
	layoutPair   layout = iota // two instructions of one word each
	layoutSkip                 // SBRC or SBRS before RJMP
	layoutWide                 // LDS LDS, STS STS
	layoutDisp                 // LDD LDD, STD STD through one pointer
	layoutBranch               // a comparison and a branch
	layoutTriple               // two comparisons and a branch
)

// fusions are tried in order at each word. A zero in third fits pairs; opBrbs
// stands for either branch.
var fusions = [...]struct {
	first, second, third, fused op
	layout                      layout
}{
	{opCp, opCpc, opBrbs, opCpCpcBr, layoutTriple},
	{opCpc, opCpc, opBrbs, opCpcCpcBr, layoutTriple},
	{opCp, opBrbs, 0, opCpBr, layoutBranch},
	{opCpi, opBrbs, 0, opCpiBr, layoutBranch},
	{opSubi, opBrbs, 0, opSubiBr, layoutBranch},
	{opDec, opBrbs, 0, opDecBr, layoutBranch},
	{opAnd, opBrbs, 0, opAndBr, layoutBranch},
	{opAdd, opAdc, 0, opAddAdc, layoutPair},
	{opAdc, opAdc, 0, opAdcAdc, layoutPair},
	{opSub, opSbc, 0, opSubSbc, layoutPair},
	{opSbc, opSbc, 0, opSbcSbc, layoutPair},
	{opCp, opCpc, 0, opCpCpc, layoutPair},
	{opSubi, opSbci, 0, opSubiSbci, layoutPair},
	{opSbci, opSbci, 0, opSbciSbci, layoutPair},
	{opLsr, opRor, 0, opLsrRor, layoutPair},
	{opRor, opRor, 0, opRorRor, layoutPair},
	{opLdi, opLdi, 0, opLdiLdi, layoutPair},
	{opLdi, opEor, 0, opLdiEor, layoutPair},
	{opMovw, opMovw, 0, opMovwMovw, layoutPair},
	{opSbrc, opRjmp, 0, opSbrcRjmp, layoutSkip},
	{opSbrs, opRjmp, 0, opSbrsRjmp, layoutSkip},
	{opLds, opLds, 0, opLdsLds, layoutWide},
	{opSts, opSts, 0, opStsSts, layoutWide},
	{opLdd, opLdd, 0, opLddLdd, layoutDisp},
	{opStd, opStd, 0, opStdStd, layoutDisp},
}

// fusionsOf lists the fusions that begin with an operation.
var fusionsOf = func() (of [opPlainMax][]int) {
	for n, f := range fusions {
		of[f.first] = append(of[f.first], n)
	}
	return of
}()

// fuse marks the back edges of waiting loops, then fuses what it can at each word.
func fuse(p *program, ramEnd uint16) {
	for pc := range p.code {
		p.code[pc] = direct(p.plain[pc])
	}
	var inside insides
	for pc := range p.code {
		switch p.plain[pc].op() {
		case opRjmp, opBrbs, opBrbc:
			if markLoop(p, uint16(pc), ramEnd) {
				inside.add(p.plain[pc].k(), uint16(pc))
			}
		}
	}
	inside.fill(p)
	for pc := range p.code[:codeWords-4] {
		for _, n := range fusionsOf[p.plain[pc].op()] {
			if fuseAt(p, pc, n, ramEnd) {
				break
			}
		}
	}
}

// fuseAt tries fusion n at word pc. A branch or jump that closes a waiting loop
// stays by itself.
func fuseAt(p *program, pc, n int, ramEnd uint16) bool {
	f := &fusions[n]
	a := p.plain[pc].fields()
	if a.op != f.first || p.code[pc].op() != f.first {
		return false
	}
	step := 1
	if f.layout == layoutWide {
		step = 2
	}
	b, c := p.plain[pc+step].fields(), p.plain[pc+2].fields()
	matches := func(i fields, want op) bool {
		return i.op == want || want == opBrbs && i.op == opBrbc
	}
	if !matches(b, f.second) || f.third != 0 && !matches(c, f.third) {
		return false
	}
	closesLoop := func(pc int) bool { o := p.code[pc].op(); return o >= opWaitRjmp && o <= opDelay }
	if closesLoop(pc+step) || f.third != 0 && closesLoop(pc+2) {
		return false
	}
	return packFused(p, pc, n, a, b, c, ramEnd)
}

// packFused stores the fused form; it reports false where its operands do not fit.
func packFused(p *program, pc, n int, a, b, c fields, ramEnd uint16) bool {
	f := &fusions[n]
	out := fields{op: f.fused, d: a.d, r: operand(a)}
	inRAM := func(addr uint16) bool { return addr >= ramStart && addr <= ramEnd }
	switch f.layout {
	case layoutPair:
		out.k = uint16(b.d) | uint16(operand(b))<<8
	case layoutSkip:
		out.k = b.k
	case layoutWide:
		if !inRAM(a.k) || !inRAM(b.k) {
			return false
		}
		out.r, out.k, out.k2 = b.d, a.k, b.k
	case layoutDisp:
		if a.r != b.r || f.fused == opLddLdd && a.d&^1 == a.r {
			return false // two pointers, or the first load changes the pointer
		}
		out.r, out.k, out.k2 = b.d, a.k|b.k<<8, uint16(a.r)
	case layoutBranch:
		out.k2 = branchBits(b, uint16(pc)+2)
	case layoutTriple:
		out.k = uint16(b.d) | uint16(operand(b))<<8
		out.k2 = branchBits(c, uint16(pc)+3)
	}
	p.code[pc] = out.pack()
	return true
}

// operand is an instruction's second operand: a register or an eight-bit constant.
func operand(i fields) uint8 {
	switch i.op {
	case opCpi, opSubi, opSbci, opLdi:
		return uint8(i.k)
	}
	return i.r
}

// branchBits packs a branch seen from the word after it.
func branchBits(i fields, after uint16) uint16 {
	v := (i.k-after)<<9 | uint16(i.r)
	if i.op == opBrbc {
		v |= 0x100
	}
	return v
}

// markLoop gives a backward branch its waiting or counting form, or the loop's first
// instruction that of a bitWait. It reports whether the loop waits in another way.
func markLoop(p *program, pc, ramEnd uint16) bool {
	i := p.plain[pc].fields()
	if i.k > pc || pc-i.k > waitWords {
		return false
	}
	body := p.plain[i.k:pc]
	counter, counts := countsRounds(body, p.plain[pc], i.k)
	counts = counts && waitsOrCounts(body)
	switch {
	case i.op == opBrbc && i.r == flagZ && countsDown(body):
		i.op = opDelay
	case !counts && !waits(body) || computes(body):
		return false
	case i.op == opRjmp:
		i.op = opWaitRjmp
	case i.op == opBrbs:
		i.op = opWaitBrbs
	default:
		i.op = opWaitBrbc
	}
	if counts && i.op != opDelay {
		if w, ok := bitWaitOf(p, i.k, pc, ramEnd); ok {
			p.bits = append(p.bits, w)
			p.code[i.k] = w.head(p.plain[i.k])
			return false // its branch is a plain one
		}
		i.k2 = counter.pack()
	}
	p.code[pc] = i.pack()
	return i.op != opDelay
}

// computes reports whether a loop looks at nothing that an event can change, but
// works on registers: a division, a shift. Such loops never wait.
func computes(body []inst) bool {
	works := false
	for n := 0; n < len(body); n++ {
		if _, size, _ := countdown(body, n); size > 0 {
			n += size - 1
			continue
		}
		switch body[n].op() {
		case opLds, opLdd, opIn, opSbic, opSbis:
			return false
		case opNop, opRjmp, opBrbs, opBrbc:
		default:
			works = true
		}
	}
	return works
}

// waitsOrCounts is waits for a loop with a counter in it.
func waitsOrCounts(body []inst) bool {
	for n := 0; n < len(body); n++ {
		if _, size, _ := countdown(body, n); size > 0 {
			n += size - 1
			continue
		}
		if body[n].op() == opLds {
			n++
			continue
		}
		if !waits(body[n : n+1]) {
			return false
		}
	}
	return true
}

// waits reports whether a loop body has only instructions that store nothing and
// do not obviously make each round differ from the last.
func waits(body []inst) bool {
	for n := 0; n < len(body); n++ {
		switch body[n].op() {
		case opLds:
			n++ // its address word
		case opNop, opLdd, opIn, opInSreg, opSbic, opSbis, opSbrc, opSbrs, opCpse,
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
		return b.op == opDec || b.op == opSubi && b.k == 1 || b.op == opSbiw && b.k == 1
	}
	if len(body) == 0 || len(body) > 4 || body[0].op() != opSubi || body[0].k() != 1 {
		return false
	}
	used := uint32(1) << body[0].d()
	for _, b := range body[1:] {
		if b.op() != opSbci || b.k() != 0 || used>>b.d()&1 != 0 {
			return false
		}
		used |= 1 << b.d()
	}
	return true
}
