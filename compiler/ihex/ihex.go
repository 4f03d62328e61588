// Package ihex reads and writes Intel HEX, the text form in which device programmers take memory images.
//
// In: text of records ":LLAAAATT…CC" (Intel, Hexadecimal Object File Format Specification, Revision A, 1988). Out: an
// image of at most 64 KiB, and back. LL counts data bytes, AAAA is their address, TT the record type, CC the two's
// complement of the sum of all bytes before it. Addresses are those of the memory the image is for.
package ihex

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"io"
	"strings"
)

// Record types of the specification.
const (
	typeData            = 0
	typeEndOfFile       = 1
	typeExtendedSegment = 2 // bits 4-19 of the addresses that follow
	typeStartSegment    = 3 // entry point of a program: of no use here
	typeExtendedLinear  = 4 // bits 16-31 of the addresses that follow
	typeStartLinear     = 5 // entry point of a program: of no use here
)

const (
	recordSize = 16 // data bytes in a written record; every programmer takes it
	// MaxImage is the largest image: more than the memories of any board, small enough to be allocated for any input.
	MaxImage = 1 << 16
	// Erased is the value of memory that no record mentions.
	Erased = 0xFF
)

// Write writes data as an image that begins at address. It fails when the image would not fit into 64 KiB.
func Write(w io.Writer, address int, data []byte) error {
	if address < 0 || address+len(data) > MaxImage {
		return fmt.Errorf("hex image: %d bytes from address %d on do not fit into %d", len(data), address, MaxImage)
	}
	var b bytes.Buffer
	for at := 0; at < len(data); at += recordSize {
		record(&b, typeData, address+at, data[at:min(at+recordSize, len(data))])
	}
	record(&b, typeEndOfFile, 0, nil)
	_, err := w.Write(b.Bytes())
	return err
}

func record(b *bytes.Buffer, kind byte, address int, data []byte) {
	raw := append([]byte{byte(len(data)), byte(address >> 8), byte(address), kind}, data...)
	raw = append(raw, checksum(raw))
	fmt.Fprintf(b, ":%X\n", raw)
}

// checksum makes the sum of a record's bytes zero modulo 256.
func checksum(raw []byte) byte {
	var sum byte
	for _, v := range raw {
		sum += v
	}
	return -sum
}

// Is reports whether src looks like Intel HEX: its first character that is not white space is a record mark with a
// hexadecimal digit behind it.
func Is(src []byte) bool {
	src = bytes.TrimLeft(src, " \t\r\n")
	return len(src) > 1 && src[0] == ':' && strings.IndexByte("0123456789abcdefABCDEF", src[1]) >= 0
}

// Read returns the image from address 0 to the last byte given; what no record mentions is [Erased]. The error names
// the line and what is wrong with it.
func Read(src []byte) ([]byte, error) {
	r := &reader{}
	for line := range strings.Lines(string(src)) {
		r.line++
		text := strings.TrimSpace(line)
		if text == "" {
			continue
		}
		if r.ended {
			return nil, r.fail("a record after the end-of-file record")
		}
		if err := r.record(text); err != nil {
			return nil, err
		}
	}
	if !r.ended {
		return nil, r.fail("the end-of-file record :00000001FF is missing; the file may be cut off")
	}
	return r.image, nil
}

type reader struct {
	line  int
	base  int
	image []byte
	given []bool
	ended bool
}

func (r *reader) fail(format string, args ...any) error {
	return fmt.Errorf("hex file, line %d: %s", r.line, fmt.Sprintf(format, args...))
}

func (r *reader) record(text string) error {
	if text[0] != ':' {
		return r.fail("a record begins with a colon, not %q", text[:1])
	}
	raw, err := hex.DecodeString(text[1:])
	if err != nil {
		return r.fail("a record is an even number of hexadecimal digits")
	}
	if len(raw) < 5 || len(raw) != 5+int(raw[0]) {
		return r.fail("the record has %d bytes, its length byte does not match", len(raw))
	}
	body, given := raw[:len(raw)-1], raw[len(raw)-1]
	if want := checksum(body); want != given {
		return r.fail("checksum %02X, should be %02X", given, want)
	}
	return r.take(raw[3], int(raw[1])<<8|int(raw[2]), body[4:])
}

func (r *reader) take(kind byte, address int, data []byte) error {
	switch kind {
	case typeData:
		return r.data(address, data)
	case typeEndOfFile:
		r.ended = true
	case typeExtendedSegment, typeExtendedLinear:
		if len(data) != 2 {
			return r.fail("an extended address has 2 bytes, not %d", len(data))
		}
		r.base = (int(data[0])<<8 | int(data[1])) << 4
		if kind == typeExtendedLinear {
			r.base <<= 12
		}
	case typeStartSegment, typeStartLinear:
	default:
		return r.fail("record type %02X does not exist", kind)
	}
	return nil
}

func (r *reader) data(address int, data []byte) error {
	from := r.base + address
	to := from + len(data)
	if to > MaxImage {
		return r.fail("address %X is beyond %X, the most an image may have", to-1, MaxImage-1)
	}
	for len(r.image) < to {
		r.image, r.given = append(r.image, Erased), append(r.given, false)
	}
	for i, v := range data {
		if r.given[from+i] && r.image[from+i] != v {
			return r.fail("address %X is given twice, as %02X and as %02X", from+i, r.image[from+i], v)
		}
		r.image[from+i], r.given[from+i] = v, true
	}
	return nil
}
