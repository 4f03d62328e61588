package avr

// flagTab gives Z, N, C and S=N for a nine-bit result: bits 0–7 the byte, bit 8
// the carry or borrow.
var flagTab = func() (t [512]uint8) {
	for x := range t {
		if x&0xFF == 0 {
			t[x] |= flagZ
		}
		if x&0x80 != 0 {
			t[x] |= flagN | flagS
		}
		if x&0x100 != 0 {
			t[x] |= flagC
		}
	}
	return t
}()

// flagsAdd returns sreg after x = d + r (+ carry).
func flagsAdd(s, d, r, x uint32) uint32 {
	v := (x ^ d) & (x ^ r) >> 4 & flagV
	return s&(flagI|flagT) | uint32(flagTab[x&0x1FF]) ^ (v | v<<1) | (d^r^x)<<1&flagH
}

// flagsSub returns sreg after x = d − r (− carry).
func flagsSub(s, d, r, x uint32) uint32 {
	v := (d ^ r) & (d ^ x) >> 4 & flagV
	return s&(flagI|flagT) | uint32(flagTab[x&0x1FF]) ^ (v | v<<1) | (d^r^x)<<1&flagH
}

// flagsSubC is flagsSub for SBC, SBCI and CPC, which can only clear Z.
func flagsSubC(s, d, r, x uint32) uint32 {
	return flagsSub(s, d, r, x) &^ (^s & flagZ)
}

// flagsLogic returns sreg after a logical operation with result x: V=0, C and H kept.
func flagsLogic(s, x uint32) uint32 {
	return s&(flagI|flagT|flagH|flagC) | uint32(flagTab[x&0xFF])
}

// flagsShift returns sreg after a right shift of d to x: C is the bit shifted
// out, V = N xor C, so S = C always; H kept.
func flagsShift(s, d, x uint32) uint32 {
	c := d & 1
	n := x >> 7 & 1
	return s&(flagI|flagT|flagH) | uint32(flagTab[x&0xFF])&flagZ | c | n<<2 | (n^c)<<3 | c<<4
}

// flagsWord returns sreg after ADIW or SBIW: h is bit 15 before, x the 17-bit
// result; h and bit 15 after decide V and C.
func flagsWord(s, v, c, x uint32) uint32 {
	f := s&(flagI|flagT|flagH) | c | v<<3
	if x&0xFFFF == 0 {
		f |= flagZ
	}
	n := x >> 15 & 1
	return f | n<<2 | (n^v)<<4
}

// flagsProduct returns sreg after a multiplication to x; c is its carry in bit 0.
func flagsProduct(s, x, c uint32) uint32 {
	s = s&^(flagC|flagZ) | c&1
	if x&0xFFFF == 0 {
		s |= flagZ
	}
	return s
}

// pointer returns the 16-bit register pair at register i.
func (m *MCU) pointer(i uint) uint16 {
	return uint16(m.mem[i&31]) | uint16(m.mem[i&31+1])<<8
}

// setPointer sets the pair at register i.
func (m *MCU) setPointer(i uint, v uint16) {
	m.mem[i&31], m.mem[i&31+1] = uint8(v), uint8(v>>8)
}
