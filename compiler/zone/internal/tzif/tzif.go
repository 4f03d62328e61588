// Package tzif reads and writes the binary time zone files of RFC 9636 (which replaces RFC 8536).
//
// In: the bytes of one file, "fat" or "slim". Out: its 64-bit transitions in Unix seconds, its local time
// types in seconds east of UTC, and the POSIX TZ string of its footer, not yet parsed. Only the version 2+
// data block is used: the 32-bit block of version 1 ends in 2038 and has no footer.
package tzif

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
)

// Type is a local time type record (RFC 9636 §3.2).
type Type struct {
	Seconds int // east of UTC
	DST     bool
	Abbrev  string
}

// Transition is the instant from which Type holds.
type Transition struct {
	At   int64 // Unix seconds
	Type uint8 // index into Data.Types
}

// Data is the content of one file. Types has at least one element; Types[0] holds before the first transition.
type Data struct {
	Version     byte // '2', '3' or '4'
	Transitions []Transition
	Types       []Type
	Footer      string // POSIX TZ string, without its newlines; "" when the file has none
}

// The sizes of RFC 9636 §3.1 and §3.2, in bytes.
const (
	headerSize  = 44
	typeSize    = 6
	timeSize    = 8 // version 2+
	timeSizeV1  = 4
	leapSize    = 12 // version 2+
	leapSizeV1  = 8
	magic       = "TZif"
	maxTypes    = 256 // a type index is one octet
	maxUTOffset = 26*3600 - 1
	minUTOffset = -25*3600 + 1
)

// counts are the six four-octet fields of a header, in the file's order.
type counts struct{ isUT, isStd, leap, time, typ, char int }

// Parse reads one file. It refuses version 1 files, files with leap-second records (the "right" flavour,
// whose times are not Unix time), offsets outside the −25 h … +26 h of RFC 9636 §3.2, and anything whose
// counts and indices do not fit together. It keeps no reference to b.
func Parse(b []byte) (*Data, error) {
	version, first, rest, err := parseHeader(b)
	if err != nil {
		return nil, err
	}
	if version < '2' {
		return nil, errors.New("TZif version 1 has no 64-bit times and no footer; version 2 or later is needed")
	}
	skip := blockSize(first, timeSizeV1, leapSizeV1)
	if skip > int64(len(rest)) {
		return nil, fmt.Errorf("version 1 block: %d bytes promised, %d left", skip, len(rest))
	}
	_, c, rest, err := parseHeader(rest[skip:])
	if err != nil {
		return nil, fmt.Errorf("second header: %w", err)
	}
	if size := blockSize(c, timeSize, leapSize); size > int64(len(rest)) {
		return nil, fmt.Errorf("version 2 block: %d bytes promised, %d left", size, len(rest))
	}
	if err := c.check(); err != nil {
		return nil, err
	}
	d := &Data{Version: version}
	rest, err = d.parseBlock(rest, c)
	if err != nil {
		return nil, err
	}
	d.Footer, err = parseFooter(rest)
	return d, err
}

func parseHeader(b []byte) (version byte, c counts, rest []byte, err error) {
	if len(b) < headerSize || string(b[:len(magic)]) != magic {
		return 0, c, nil, fmt.Errorf("not a TZif file: no %q header", magic)
	}
	field := func(i int) int { return int(binary.BigEndian.Uint32(b[20+4*i:]) & 0x7fffffff) }
	c = counts{isUT: field(0), isStd: field(1), leap: field(2), time: field(3), typ: field(4), char: field(5)}
	return b[4], c, b[headerSize:], nil
}

// blockSize cannot overflow: each count has 31 bits.
func blockSize(c counts, timeSize, leapSize int64) int64 {
	return int64(c.time)*(timeSize+1) + int64(c.typ)*typeSize + int64(c.char) +
		int64(c.leap)*leapSize + int64(c.isStd) + int64(c.isUT)
}

func (c counts) check() error {
	switch {
	case c.leap != 0:
		return fmt.Errorf("%d leap-second records: this is the \"right\" flavour of the data, whose times are not Unix times", c.leap)
	case c.typ == 0 || c.typ > maxTypes:
		return fmt.Errorf("typecnt %d is outside 1 to %d", c.typ, maxTypes)
	case c.char == 0:
		return errors.New("charcnt is 0: no time zone designations")
	case c.isUT != 0 && c.isUT != c.typ:
		return fmt.Errorf("isutcnt %d is neither 0 nor typecnt %d", c.isUT, c.typ)
	case c.isStd != 0 && c.isStd != c.typ:
		return fmt.Errorf("isstdcnt %d is neither 0 nor typecnt %d", c.isStd, c.typ)
	}
	return nil
}

// parseBlock reads a data block whose size has been checked and returns what follows it. The indicators of
// standard/wall and UT/local are left alone: they serve only TZ strings without rules, which no file has.
func (d *Data) parseBlock(b []byte, c counts) (rest []byte, err error) {
	times, b := cut(b, c.time*timeSize)
	indices, b := cut(b, c.time)
	types, b := cut(b, c.typ*typeSize)
	chars, b := cut(b, c.char)
	if err := d.parseTypes(types, chars); err != nil {
		return nil, err
	}
	if err := d.parseTransitions(times, indices); err != nil {
		return nil, err
	}
	return b[c.isStd+c.isUT:], nil
}

func cut(b []byte, n int) (head, tail []byte) { return b[:n], b[n:] }

func (d *Data) parseTypes(types, chars []byte) error {
	d.Types = make([]Type, len(types)/typeSize)
	for i := range d.Types {
		rec := types[i*typeSize:]
		seconds := int(int32(binary.BigEndian.Uint32(rec)))
		if seconds < minUTOffset || seconds > maxUTOffset {
			return fmt.Errorf("local time type %d: offset %d s is outside −25 h to +26 h", i, seconds)
		}
		if rec[4] > 1 {
			return fmt.Errorf("local time type %d: isdst is %d, not 0 or 1", i, rec[4])
		}
		abbrev, err := designation(chars, int(rec[5]))
		if err != nil {
			return fmt.Errorf("local time type %d: %w", i, err)
		}
		d.Types[i] = Type{Seconds: seconds, DST: rec[4] == 1, Abbrev: abbrev}
	}
	return nil
}

func designation(chars []byte, at int) (string, error) {
	if at >= len(chars) {
		return "", fmt.Errorf("designation index %d is outside charcnt %d", at, len(chars))
	}
	for end := at; end < len(chars); end++ {
		switch b := chars[end]; {
		case b == 0:
			return string(chars[at:end]), nil
		case b <= ' ' || b > '~': // designations are printed; RFC 9636 §3.2 wants letters, digits, + and -
			return "", fmt.Errorf("designation %q has characters that cannot be printed", chars[at:end+1])
		}
	}
	return "", fmt.Errorf("designation at %d has no NUL at its end", at)
}

func (d *Data) parseTransitions(times, indices []byte) error {
	d.Transitions = make([]Transition, len(indices))
	for i, index := range indices {
		at := int64(binary.BigEndian.Uint64(times[i*timeSize:]))
		if int(index) >= len(d.Types) {
			return fmt.Errorf("transition %d: type %d is outside typecnt %d", i, index, len(d.Types))
		}
		if i > 0 && at <= d.Transitions[i-1].At {
			return fmt.Errorf("transition %d: time %d does not come after %d", i, at, d.Transitions[i-1].At)
		}
		d.Transitions[i] = Transition{At: at, Type: index}
	}
	return nil
}

func parseFooter(b []byte) (string, error) {
	if len(b) == 0 || b[0] != '\n' {
		return "", errors.New("footer: no newline before the TZ string")
	}
	text, _, found := strings.Cut(string(b[1:]), "\n")
	if !found {
		return "", errors.New("footer: no newline after the TZ string")
	}
	return text, nil
}
