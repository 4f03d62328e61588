// Package tablefile finds an alarm table in a file: the raw bytes, an EEPROM image, or an image in Intel HEX.
//
// In: a file's bytes. Out: the bytes of one table, or why there is none. The places of the banks are those of
// compiler/table's EEPROM map.
package tablefile

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"path"
	"strings"
	"unicode/utf8"

	"mealtab/compiler/ihex"
	"mealtab/compiler/table"
)

// Is reports whether a file is a table rather than a plan: by its name where that ends in a way we know, else because
// plans are text and tables are not.
func Is(name string, src []byte) bool {
	switch strings.ToLower(path.Ext(name)) {
	case ".toml", ".ics":
		return false
	case ".table", ".hex", ".eep", ".bin":
		return true
	}
	if ihex.Is(src) {
		return true
	}
	if bytes.HasPrefix(src, []byte("\xFF\xFE")) || bytes.HasPrefix(src, []byte("\xFE\xFF")) {
		return false // UTF-16 text: the reader of plans says so
	}
	return hasControl(src) || bytes.Count(src, []byte{ihex.Erased}) > len(src)/2
}

// hasControl reports bytes that no text file holds, and every table does: the code of its board is one.
func hasControl(src []byte) bool { return bytes.IndexFunc(src, control) >= 0 }

func control(r rune) bool {
	return r < ' ' && !strings.ContainsRune("\t\n\r\f", r) && r != utf8.RuneError
}

// Read returns the table in a file. Of an image with two valid banks it is the newer one. The error says what the file is
// instead, as far as its bytes tell.
func Read(src []byte) ([]byte, error) {
	if ihex.Is(src) {
		img, err := ihex.Read(src)
		if err != nil {
			return nil, err
		}
		return image(img)
	}
	_, whole := table.MapFor(len(src))
	switch {
	case len(src) == 0:
		return nil, errors.New("the file is empty: no table is in it")
	case table.Reads(src[0]) && !isText(src) && !uniform(src):
		return src, nil
	case uniform(src) || isText(src):
	case src[0] == table.Committed || whole:
		return image(src)
	case framed(src) && framedLength(src) == len(src):
		return nil, fmt.Errorf("this is a table of format version %d; this program reads versions %d and %d", src[0]>>4, table.OldestVersion, table.Version)
	}
	return nil, errors.New(foreign(src))
}

// foreign says why bytes are no table nor an image of an EEPROM.
func foreign(src []byte) string {
	switch {
	case uniform(src) && src[0] == ihex.Erased:
		return "no table is in the file: every byte is FF, as in memory that was never written"
	case isText(src):
		return "this is text, not a table; the name of a plan ends in .toml or .ics"
	case uniform(src):
		return fmt.Sprintf("no table is in the file: every byte is %02X", src[0])
	}
	var sizes []string
	for _, m := range table.Maps() {
		sizes = append(sizes, fmt.Sprint(m.Size))
	}
	return fmt.Sprintf("this is not a table, which begins with a byte from %X0 to %XF (here it is %02X), nor an image of an EEPROM, which has %s bytes (here there are %d)",
		table.OldestVersion, table.Version, src[0], strings.Join(sizes, " or "), len(src))
}

// uniform reports whether all bytes are the same.
func uniform(src []byte) bool { return bytes.Count(src, src[:1]) == len(src) }

func isText(src []byte) bool { return utf8.Valid(src) && !hasControl(src) }

// Looks reports whether a file has the form of what compile writes, whole or damaged, of this version or another: a file of
// that kind can be made again. So can an empty one.
func Looks(src []byte) bool {
	return len(src) == 0 || ihex.Is(src) || framed(src) && (table.Reads(src[0]) && hasControl(src) || framedLength(src) == len(src) && crcHolds(src))
}

// Held reports whether a file that was given as a plan is a table, or an image with one, whatever its name.
func Held(src []byte) bool {
	if !Is("", src) {
		return false
	}
	if ihex.Is(src) || framed(src) && crcHolds(src) {
		return true
	}
	tab, err := Read(src)
	return err == nil && framed(tab)
}

// framed reports whether bytes begin as a table of any version does: with a length that they have. Every version begins with
// four bits of version and twelve of length, and ends with the CRC.
func framed(b []byte) bool {
	n := framedLength(b)
	return n > crcSize && n <= len(b)
}

// crcSize is that of the CRC-16 at the end of a table.
const crcSize = 2

// crcHolds checks the CRC of a framed table.
func crcHolds(b []byte) bool {
	body := framedLength(b) - crcSize
	return table.CRC(b[:body]) == binary.LittleEndian.Uint16(b[body:])
}

func framedLength(b []byte) int {
	if len(b) < 2 {
		return 0
	}
	return int(b[0]&0x0F)<<8 | int(b[1])
}

// Image returns the beginning of an EEPROM whose first bank holds a table: the commit byte, then the table.
func Image(tab []byte) []byte { return append([]byte{table.Committed}, tab...) }

// image looks into both banks where the image is a whole EEPROM, else into the first.
func image(img []byte) ([]byte, error) {
	starts := []int{0}
	if m, ok := table.MapFor(len(img)); ok {
		starts = []int{m.Bank(0), m.Bank(1)}
	}
	var best []byte
	var problems []error
	for i, start := range starts {
		tab, err := bank(img[min(start, len(img)):])
		switch {
		case err != nil:
			problems = append(problems, fmt.Errorf("bank %d: %w", i, err))
		case best == nil || newer(tab, best):
			best = tab
		}
	}
	if best == nil {
		return nil, fmt.Errorf("no table found: %w", errors.Join(problems...))
	}
	return best, nil
}

// bank takes the table out of a bank: commit byte, table, whatever follows.
func bank(b []byte) ([]byte, error) {
	if len(b) == 0 {
		return nil, errors.New("it is empty")
	}
	if b[0] != table.Committed {
		return nil, fmt.Errorf("the commit byte is %02X, not %02X", b[0], table.Committed)
	}
	n, err := table.Length(b[1:])
	if err != nil {
		return nil, err
	}
	if n > len(b)-1 {
		return nil, fmt.Errorf("the table says that it has %d bytes, %d are there", n, len(b)-1)
	}
	tab := b[1 : 1+n]
	if _, err := table.Decode(tab); err != nil {
		return nil, err
	}
	return tab, nil
}

// newer compares sequence numbers by difference, so that they may wrap.
func newer(a, b []byte) bool { return int8(sequence(a)-sequence(b)) > 0 }

func sequence(tab []byte) byte { return tab[3] }
