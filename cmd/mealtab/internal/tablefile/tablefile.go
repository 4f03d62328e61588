// Package tablefile finds an alarm table in a file: the raw bytes, an EEPROM image, or an image in Intel HEX.
//
// In: a file's bytes. Out: the bytes of one table, or why there is none. The places of the banks are those of
// compiler/table's EEPROM map.
package tablefile

import (
	"bytes"
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
	return bytes.IndexFunc(src, control) >= 0 || bytes.Count(src, []byte{ihex.Erased}) > len(src)/2
}

// control reports what no text file holds, and every table does: its first byte is 10 to 1F.
func control(r rune) bool {
	return r < ' ' && !strings.ContainsRune("\t\n\r\f", r) && r != utf8.RuneError
}

// Read returns the table in a file. Of an image with two valid banks it is the newer one.
func Read(src []byte) ([]byte, error) {
	if !ihex.Is(src) {
		if len(src) > 0 && src[0]>>4 == table.Version {
			return src, nil
		}
		return image(src)
	}
	img, err := ihex.Read(src)
	if err != nil {
		return nil, err
	}
	return image(img)
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
