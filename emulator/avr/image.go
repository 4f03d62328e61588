package avr

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
)

// Image is what a firmware file holds.
type Image struct {
	Flash  []byte // from address 0; gaps are FF
	EEPROM []byte // from address 0; empty if the file has none
}

// MaxImageBytes bounds what the loaders accept.
const MaxImageBytes = 128 << 10

// put stores data at an offset, growing b with FF.
func put(b []byte, at uint32, data []byte) ([]byte, error) {
	end := uint64(at) + uint64(len(data))
	if end > MaxImageBytes {
		return b, fmt.Errorf("address %#x is beyond %#x", end-1, MaxImageBytes-1)
	}
	for uint64(len(b)) < end {
		b = append(b, 0xFF)
	}
	copy(b[at:], data)
	return b, nil
}

// ReadHex reads Intel HEX: record types 0 (data), 1 (end), 2 and 4 (upper
// address bits), 3 and 5 (start address, ignored). Errors name the line.
func ReadHex(r io.Reader) (*Image, error) {
	img := &Image{}
	sc := bufio.NewScanner(r)
	base := uint32(0)
	line := 0
	for sc.Scan() {
		line++
		text := trimRight(sc.Text())
		if text == "" {
			continue
		}
		rec, err := parseRecord(text)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		switch rec.kind {
		case 0:
			img.Flash, err = put(img.Flash, base+uint32(rec.addr), rec.data)
		case 1:
			return img, nil
		case 2, 4:
			if len(rec.data) != 2 {
				err = fmt.Errorf("address record with %d bytes, want 2", len(rec.data))
				break
			}
			base = uint32(rec.data[0])<<8 | uint32(rec.data[1])
			base <<= map[uint8]uint{2: 4, 4: 16}[rec.kind]
		case 3, 5:
		default:
			err = fmt.Errorf("record type %d is unknown", rec.kind)
		}
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
	}
	if err := sc.Err(); err != nil {
		return nil, fmt.Errorf("line %d: %w", line+1, err)
	}
	return nil, fmt.Errorf("line %d: the end record (:00000001FF) is missing; the file is cut short", line)
}

func trimRight(s string) string {
	for s != "" && (s[len(s)-1] == '\r' || s[len(s)-1] == ' ') {
		s = s[:len(s)-1]
	}
	return s
}

type record struct {
	addr uint16
	kind uint8
	data []byte
}

// parseRecord decodes ":LLAAAATT<data>CC"; all bytes sum to 0 modulo 256.
func parseRecord(s string) (record, error) {
	if s[0] != ':' {
		return record{}, fmt.Errorf("a record starts with ':', not %q", s[0])
	}
	b, err := hex.DecodeString(s[1:])
	if err != nil {
		return record{}, fmt.Errorf("not hexadecimal: %w", err)
	}
	if len(b) < 5 || len(b) != 5+int(b[0]) {
		return record{}, fmt.Errorf("record of %d bytes does not fit its length field", len(b))
	}
	sum := uint8(0)
	for _, v := range b {
		sum += v
	}
	if sum != 0 {
		last := b[len(b)-1]
		return record{}, fmt.Errorf("checksum is %02X, want %02X", last, last-sum)
	}
	return record{addr: uint16(b[1])<<8 | uint16(b[2]), kind: b[3], data: b[4 : len(b)-1]}, nil
}

// Load puts an image into flash (the rest is erased) and, if it has one, into the
// EEPROM. The chip is not reset.
func (m *MCU) Load(img *Image) error {
	if len(img.Flash) > 2*int(m.part.FlashWords) {
		return fmt.Errorf("image of %d bytes does not fit the %d bytes of flash of the %s",
			len(img.Flash), 2*int(m.part.FlashWords), m.part.Name)
	}
	if len(img.EEPROM) > int(m.part.EEPROMSize) {
		return fmt.Errorf("EEPROM image of %d bytes does not fit the %d bytes of the %s",
			len(img.EEPROM), m.part.EEPROMSize, m.part.Name)
	}
	words := m.erasedFlash()
	for i, b := range img.Flash {
		shift := i & 1 * 8
		words[i/2] = words[i/2]&^(0xFF<<shift) | uint16(b)<<shift
	}
	m.setFlash(words)
	copy(m.eeprom[:], img.EEPROM)
	m.nap.reset()
	return nil
}

// LoadWords puts instruction words into flash from address 0.
func (m *MCU) LoadWords(words []uint16) error {
	b := make([]byte, 0, 2*len(words))
	for _, w := range words {
		b = append(b, uint8(w), uint8(w>>8))
	}
	return m.Load(&Image{Flash: b})
}

// erasedFlash returns the words of a chip that was never programmed.
func (m *MCU) erasedFlash() []uint16 {
	return slices.Repeat([]uint16{erased}, int(m.part.FlashWords))
}
