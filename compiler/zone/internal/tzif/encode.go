package tzif

import (
	"encoding/binary"
	"fmt"
	"strings"
)

// Encode writes d as a slim file: a version 1 block without transitions (RFC 9636 §4 asks for readers of
// version 2 to pass over it), the 64-bit block, the footer. Types that nothing refers to are left out.
// Parse(Encode(d)) has the same transitions and footer.
func (d *Data) Encode() ([]byte, error) {
	index, types := d.usedTypes()
	chars := designations(types)
	if len(chars) > 256 {
		return nil, fmt.Errorf("designations take %d bytes, an index reaches 255", len(chars))
	}
	b := appendHeader(nil, d.Version, counts{typ: 1, char: 1})
	b = append(b, make([]byte, typeSize+1)...)
	b = appendHeader(b, d.Version, counts{time: len(d.Transitions), typ: len(types), char: len(chars)})
	for _, t := range d.Transitions {
		b = binary.BigEndian.AppendUint64(b, uint64(t.At))
	}
	for _, t := range d.Transitions {
		b = append(b, index[t.Type])
	}
	for _, t := range types {
		b = binary.BigEndian.AppendUint32(b, uint32(int32(t.Seconds)))
		b = append(b, bit(t.DST), byte(strings.Index(chars, t.Abbrev+"\x00")))
	}
	b = append(b, chars...)
	return append(b, "\n"+d.Footer+"\n"...), nil
}

// usedTypes keeps type 0, which holds before the first transition, and every type of a transition.
func (d *Data) usedTypes() (index [maxTypes]byte, types []Type) {
	var used [maxTypes]bool
	used[0] = true
	for _, t := range d.Transitions {
		used[t.Type] = true
	}
	for i, t := range d.Types {
		if used[i] {
			index[i] = byte(len(types))
			types = append(types, t)
		}
	}
	return index, types
}

// designations lets a designation be the tail of another (RFC 9636 §3.2 allows sharing), as MT is of GMT.
func designations(types []Type) string {
	chars := ""
	for _, t := range types {
		if !strings.Contains(chars, t.Abbrev+"\x00") {
			chars += t.Abbrev + "\x00"
		}
	}
	return chars
}

func appendHeader(b []byte, version byte, c counts) []byte {
	b = append(b, magic...)
	b = append(b, version)
	b = append(b, make([]byte, 15)...)
	for _, n := range [6]int{c.isUT, c.isStd, c.leap, c.time, c.typ, c.char} {
		b = binary.BigEndian.AppendUint32(b, uint32(n))
	}
	return b
}

func bit(set bool) byte {
	if set {
		return 1
	}
	return 0
}
