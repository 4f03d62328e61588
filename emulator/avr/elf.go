package avr

import (
	"bytes"
	"debug/elf"
	"fmt"
	"io"

	"mealtab/compiler/ihex"
)

// Data spaces in avr-gcc's ELF files: virtual addresses carry an offset.
const (
	elfRAM    = 0x800000
	elfEEPROM = 0x810000
	elfFuses  = 0x820000
)

// ReadELF reads the loadable segments of an AVR ELF file: those whose virtual
// address lies in the EEPROM's space go there, all others to flash at their load
// address; fuse, lock and signature spaces are left out.
func ReadELF(r io.ReaderAt) (*Image, error) {
	f, err := elf.NewFile(r)
	if err != nil {
		return nil, err
	}
	if f.Machine != elf.EM_AVR {
		return nil, fmt.Errorf("ELF file is for %v, want %v", f.Machine, elf.EM_AVR)
	}
	img := &Image{}
	for n, p := range f.Progs {
		if p.Type != elf.PT_LOAD || p.Filesz == 0 || p.Vaddr >= elfFuses {
			continue
		}
		if p.Filesz > MaxImageBytes {
			return nil, fmt.Errorf("segment %d has %d bytes, more than any part", n, p.Filesz)
		}
		data := make([]byte, p.Filesz)
		if _, err := p.ReadAt(data, 0); err != nil {
			return nil, fmt.Errorf("segment %d: %w", n, err)
		}
		if p.Vaddr >= elfEEPROM {
			img.EEPROM, err = put(img.EEPROM, uint32(p.Vaddr-elfEEPROM), data)
		} else {
			img.Flash, err = put(img.Flash, uint32(p.Paddr), data)
		}
		if err != nil {
			return nil, fmt.Errorf("segment %d: %w", n, err)
		}
	}
	return img, nil
}

// ReadImage reads a firmware file, ELF or Intel HEX by its first bytes.
func ReadImage(b []byte) (*Image, error) {
	if bytes.HasPrefix(b, []byte(elf.ELFMAG)) {
		return ReadELF(bytes.NewReader(b))
	}
	flash, err := ihex.Read(b)
	if err != nil {
		return nil, err
	}
	return &Image{Flash: flash}, nil
}
