package tablefile

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/ihex"
	"mealtab/compiler/table"
)

// small is a table of one meal, the sequence number given.
func small(t *testing.T, sequence uint8) []byte {
	b, err := table.Encode(&table.Table{
		Sequence: sequence, Board: 1, Through: table.MaxDay, Late: table.DefaultLate, Wheel: table.Wheel{PocketUnits: 1},
		Button: table.Button{Portion: 1, PerHour: table.DefaultPerHour},
		Meals:  []table.Meal{{Portion: 2, Parts: []table.Part{{Times: table.Times{List: []uint16{420}}}}}},
	})
	require.NoError(t, err)
	return b
}

func hexOf(t *testing.T, image []byte) []byte {
	var out bytes.Buffer
	require.NoError(t, ihex.Write(&out, 0, image))
	return out.Bytes()
}

func TestRead(t *testing.T) {
	tab := small(t, 7)
	for what, src := range map[string][]byte{
		"raw":               tab,
		"image":             Image(tab),
		"image, hex":        hexOf(t, Image(tab)),
		"with what follows": append(Image(tab), 0xFF, 0xFF, 0xFF),
	} {
		got, err := Read(src)
		require.NoError(t, err, what)
		assert.Equal(t, tab, got, what)
		assert.True(t, Is("-", src), what)
	}
}

// eeprom is a whole EEPROM with a table in each bank that gets one.
func eeprom(t *testing.T, size int, banks ...[]byte) []byte {
	m, ok := table.MapFor(size)
	require.True(t, ok)
	img := bytes.Repeat([]byte{ihex.Erased}, size)
	for i, tab := range banks {
		if tab != nil {
			copy(img[m.Bank(i):], Image(tab))
		}
	}
	return img
}

func TestNewerBankIsRead(t *testing.T) {
	for _, c := range []struct {
		a, b  uint8
		newer int
	}{{1, 2, 1}, {2, 1, 0}, {255, 0, 1}, {0, 255, 0}} {
		a, b := small(t, c.a), small(t, c.b)
		got, err := Read(eeprom(t, 1024, a, b))
		require.NoError(t, err)
		assert.Equal(t, [][]byte{a, b}[c.newer], got, "%d, %d", c.a, c.b)
	}
	only := small(t, 3)
	got, err := Read(hexOf(t, eeprom(t, 512, nil, only)))
	require.NoError(t, err)
	assert.Equal(t, only, got)
}

func TestFaults(t *testing.T) {
	torn := Image(small(t, 1))
	torn[len(torn)-1] ^= 1
	later := small(t, 1)
	later[0] = 0x40 | later[0]&0x0F
	half := eeprom(t, 1024)
	half[3] = 0
	for _, c := range []struct {
		src  []byte
		want string
	}{
		{nil, "the file is empty: no table is in it"},
		{later, "this is a table of format version 4; this program reads versions 2 and 3"},
		{make([]byte, 60), "every byte is 00"},
		{make([]byte, 512), "every byte is 00"},
		{eeprom(t, 1024), "every byte is FF, as in memory that was never written"},
		{half, "bank 1: the commit byte is FF, not 5A"},
		{[]byte("\x7fELF\x02\x01\x01\x00"), "this is not a table, which begins with a byte from 20 to 3F (here it is 7F), nor an image of an EEPROM, which has 512 or 1024 bytes (here there are 8)"},
		{[]byte("zone = \"Europe/Lisbon\"\n"), "this is text, not a table"},
		{[]byte{table.Committed, 0x20, 0x1F}, "the table says that it has 31 bytes, 2 are there"},
		{[]byte{table.Committed, 0x01}, "1 bytes are too few"},
		{[]byte{table.Committed, 0x4F, 0xFF}, "format version 4, this program reads versions 2 and 3"},
		{torn, "CRC: found"},
		{[]byte(":00\n"), "hex file, line 1"},
	} {
		_, err := Read(c.src)
		assert.ErrorContains(t, err, c.want, "% X", c.src)
	}
}

// What compile has written may be written again; anything else may be its owner's only copy.
func TestLooks(t *testing.T) {
	tab := small(t, 1)
	later := append([]byte{0x40 | tab[0]&0x0F}, tab[1:]...)
	crc := table.CRC(later[:len(later)-2])
	later[len(later)-2], later[len(later)-1] = byte(crc), byte(crc>>8)
	damaged := bytes.Clone(tab)
	damaged[5] ^= 1
	for what, src := range map[string][]byte{"table": tab, "damaged": damaged, "another version": later, "hex": hexOf(t, Image(tab)), "empty": nil} {
		assert.True(t, Looks(src), what)
	}
	remark := []byte("# " + string(bytes.Repeat([]byte{'x', 0xE9}, 500)))         // frames 800 bytes of this version; an old encoding
	plan := []byte("plan = \"" + string(bytes.Repeat([]byte{'x'}, 108-9)) + "\"") // pl frames 108 bytes of a version 7
	require.Equal(t, 108, framedLength(plan))
	for what, src := range map[string][]byte{"plan": plan, "remark": remark, "zeros": make([]byte, 100), "EEPROM": eeprom(t, 1024, tab), "cut off": tab[:len(tab)-1]} {
		assert.False(t, Looks(src), what)
	}
	for what, src := range map[string][]byte{"table": tab, "another version": later, "hex": hexOf(t, Image(tab)), "EEPROM": eeprom(t, 512, tab)} {
		assert.True(t, Held(src), what)
	}
	for what, src := range map[string][]byte{"plan": plan, "remark": remark, "zeros": make([]byte, 100), "empty": nil, "UTF-16": []byte("\xFF\xFEp\x00")} {
		assert.False(t, Held(src), what)
	}
}

func TestIs(t *testing.T) {
	for name, src := range map[string]string{
		"plan.toml": "\x10\x11", "plan.ics": "", "-": "plan = \"x\"\r\n\tzone", "latin1": "zone = \"Z\xfcrich\"", "utf16": "\xFF\xFEp\x00", "empty": "",
	} {
		assert.False(t, Is(name, []byte(src)), name)
	}
	for name, src := range map[string]string{"a.table": "", "b.HEX": "", "c.eep": "x", "-": ":10\n", "raw": "\x10\x12\x01", "erased": "\xFF\xFF\xFF"} {
		assert.True(t, Is(name, []byte(src)), name)
	}
}

// Any bytes get a table or a reason; what is read as one is what its head says.
func TestAnyBytes(t *testing.T) {
	tab := small(t, 1)
	rapid.Check(t, func(t *rapid.T) {
		src := rapid.SliceOfN(rapid.Byte(), 0, 40).Draw(t, "bytes")
		switch rapid.IntRange(0, 3).Draw(t, "kind") {
		case 1: // a table with a changed byte
			src = bytes.Clone(tab)
			src[rapid.IntRange(0, len(tab)-1).Draw(t, "at")] = rapid.Byte().Draw(t, "byte")
		case 2: // an image with one
			src = append(Image(tab), src...)
			src[rapid.IntRange(0, len(tab)).Draw(t, "at")] = rapid.Byte().Draw(t, "byte")
		case 3: // an EEPROM
			src = append(src, make([]byte, 512-len(src))...)
		}
		got, err := Read(src)
		if err != nil && err.Error() == "" || err == nil && len(got) == 0 {
			t.Fatalf("%X: neither table nor reason", src)
		}
		if decoded, e := table.Decode(got); err == nil && e == nil && len(decoded.Meals) > 0 && (!Held(src) || !Is("", src)) {
			t.Fatalf("%X is a table, and is not taken for one", src)
		}
		Looks(src)
	})
}
