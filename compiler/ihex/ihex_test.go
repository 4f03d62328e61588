package ihex

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Records that textbooks and manuals use to explain the format, quoted from memory; each carries its own sum.
var published = []struct {
	text    string
	address int
	data    []byte
}{
	{":0300300002337A1E", 0x30, []byte{0x02, 0x33, 0x7A}},
	{":10010000214601360121470136007EFE09D2190140", 0x100, []byte{0x21, 0x46, 0x01, 0x36, 0x01, 0x21, 0x47, 0x01, 0x36, 0x00, 0x7E, 0xFE, 0x09, 0xD2, 0x19, 0x01}},
	{":0B0010006164647265737320676170A7", 0x10, []byte("address gap")},
}

func TestPublishedRecords(t *testing.T) {
	for _, p := range published {
		image, err := Read([]byte(p.text + "\r\n:00000001FF\r\n"))
		require.NoError(t, err, p.text)
		assert.Equal(t, p.data, image[p.address:], p.text)
		for _, b := range image[:p.address] {
			assert.Equal(t, byte(Erased), b)
		}
		var out bytes.Buffer
		require.NoError(t, Write(&out, p.address, p.data))
		assert.Equal(t, p.text+"\n:00000001FF\n", out.String())
	}
}

func TestExtendedAddresses(t *testing.T) {
	// Segment 0100 puts address 0000 at 01000; linear 0000 puts it back to the start.
	image, err := Read([]byte(":020000020100FB\n:01000000AB54\n:020000040000FA\n:01000000CD32\n:00000001FF\n"))
	require.NoError(t, err)
	require.Len(t, image, 0x1001)
	assert.Equal(t, byte(0xCD), image[0])
	assert.Equal(t, byte(0xAB), image[0x1000])
}

func TestFaults(t *testing.T) {
	for _, c := range []struct{ src, want string }{
		{"", "line 0: the end-of-file record :00000001FF is missing"},
		{":0300300002337A1E\n", "line 1: the end-of-file record"},
		{":0300300002337A1F\n:00000001FF\n", "line 1: checksum 1F, should be 1E"},
		{"0300300002337A1E\n", `line 1: a record begins with a colon, not "0"`},
		{":0300300002337A1\n", "even number of hexadecimal digits"},
		{":0400300002337A1D\n", "line 1: the record has 8 bytes, its length byte does not match"},
		{":00\n", "length byte does not match"},
		{":00000006FA\n", "record type 06 does not exist"},
		{":00000001FF\n:00000001FF\n", "line 2: a record after the end-of-file record"},
		{":0100000455A6\n", "an extended address has 2 bytes, not 1"},
		{":020000040001F9\n:01000000AB54\n:00000001FF\n", "line 2: address 10000 is beyond FFFF"},
		{":01000000AB54\n:01000000CD32\n:00000001FF\n", "line 2: address 0 is given twice, as AB and as CD"},
	} {
		_, err := Read([]byte(c.src))
		assert.ErrorContains(t, err, c.want, c.src)
	}
	assert.ErrorContains(t, Write(&bytes.Buffer{}, MaxImage, []byte{1}), "do not fit")
}

func TestIs(t *testing.T) {
	assert.True(t, Is([]byte("\r\n:00000001FF")))
	assert.False(t, Is([]byte("plan = 1")))
	assert.False(t, Is([]byte(":-)")))
	assert.False(t, Is(nil))
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		address := rapid.IntRange(0, 2000).Draw(t, "address")
		data := rapid.SliceOfN(rapid.Byte(), 0, 600).Draw(t, "data")
		var out bytes.Buffer
		require.NoError(t, Write(&out, address, data))
		image, err := Read(out.Bytes())
		require.NoError(t, err)
		if len(data) > 0 {
			assert.Equal(t, data, image[address:])
		}
		// Any single changed digit is noticed: the sum catches every error of one byte.
		text := out.String()
		i := rapid.IntRange(0, len(text)-1).Draw(t, "place")
		if digit := text[i]; strings.IndexByte("0123456789ABCDEF", digit) >= 0 {
			other := "0123456789ABCDEF"[rapid.IntRange(0, 15).Draw(t, "digit")]
			if other != digit {
				_, err := Read([]byte(text[:i] + string(other) + text[i+1:]))
				assert.Error(t, err)
			}
		}
	})
}

func FuzzRead(f *testing.F) {
	f.Add(":0300300002337A1E\n:00000001FF\n")
	f.Add(":020000020100FB\n:01000000AB54\n:00000001FF\n")
	f.Fuzz(func(t *testing.T, src string) {
		image, err := Read([]byte(src))
		if err != nil {
			return
		}
		var out bytes.Buffer
		require.NoError(t, Write(&out, 0, image))
		again, err := Read(out.Bytes())
		require.NoError(t, err)
		assert.True(t, bytes.Equal(image, again))
	})
}
