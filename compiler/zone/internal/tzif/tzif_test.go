package tzif

import (
	"bytes"
	"encoding/binary"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// file assembles a version 2+ file octet by octet, as RFC 9636 §3 lays it out.
type file struct {
	version           byte
	v1                []byte   // data block of version 1
	v1Counts          [6]int   // isutcnt, isstdcnt, leapcnt, timecnt, typecnt, charcnt
	counts            [6]int   // of the second header
	times             []int64  //
	indices           []byte   //
	types             [][3]int // utoff, isdst, desigidx
	chars             string
	leaps, isStd, isU []byte
	tail              string
}

func (f file) bytes() []byte {
	b := header(f.version, f.v1Counts)
	b = append(b, f.v1...)
	b = append(b, header(f.version, f.counts)...)
	for _, t := range f.times {
		b = binary.BigEndian.AppendUint64(b, uint64(t))
	}
	b = append(b, f.indices...)
	for _, t := range f.types {
		b = binary.BigEndian.AppendUint32(b, uint32(int32(t[0])))
		b = append(b, byte(t[1]), byte(t[2]))
	}
	b = append(b, f.chars...)
	b = append(b, f.leaps...)
	b = append(b, f.isStd...)
	b = append(b, f.isU...)
	return append(b, f.tail...)
}

func header(version byte, counts [6]int) []byte {
	b := append([]byte("TZif"), version)
	b = append(b, make([]byte, 15)...)
	for _, n := range counts {
		b = binary.BigEndian.AppendUint32(b, uint32(n))
	}
	return b
}

// honolulu is the example of RFC 9636 appendix B.2 (from memory; its transitions are those of the IANA data).
func honolulu() file {
	return file{
		version:  '2',
		v1Counts: [6]int{0, 0, 0, 1, 1, 4},
		v1:       append(append(make([]byte, 4), 0), append(make([]byte, 6), "HST\x00"...)...),
		counts:   [6]int{6, 6, 0, 7, 6, 20},
		times:    []int64{-2334101314, -1157283000, -1155436200, -880198200, -769395600, -765376200, -712150200},
		indices:  []byte{1, 2, 1, 3, 4, 1, 5},
		types:    [][3]int{{-37886, 0, 0}, {-37800, 0, 4}, {-34200, 1, 8}, {-34200, 1, 12}, {-34200, 1, 16}, {-36000, 0, 4}},
		chars:    "LMT\x00HST\x00HDT\x00HWT\x00HPT\x00",
		isStd:    []byte{0, 0, 0, 0, 1, 0},
		isU:      []byte{0, 0, 0, 0, 1, 0},
		tail:     "\nHST10\n",
	}
}

// jerusalem is the truncated version 3 file of RFC 9636 appendix B.3 (from memory): its first block is empty.
func jerusalem() file {
	return file{
		version: '3',
		counts:  [6]int{0, 0, 0, 1, 1, 4},
		times:   []int64{2145916800},
		indices: []byte{0},
		types:   [][3]int{{7200, 0, 0}},
		chars:   "IST\x00",
		tail:    "\nIST-2IDT,M3.4.4/26,M10.5.0\n",
	}
}

func TestParseFatFile(t *testing.T) {
	d, err := Parse(honolulu().bytes())
	require.NoError(t, err)
	assert.Equal(t, byte('2'), d.Version)
	assert.Equal(t, "HST10", d.Footer)
	assert.Equal(t, []Type{{-37886, false, "LMT"}, {-37800, false, "HST"}, {-34200, true, "HDT"}, {-34200, true, "HWT"},
		{-34200, true, "HPT"}, {-36000, false, "HST"}}, d.Types)
	assert.Equal(t, Transition{-2334101314, 1}, d.Transitions[0])
	assert.Equal(t, Transition{-712150200, 5}, d.Transitions[6])
}

func TestParseTruncatedVersion3(t *testing.T) {
	d, err := Parse(jerusalem().bytes())
	require.NoError(t, err)
	assert.Equal(t, &Data{Version: '3', Transitions: []Transition{{2145916800, 0}}, Types: []Type{{7200, false, "IST"}},
		Footer: "IST-2IDT,M3.4.4/26,M10.5.0"}, d)
}

// A designation may be the tail of another and an index may point into the middle (RFC 9636 §3.2).
func TestDesignationsShareBytes(t *testing.T) {
	f := jerusalem()
	f.counts[4], f.counts[5] = 2, 5
	f.types = [][3]int{{0, 0, 0}, {0, 1, 1}}
	f.chars = "XIST\x00"
	d, err := Parse(f.bytes())
	require.NoError(t, err)
	assert.Equal(t, []Type{{0, false, "XIST"}, {0, true, "IST"}}, d.Types)
	b, err := d.Encode()
	require.NoError(t, err)
	assert.Equal(t, 1, bytes.Count(b, []byte("IST\x00")))
}

// One broken field each; the error names it.
func TestParseErrors(t *testing.T) {
	for _, c := range []struct {
		want  string
		spoil func(f *file)
	}{
		{`TZif version 1 has no 64-bit times`, func(f *file) { f.version = 0 }},
		{`version 1 block: 4294967294 bytes promised`, func(f *file) { f.v1Counts = [6]int{0, 0x7fffffff, 0, 0, 0, 0x7fffffff} }},
		{`second header: not a TZif file`, func(f *file) { f.v1Counts[5] = 3 }},
		{`version 2 block:`, func(f *file) { f.counts[3] = 0x7fffffff }},
		{`27 leap-second records`, func(f *file) { f.counts[2] = 27; f.leaps = make([]byte, 27*12) }},
		{`typecnt 0 is outside 1 to 256`, func(f *file) { f.counts = [6]int{0, 0, 0, 0, 0, 1} }},
		{`charcnt is 0`, func(f *file) { f.counts[5] = 0 }},
		{`isutcnt 5 is neither 0 nor typecnt 6`, func(f *file) { f.counts[0] = 5 }},
		{`isstdcnt 1 is neither 0 nor typecnt 6`, func(f *file) { f.counts[1] = 1 }},
		{`local time type 2: offset 93600 s is outside`, func(f *file) { f.types[2][0] = 93600 }},
		{`local time type 2: offset -2147483648 s is outside`, func(f *file) { f.types[2][0] = -1 << 31 }},
		{`local time type 5: isdst is 2`, func(f *file) { f.types[5][1] = 2 }},
		{`local time type 0: designation index 20 is outside charcnt 20`, func(f *file) { f.types[0][2] = 20 }},
		{`local time type 4: designation at 16 has no NUL`, func(f *file) { f.chars = f.chars[:19] + "X" }},
		{`local time type 0: designation "L\x1b" has`, func(f *file) { f.chars = "L\x1bT" + f.chars[3:] }},
		{`transition 3: type 6 is outside typecnt 6`, func(f *file) { f.indices[3] = 6 }},
		{`transition 1: time -2334101314 does not come after -2334101314`, func(f *file) { f.times[1] = f.times[0] }},
		{`footer: no newline before`, func(f *file) { f.tail = "HST10\n" }},
		{`footer: no newline before`, func(f *file) { f.tail = "" }},
		{`footer: no newline after`, func(f *file) { f.tail = "\nHST10" }},
	} {
		f := honolulu()
		c.spoil(&f)
		_, err := Parse(f.bytes())
		assert.ErrorContains(t, err, c.want)
	}
}

// A file cut anywhere is refused: nothing in it is optional.
func TestParseCutFiles(t *testing.T) {
	whole := honolulu().bytes()
	for n := range whole {
		_, err := Parse(whole[:n])
		assert.Error(t, err, "%d of %d bytes", n, len(whole))
	}
}

func TestEncodeKeepsMeaning(t *testing.T) {
	for _, f := range []file{honolulu(), jerusalem()} {
		d, err := Parse(f.bytes())
		require.NoError(t, err)
		b, err := d.Encode()
		require.NoError(t, err)
		again, err := Parse(b)
		require.NoError(t, err)
		assert.Equal(t, d, again)
	}
}

func TestEncodeDropsUnusedTypes(t *testing.T) {
	d := &Data{Version: '2', Types: []Type{{0, false, "AAA"}, {60, false, "BBB"}, {120, false, "CCC"}},
		Transitions: []Transition{{5, 2}}, Footer: "CCC-0:02"}
	b, err := d.Encode()
	require.NoError(t, err)
	again, err := Parse(b)
	require.NoError(t, err)
	assert.Equal(t, []Type{{0, false, "AAA"}, {120, false, "CCC"}}, again.Types)
	assert.Equal(t, []Transition{{5, 1}}, again.Transitions)
}

func TestEncodeRefusesTooManyDesignations(t *testing.T) {
	d := &Data{Version: '2'}
	for i := range 30 {
		d.Types = append(d.Types, Type{Abbrev: strings.Repeat(string(rune('A'+i)), 9)})
		d.Transitions = append(d.Transitions, Transition{int64(i), uint8(i)})
	}
	_, err := d.Encode()
	assert.ErrorContains(t, err, "designations take 300 bytes")
}

// Arbitrary bytes are read or refused, and what is read survives being written.
func FuzzParse(f *testing.F) {
	f.Add(honolulu().bytes())
	f.Add(jerusalem().bytes())
	f.Add([]byte("TZif"))
	f.Fuzz(func(t *testing.T, b []byte) {
		d, err := Parse(b)
		if err != nil {
			return
		}
		slim, err := d.Encode()
		if err != nil {
			return // more designations than an index reaches, once they are laid end to end
		}
		again, err := Parse(slim)
		if err != nil {
			t.Fatalf("written file is refused: %v", err)
		}
		if len(again.Transitions) != len(d.Transitions) || again.Footer != d.Footer || again.Types[0] != d.Types[0] {
			t.Fatalf("%+v became %+v", d, again)
		}
		for i, tr := range d.Transitions {
			if got := again.Transitions[i]; got.At != tr.At || again.Types[got.Type] != d.Types[tr.Type] {
				t.Fatalf("transition %d: %+v became %+v", i, tr, got)
			}
		}
	})
}
