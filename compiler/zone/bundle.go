package zone

import (
	_ "embed"
	"encoding/binary"
	"io/fs"
	"sort"
	"strings"
)

//go:generate go run ./zonegen -from /usr/share/zoneinfo -to zoneinfo.bin

// The whole of the data as one read-only string: nothing is unpacked when the program starts, and loading a
// zone touches its name's record and its own few hundred bytes.
//
//go:embed zoneinfo.bin
var embedded string

// bundle is the file written by zonegen. All numbers are big-endian.
//
//	 0  8  "zones 1\n"
//	 8  8  release, padded with NUL
//	16  4  number of names n
//	20  n × 40, sorted by name:
//	        0  32  name, padded with NUL
//	       32   4  offset of its TZif data from the start of the file; links have their target's
//	       36   4  size of the TZif data
type bundle string

const (
	bundleHeaderSize = 20
	bundleRecordSize = 40
	bundleNameSize   = 32
)

func (b bundle) version() string { return strings.TrimRight(string(b[8:16]), "\x00") }

func (b bundle) count() int { return int(b.number(16)) }

func (b bundle) number(at int) uint32 { return binary.BigEndian.Uint32([]byte(b[at : at+4])) }

func (b bundle) recordAt(i int) int { return bundleHeaderSize + i*bundleRecordSize }

func (b bundle) name(i int) string {
	at := b.recordAt(i)
	return strings.TrimRight(string(b[at:at+bundleNameSize]), "\x00")
}

func (b bundle) names() []string {
	names := make([]string, b.count())
	for i := range names {
		names[i] = b.name(i)
	}
	return names
}

func (b bundle) read(zone string) ([]byte, error) {
	i := sort.Search(b.count(), func(i int) bool { return b.name(i) >= zone })
	if i == b.count() || b.name(i) != zone {
		return nil, fs.ErrNotExist
	}
	at := b.recordAt(i) + bundleNameSize
	offset, size := b.number(at), b.number(at+4)
	return []byte(b[offset : offset+size]), nil
}
