package table

import (
	"bytes"
	"errors"
	"fmt"
	"unicode"
	"unicode/utf8"
)

// A feeder's name stands in the last bytes of the bank whose table is in force: the text, padded with zeros, and a CRC over it and over
// the table's CRC and sequence number. So a name that an older upload left in a bank is none of the table that came after it, and the
// firmware, which never reads it, needs no room for it.
const (
	NameSize = NameText + 2
	NameText = 22 // bytes of UTF-8, at most
)

// EncodeName returns the [NameSize] bytes that name the feeder beside a table, which has its final sequence number.
func EncodeName(name string, tab []byte) ([]byte, error) {
	if err := CheckName(name); err != nil {
		return nil, err
	}
	b := make([]byte, NameText, NameSize)
	copy(b, name)
	check := nameCheck(b, le16(tab[len(tab)-2:]), tab[3])
	return append(b, byte(check), byte(check>>8)), nil
}

// CheckName says why a text is no name for a feeder.
func CheckName(name string) error {
	switch {
	case name == "":
		return errors.New("a feeder's name is not empty")
	case len(name) > NameText:
		return fmt.Errorf("the name %q has %d bytes; a feeder keeps %d (a letter with an accent takes two)", name, len(name), NameText)
	case !utf8.ValidString(name):
		return fmt.Errorf("the name %q is not UTF-8", name)
	}
	for _, r := range name {
		if !unicode.IsPrint(r) {
			return fmt.Errorf("the name %q has a character that cannot be seen", name)
		}
	}
	if trimmed := bytes.TrimSpace([]byte(name)); len(trimmed) != len(name) {
		return fmt.Errorf("the name %q begins or ends with a space", name)
	}
	return nil
}

// DecodeName reads the name from the last bytes of a bank, whose table has this CRC and sequence number. ok is false where there is none.
func DecodeName(b []byte, crc uint16, sequence byte) (name string, ok bool) {
	if len(b) != NameSize || le16(b[NameText:]) != nameCheck(b[:NameText], crc, sequence) {
		return "", false
	}
	name = string(bytes.TrimRight(b[:NameText], "\x00"))
	return name, CheckName(name) == nil
}

func nameCheck(text []byte, crc uint16, sequence byte) uint16 {
	return CRC(append(bytes.Clone(text), byte(crc), byte(crc>>8), sequence))
}
