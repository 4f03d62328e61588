// Package frame is the serial line's format: octet-stuffed frames with a 16-bit frame check sequence (RFC 1662,
// sections 4 and C.2, without address and control fields), and the messages they carry.
//
// In: a request or response as code, sequence number and payload. Out: the bytes for the line, and back. Numbers of
// more than one byte are little-endian. The package knows no ports and no time; standard library only.
package frame

import "errors"

// Octets of RFC 1662 section 4.1 and 4.2.
const (
	Flag   = 0x7E
	Escape = 0x7D
	Invert = 0x20 // exclusive-or of an escaped octet
)

// FCS is the 16-bit frame check sequence of RFC 1662 section C.2. Check value: FCS("123456789") = 906E.
func FCS(data []byte) uint16 { return ^fcsAdd(fcsStart, data) }

// Initial and good value of RFC 1662 section C.2.
const (
	fcsStart = 0xFFFF
	fcsGood  = 0xF0B8
)

func fcsAdd(fcs uint16, data []byte) uint16 {
	for _, b := range data {
		fcs ^= uint16(b)
		for range 8 {
			if fcs&1 != 0 {
				fcs = fcs>>1 ^ 0x8408
			} else {
				fcs >>= 1
			}
		}
	}
	return fcs
}

// Append appends one frame with the given content to dst: flag, stuffed content and FCS, flag.
func Append(dst, content []byte) []byte {
	fcs := FCS(content)
	dst = append(dst, Flag)
	for _, b := range content {
		dst = appendOctet(dst, b)
	}
	dst = appendOctet(dst, byte(fcs))
	dst = appendOctet(dst, byte(fcs>>8))
	return append(dst, Flag)
}

func appendOctet(dst []byte, b byte) []byte {
	if b == Flag || b == Escape {
		return append(dst, Escape, b^Invert)
	}
	return append(dst, b)
}

// Reasons for which a frame is thrown away (RFC 1662 section 4.3).
var (
	ErrFCS   = errors.New("frame check sequence does not match")
	ErrAbort = errors.New("frame aborted by its sender")
	ErrShort = errors.New("frame shorter than a message")
	ErrLong  = errors.New("frame longer than any message")
)

// Decoder finds frames in a stream of octets. The zero value is ready: octets before the first flag are
// ignored.
type Decoder struct {
	content []byte
	inside  bool // a flag has been seen
	escaped bool
	long    bool
}

// Next takes one octet. When it ends a frame, done is true and content is what the frame carried, valid until the
// next call, or err says why it was thrown away. Empty frames (two flags in a row) are not reported.
func (d *Decoder) Next(b byte) (content []byte, err error, done bool) {
	switch {
	case b == Flag:
		return d.end()
	case !d.inside:
	case b == Escape:
		d.escaped = true
	case len(d.content) >= MaxContent+fcsSize:
		d.long = true
	default:
		if d.escaped {
			b ^= Invert
			d.escaped = false
		}
		d.content = append(d.content, b)
	}
	return nil, nil, false
}

const fcsSize = 2

func (d *Decoder) end() (content []byte, err error, done bool) {
	content, escaped, long := d.content, d.escaped, d.long
	*d = Decoder{content: d.content[:0], inside: true}
	switch {
	case escaped:
		return nil, ErrAbort, true
	case long:
		return nil, ErrLong, true
	case len(content) == 0:
		return nil, nil, false
	case len(content) < minContent+fcsSize:
		return nil, ErrShort, true
	case fcsAdd(fcsStart, content) != fcsGood:
		return nil, ErrFCS, true
	}
	return content[:len(content)-fcsSize], nil, true
}
