package asm

import (
	"fmt"
	"strconv"
	"strings"
)

// form is one way to write an instruction: the base word and where operands go.
// Operand kinds, one letter each:
//
//	d r   register 0–31 into dddd d / r rrrr       h   register 16–31
//	a A   register 16–23 into ddd / rrr            p q even register, as pairs dddd / rrrr
//	w     24, 26, 28, 30 (ADIW)                    D   one register as d and r both
//	K     8-bit immediate                          6   6-bit immediate
//	I     I/O address 0–63                         i   I/O address 0–31
//	b     bit number in bits 0–2                   s   bit number in bits 4–6
//	j     branch to a label, 7 bits                J   12 bits
//	L     data address or target in a second word  Q   pointer with displacement
//	M     register 16–31 as rrrr (MULS)            P   a fixed pointer word, kept in the name
type form struct {
	base uint16
	kind string
}

// encode is the second pass.
func (a *assembler) encode(s statement) ([]uint16, error) {
	if s.mnemonic == ".word" {
		var words []uint16
		for _, o := range s.operands {
			v, err := a.eval(o)
			if err != nil {
				return nil, err
			}
			words = append(words, uint16(v))
		}
		return words, nil
	}
	key, operands := pointerForm(s)
	f, ok := forms[key]
	if !ok {
		return nil, fmt.Errorf("no instruction %q", key)
	}
	if len(operands) != len(f.kind) {
		return nil, fmt.Errorf("%s takes %d operands, not %d", s.mnemonic, len(f.kind), len(operands))
	}
	words := []uint16{f.base}
	for n, o := range operands {
		if err := a.operand(&words, s.addr, f.kind[n], o); err != nil {
			return nil, fmt.Errorf("%s, operand %d: %w", s.mnemonic, n+1, err)
		}
	}
	return words, nil
}

// pointerForm moves X, Y+ and so on from the operands into the instruction's name.
func pointerForm(s statement) (string, []string) {
	key := s.mnemonic
	var rest []string
	for _, o := range s.operands {
		p := strings.ToUpper(strings.ReplaceAll(o, " ", ""))
		switch p {
		case "X", "Y", "Z", "X+", "Y+", "Z+", "-X", "-Y", "-Z":
			key += " " + p
			continue
		}
		if len(p) > 2 && (p[0] == 'Y' || p[0] == 'Z') && p[1] == '+' {
			key += " " + p[:1] + "+q"
			o = strings.TrimSpace(strings.SplitN(o, "+", 2)[1])
		}
		rest = append(rest, o)
	}
	return key, rest
}

func register(text string) (uint16, error) {
	if len(text) > 1 && (text[0] == 'r' || text[0] == 'R') {
		if n, err := strconv.ParseUint(text[1:], 10, 8); err == nil && n < 32 {
			return uint16(n), nil
		}
	}
	return 0, fmt.Errorf("%q is not a register r0 to r31", text)
}

// operand puts one operand into the instruction.
func (a *assembler) operand(words *[]uint16, at uint16, kind byte, text string) error {
	if strings.IndexByte("drhaApqwDM", kind) >= 0 {
		n, err := register(text)
		if err != nil {
			return err
		}
		bits, err := registerBits(kind, n)
		(*words)[0] |= bits
		return err
	}
	v, err := a.eval(text)
	if err != nil {
		return err
	}
	if kind == 'L' {
		*words = append(*words, uint16(v))
		return nil
	}
	bits, err := constantBits(kind, v, at)
	(*words)[0] |= bits
	return err
}

func registerBits(kind byte, n uint16) (uint16, error) {
	bad := fmt.Errorf("r%d cannot be used here", n)
	switch kind {
	case 'd':
		return n << 4, nil
	case 'r':
		return n&16<<5 | n&15, nil
	case 'D':
		return n<<4 | n&16<<5 | n&15, nil
	case 'h', 'M':
		if n < 16 {
			return 0, bad
		}
		if kind == 'M' {
			return n & 15, nil
		}
		return n & 15 << 4, nil
	case 'a', 'A':
		if n < 16 || n > 23 {
			return 0, bad
		}
		if kind == 'A' {
			return n & 7, nil
		}
		return n & 7 << 4, nil
	case 'p', 'q':
		if n&1 != 0 {
			return 0, bad
		}
		if kind == 'q' {
			return n / 2, nil
		}
		return n / 2 << 4, nil
	default: // w
		if n < 24 || n&1 != 0 {
			return 0, bad
		}
		return (n - 24) / 2 << 4, nil
	}
}

// constantBits checks the range of a constant and places it.
func constantBits(kind byte, v int64, at uint16) (uint16, error) {
	limits := map[byte][2]int64{'K': {-128, 255}, '6': {0, 63}, 'I': {0x20, 0x5F}, 'i': {0x20, 0x3F},
		'b': {0, 7}, 's': {0, 7}, 'j': {-64, 63}, 'J': {-2048, 2047}, 'Q': {0, 63}}
	if kind == 'j' || kind == 'J' {
		v -= int64(at) + 1
	}
	if l := limits[kind]; v < l[0] || v > l[1] {
		return 0, fmt.Errorf("%d is outside %d to %d", v, l[0], l[1])
	}
	u := uint16(v)
	switch kind {
	case 'K':
		return u&0xF0<<4 | u&15, nil
	case '6':
		return u&0x30<<2 | u&15, nil
	case 'I':
		u -= 0x20
		return u&0x30<<5 | u&15, nil
	case 'i':
		return (u - 0x20) << 3, nil
	case 's':
		return u << 4, nil
	case 'j':
		return u & 0x7F << 3, nil
	case 'J':
		return u & 0xFFF, nil
	case 'Q':
		return u&0x20<<8 | u&0x18<<7 | u&7, nil
	}
	return u, nil
}
