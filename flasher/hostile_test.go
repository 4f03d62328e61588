package flasher_test

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/flasher/flashertest"
	"mealtab/flasher/frame"
)

// The benchmark throws 5,500,000 frames, and its companion below as many at the host's decoder.
func TestHostileFramesAtTheFirmware(t *testing.T) {
	t.Log(flashertest.Hostile(t, 200_000, 1))
}

func BenchmarkHostileFramesAtTheFirmware(b *testing.B) {
	const frames = 5_500_000
	for b.Loop() {
		b.Log(flashertest.Hostile(b, frames, 2))
		b.ReportMetric(frames, "frames")
	}
}

func TestHostileFramesAtTheHost(t *testing.T) { hostileAtHost(t, 100_000, 1) }

func BenchmarkHostileFramesAtTheHost(b *testing.B) {
	const frames = 5_500_000
	for b.Loop() {
		hostileAtHost(b, frames, 2)
		b.ReportMetric(frames, "frames")
	}
}

// hostileAtHost compares the decoder with a literal reading of RFC 1662, frame by frame.
func hostileAtHost(t testing.TB, frames int, seed uint64) {
	r := rand.New(rand.NewPCG(seed, 7))
	var d frame.Decoder
	var between []byte
	flagged, good := false, 0
	for i := range frames {
		for _, octet := range hostileFrame(r) {
			content, err, done := d.Next(octet)
			if octet != frame.Flag {
				between = append(between, octet)
				if done {
					t.Fatalf("frame %d: it ended without a flag", i)
				}
				continue
			}
			want, ok := literalFrame(between)
			between = between[:0]
			ok = ok && flagged
			flagged = true
			if got := done && err == nil; got != ok || ok && !bytes.Equal(content, want) {
				t.Fatalf("frame %d: decoded % X (%v), RFC 1662 says % X (%v)", i, content, err, want, ok)
			}
			if ok {
				good++
			}
		}
	}
	require.Greater(t, good, frames/20)
}

// hostileFrame is a frame as an enemy or a bad line makes it.
func hostileFrame(r *rand.Rand) []byte {
	content := make([]byte, r.IntN(24))
	if r.IntN(16) == 0 {
		content = make([]byte, r.IntN(160))
	}
	for i := range content {
		content[i] = byte(r.Uint32())
	}
	f := frame.Append(nil, content)
	for range r.IntN(3) {
		at := r.IntN(len(f))
		if r.IntN(2) == 0 {
			f[at] ^= 1 << r.IntN(8)
		} else {
			f = append(f[:at], f[at+1:]...)
		}
	}
	return f
}

var fcsTable = func() (t [256]uint16) {
	for i := range t {
		v := uint16(i)
		for range 8 {
			v = v>>1 ^ v&1*0x8408
		}
		t[i] = v
	}
	return t
}()

// literalFrame reads what lies between two flags by RFC 1662 section 4.2, and checks it by the table of its section C.2.
func literalFrame(between []byte) (content []byte, ok bool) {
	plain := make([]byte, 0, len(between))
	for i := 0; i < len(between); i++ {
		b := between[i]
		if b == 0x7D {
			if i++; i == len(between) {
				return nil, false
			}
			b = between[i] ^ 0x20
		}
		plain = append(plain, b)
	}
	if len(plain) < 4 || len(plain) > frame.MaxContent+2 {
		return nil, false
	}
	fcs := uint16(0xFFFF)
	for _, b := range plain {
		fcs = fcs>>8 ^ fcsTable[byte(fcs)^b]
	}
	return plain[:len(plain)-2], fcs == 0xF0B8
}

// The published table of RFC 1662 section C.2 begins and ends so; the check value of "123456789" is 906E (CRC-16/IBM-SDLC in the public
// catalogues), and a frame with its check leaves F0B8.
func TestPublishedValues(t *testing.T) {
	require.Equal(t, []uint16{0x0000, 0x1189, 0x2312, 0x329B, 0x4624, 0x57AD, 0x6536, 0x74BF}, fcsTable[:8])
	require.Equal(t, []uint16{0x7BC7, 0x6A4E, 0x58D5, 0x495C, 0x3DE3, 0x2C6A, 0x1EF1, 0x0F78}, fcsTable[248:])
	require.Equal(t, uint16(0x906E), frame.FCS([]byte("123456789")))
	_, ok := literalFrame([]byte("123456789\x6E\x90")) // low octet first
	require.True(t, ok)
	require.Equal(t, []byte("\x7E123456789\x6E\x90\x7E"), frame.Append(nil, []byte("123456789")))
	require.Equal(t, []byte{0x7E, 0x7D, 0x5E, 0x7D, 0x5D}, frame.Append(nil, []byte{0x7E, 0x7D})[:5])
}
