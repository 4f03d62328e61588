//go:build cgo && linux

package simavrtest

// departure is a case in which simavr 1.6 differs from the AVR Instruction Set
// Manual (DS40002198). correct changes its result to the manual's.
type departure struct {
	name    string
	why     string
	applies func(before *Vector, w [3]uint16) bool
	correct func(before, after *Vector, w [3]uint16)
}

var departures = []departure{
	{
		name: "skip over ADIW or SBIW",
		why:  "simavr takes 1001 011x xxxx 11xx for a two-word instruction; only LDS, STS, JMP and CALL are",
		applies: func(v *Vector, w [3]uint16) bool {
			return skips(v, w[0]) && w[1]&0xFE0C == 0x960C
		},
		correct: func(before, after *Vector, _ [3]uint16) {
			after.PC, after.Cycles = before.PC+2, 2
		},
	},
	{
		name: "branch beyond either end of flash",
		why:  "the PC has 14 bits on this part and wraps; simavr lets conditional branches leave the flash",
		applies: func(v *Vector, w [3]uint16) bool {
			to := int(v.PC) + 1 + int(int16(w[0]<<6)>>9)
			return w[0]>>11 == 0x1E && (to < 0 || to >= 16384)
		},
		correct: func(_, after *Vector, _ [3]uint16) { after.PC &= 0x3FFF },
	},
	{
		name: "ST through X onto X",
		why:  "the manual calls ST X+ and ST -X of r26 and r27 undefined; we store the register as it was before",
		applies: func(_ *Vector, w [3]uint16) bool {
			d := w[0] >> 4 & 31
			return w[0]&0xFE0F == 0x920D && d>>1 == 13 || w[0]&0xFE0F == 0x920E && d>>1 == 13
		},
		correct: func(before, after *Vector, w [3]uint16) { storeOld(before, after, w, 26) },
	},
}

// storeOld puts the register of a post-increment or pre-decrement store as it was
// before into the window.
func storeOld(before, after *Vector, w [3]uint16, pair int) {
	at := uint16(before.Regs[pair]) | uint16(before.Regs[pair+1])<<8
	if w[0]&3 == 2 {
		at--
	}
	after.Window = before.Window
	after.Window[at-before.Addr] = before.Regs[w[0]>>4&31]
}

// skips reports whether the skip instruction w skips in state v, by the manual.
func skips(v *Vector, w uint16) bool {
	d := v.Regs[w>>4&31]
	switch {
	case w&0xFC00 == 0x1000: // CPSE
		return d == v.Regs[w>>5&16|w&15]
	case w&0xFE08 == 0xFC00: // SBRC
		return d>>(w&7)&1 == 0
	case w&0xFE08 == 0xFE00: // SBRS
		return d>>(w&7)&1 == 1
	case w&0xFF00 == 0x9900: // SBIC, always at GPIOR0 here
		return v.GPIOR[0]>>(w&7)&1 == 0
	case w&0xFF00 == 0x9B00: // SBIS
		return v.GPIOR[0]>>(w&7)&1 == 1
	}
	return false
}

// correct applies the departures to simavr's result and counts them in seen.
func correct(before, after *Vector, w [3]uint16, seen map[string]int) {
	for _, d := range departures {
		if d.applies(before, w) {
			d.correct(before, after, w)
			seen[d.name]++
		}
	}
}
