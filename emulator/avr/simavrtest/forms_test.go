//go:build cgo && linux

package simavrtest

import "math/rand/v2"

// form is one instruction form: base word, and the bits that vary freely. prepare
// adjusts a random state to the instruction, so that it touches SRAM and the
// registers both emulators agree to have.
type form struct {
	name    string
	base    uint16
	vary    uint16
	prepare func(*rand.Rand, *Vector, *[3]uint16)
}

// inSRAM returns an address well inside the SRAM of both parts.
func inSRAM(r *rand.Rand) uint16 { return 0x120 + uint16(r.IntN(0x3C0)) }

// window puts the data window around a data address.
func window(v *Vector, addr uint16) { v.Addr = addr - 2 }

func setPair(v *Vector, at int, addr uint16) { v.Regs[at], v.Regs[at+1] = uint8(addr), uint8(addr>>8) }

// pointed makes the register pair at `at` point into SRAM.
func pointed(at int) func(*rand.Rand, *Vector, *[3]uint16) {
	return func(r *rand.Rand, v *Vector, _ *[3]uint16) {
		a := inSRAM(r)
		setPair(v, at, a)
		window(v, a)
	}
}

// displaced is pointed with the window at pointer + q.
func displaced(at int) func(*rand.Rand, *Vector, *[3]uint16) {
	return func(r *rand.Rand, v *Vector, w *[3]uint16) {
		a := inSRAM(r)
		setPair(v, at, a)
		window(v, a+(w[0]>>8&0x20|w[0]>>7&0x18|w[0]&7))
	}
}

func absolute(r *rand.Rand, v *Vector, w *[3]uint16) {
	w[1] = inSRAM(r)
	window(v, w[1])
}

func stack(_ *rand.Rand, v *Vector, _ *[3]uint16) { window(v, v.SP) }

// inFlash keeps Z inside the flash: beyond it our addresses wrap as the 14 bits of
// the part's address do, and simavr reads foreign memory.
func inFlash(_ *rand.Rand, v *Vector, _ *[3]uint16) { v.Regs[31] &= 0x7F }

// returning limits the return address to the flash: bits above are not there on
// this part, and simavr keeps them.
func returning(_ *rand.Rand, v *Vector, _ *[3]uint16) {
	v.Addr = v.SP
	v.Window[1] &= 0x3F
}

func target(r *rand.Rand, v *Vector, w *[3]uint16) {
	w[1] = uint16(r.IntN(16384))
	window(v, v.SP)
}

func indirect(_ *rand.Rand, v *Vector, _ *[3]uint16) {
	v.Regs[31] &= 0x3F
	window(v, v.SP)
}

// skipped puts a one- or two-word instruction behind the skip.
func skipped(r *rand.Rand, _ *Vector, w *[3]uint16) {
	switch r.IntN(4) {
	case 0:
		w[1] = [...]uint16{0x9000, 0x9200, 0x940C, 0x940E}[r.IntN(4)] | uint16(r.IntN(32))<<4&0x1F0
	case 1:
		w[1] = 0x9600 | uint16(r.IntN(512)) // ADIW, SBIW
	default:
		w[1] = uint16(r.IntN(65536))
	}
}

// comparing makes the two registers of CPSE equal half of the time.
func comparing(r *rand.Rand, v *Vector, w *[3]uint16) {
	skipped(r, v, w)
	if r.IntN(2) == 0 {
		v.Regs[w[0]>>5&16|w[0]&15] = v.Regs[w[0]>>4&31]
	}
}

// onGPIOR0 aims bit instructions at I/O address 0x1E, whose bits do nothing.
func onGPIOR0(r *rand.Rand, v *Vector, w *[3]uint16) {
	w[0] = w[0]&^0xF8 | 0x1E<<3
	skipped(r, v, w)
}

// onPlainIO aims IN and OUT at GPIOR0–2, SPL, SPH and SREG.
func onPlainIO(r *rand.Rand, v *Vector, w *[3]uint16) {
	a := [...]uint16{0x1E, 0x2A, 0x2B, 0x3D, 0x3E, 0x3F}[r.IntN(6)]
	w[0] = w[0]&^0x60F | a&0x30<<5 | a&15
	if w[0]&0x800 != 0 && a == 0x3E { // only the bits of SPH that the part has
		v.Regs[w[0]>>4&31] &= 0x07
	}
}

var forms = []form{
	{"NOP", 0x0000, 0, nil}, {"MOVW", 0x0100, 0x00FF, nil}, {"MULS", 0x0200, 0x00FF, nil},
	{"MULSU", 0x0300, 0x0077, nil}, {"FMUL", 0x0308, 0x0077, nil}, {"FMULS", 0x0380, 0x0077, nil}, {"FMULSU", 0x0388, 0x0077, nil},
	{"CPC", 0x0400, 0x03FF, nil}, {"SBC", 0x0800, 0x03FF, nil}, {"ADD", 0x0C00, 0x03FF, nil},
	{"CPSE", 0x1000, 0x03FF, comparing}, {"CP", 0x1400, 0x03FF, nil}, {"SUB", 0x1800, 0x03FF, nil}, {"ADC", 0x1C00, 0x03FF, nil},
	{"AND", 0x2000, 0x03FF, nil}, {"EOR", 0x2400, 0x03FF, nil}, {"OR", 0x2800, 0x03FF, nil}, {"MOV", 0x2C00, 0x03FF, nil},
	{"CPI", 0x3000, 0x0FFF, nil}, {"SBCI", 0x4000, 0x0FFF, nil}, {"SUBI", 0x5000, 0x0FFF, nil},
	{"ORI", 0x6000, 0x0FFF, nil}, {"ANDI", 0x7000, 0x0FFF, nil}, {"LDI", 0xE000, 0x0FFF, nil},
	{"LDD Z+q", 0x8000, 0x2DF7, displaced(30)}, {"LDD Y+q", 0x8008, 0x2DF7, displaced(28)},
	{"STD Z+q", 0x8200, 0x2DF7, displaced(30)}, {"STD Y+q", 0x8208, 0x2DF7, displaced(28)},
	{"LDS", 0x9000, 0x01F0, absolute}, {"LD Z+", 0x9001, 0x01F0, pointed(30)}, {"LD -Z", 0x9002, 0x01F0, pointed(30)},
	{"LPM Z", 0x9004, 0x01F0, inFlash}, {"LPM Z+", 0x9005, 0x01F0, inFlash}, {"LD Y+", 0x9009, 0x01F0, pointed(28)},
	{"LD -Y", 0x900A, 0x01F0, pointed(28)}, {"LD X", 0x900C, 0x01F0, pointed(26)}, {"LD X+", 0x900D, 0x01F0, pointed(26)},
	{"LD -X", 0x900E, 0x01F0, pointed(26)}, {"POP", 0x900F, 0x01F0, stack},
	{"STS", 0x9200, 0x01F0, absolute}, {"ST Z+", 0x9201, 0x01F0, pointed(30)}, {"ST -Z", 0x9202, 0x01F0, pointed(30)},
	{"ST Y+", 0x9209, 0x01F0, pointed(28)}, {"ST -Y", 0x920A, 0x01F0, pointed(28)},
	{"ST X", 0x920C, 0x01F0, pointed(26)}, {"ST X+", 0x920D, 0x01F0, pointed(26)}, {"ST -X", 0x920E, 0x01F0, pointed(26)},
	{"PUSH", 0x920F, 0x01F0, stack},
	{"COM", 0x9400, 0x01F0, nil}, {"NEG", 0x9401, 0x01F0, nil}, {"SWAP", 0x9402, 0x01F0, nil}, {"INC", 0x9403, 0x01F0, nil},
	{"ASR", 0x9405, 0x01F0, nil}, {"LSR", 0x9406, 0x01F0, nil}, {"ROR", 0x9407, 0x01F0, nil}, {"DEC", 0x940A, 0x01F0, nil},
	{"BSET", 0x9408, 0x0070, nil}, {"BCLR", 0x9488, 0x0070, nil},
	{"JMP", 0x940C, 0, target}, {"CALL", 0x940E, 0, target}, {"IJMP", 0x9409, 0, indirect}, {"ICALL", 0x9509, 0, indirect},
	{"RET", 0x9508, 0, returning}, {"RETI", 0x9518, 0, returning}, {"LPM", 0x95C8, 0, inFlash},
	{"ADIW", 0x9600, 0x00FF, nil}, {"SBIW", 0x9700, 0x00FF, nil},
	{"CBI", 0x9800, 0x00FF, onGPIOR0}, {"SBIC", 0x9900, 0x00FF, onGPIOR0}, {"SBI", 0x9A00, 0x00FF, onGPIOR0}, {"SBIS", 0x9B00, 0x00FF, onGPIOR0},
	{"MUL", 0x9C00, 0x03FF, nil}, {"IN", 0xB000, 0x01F0, onPlainIO}, {"OUT", 0xB800, 0x01F0, onPlainIO},
	{"RJMP", 0xC000, 0x0FFF, nil}, {"RCALL", 0xD000, 0x0FFF, stack},
	{"BRBS", 0xF000, 0x03FF, nil}, {"BRBC", 0xF400, 0x03FF, nil}, {"BLD", 0xF800, 0x01F7, nil}, {"BST", 0xFA00, 0x01F7, nil},
	{"SBRC", 0xFC00, 0x01F7, skipped}, {"SBRS", 0xFE00, 0x01F7, skipped},
}
