package avr

import (
	"fmt"
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
