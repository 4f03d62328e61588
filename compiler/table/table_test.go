package table_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/compiler/table/tablegen"
)

// Check values from the published catalogue entry CRC-16/IBM-SDLC (also RFC 1662 appendix C.2's algorithm).
func TestCRCCheckValues(t *testing.T) {
	assert.Equal(t, uint16(0x906E), table.CRC([]byte("123456789")))
	assert.Equal(t, uint16(0x0000), table.CRC(nil), "nothing: FFFF inverted")
}

func TestDecodeInvertsEncode(t *testing.T) {
	for seed := range uint64(20_000) {
		want := tablegen.Table(rand.New(rand.NewPCG(seed, 1)))
		b, err := table.Encode(want)
		require.NoError(t, err, "seed %d", seed)
		got, err := table.Decode(b)
		require.NoError(t, err, "seed %d: % X", seed, b)
		if !assert.ObjectsAreEqual(want, got) {
			require.Equal(t, want, got, "seed %d: % X", seed, b)
		}
		again, err := table.Encode(got)
		require.NoError(t, err)
		require.Equal(t, b, again, "seed %d", seed)
	}
}

// The CRC has Hamming distance 4 at these lengths, so no flip of one bit may pass.
func TestEveryBitFlipIsRefused(t *testing.T) {
	b, err := table.Encode(tablegen.Table(rand.New(rand.NewPCG(7, 7))))
	require.NoError(t, err)
	for i := range len(b) * 8 {
		b[i/8] ^= 1 << (i % 8)
		_, err := table.Decode(b)
		assert.Error(t, err, "bit %d", i)
		b[i/8] ^= 1 << (i % 8)
	}
}

func TestListingLeavesNoByteOut(t *testing.T) {
	for seed := range uint64(500) {
		b, err := table.Encode(tablegen.Table(rand.New(rand.NewPCG(seed, 2))))
		require.NoError(t, err)
		lines, err := table.Listing(b)
		require.NoError(t, err)
		next := 0
		for _, l := range lines {
			require.Equal(t, next, l.Offset, "seed %d: %s", seed, l.Field)
			require.NotEmpty(t, l.Text)
			next += len(l.Bytes)
		}
		require.Equal(t, len(b), next)
	}
}

func TestWithSequence(t *testing.T) {
	b, err := table.Encode(tablegen.Table(rand.New(rand.NewPCG(3, 3))))
	require.NoError(t, err)
	got, err := table.Decode(table.WithSequence(b, 200))
	require.NoError(t, err)
	assert.Equal(t, uint8(200), got.Sequence)
}

// reframe gives arbitrary bytes a valid frame, so that fuzzing reaches the fields behind the CRC.
func reframe(b []byte) []byte {
	out := append([]byte{table.Version<<4 | byte((len(b)+4)>>8), byte(len(b) + 4)}, b...)
	crc := table.CRC(out)
	return append(out, byte(crc), byte(crc>>8))
}

func FuzzDecode(f *testing.F) {
	for seed := range uint64(30) {
		b, err := table.Encode(tablegen.Table(rand.New(rand.NewPCG(seed, 4))))
		require.NoError(f, err)
		f.Add(b[2 : len(b)-2])
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		_, _ = table.Decode(b)
		if len(b) < 6 || len(b) > table.MaxSize-4 {
			return
		}
		framed := reframe(b)
		tab, err := table.Decode(framed)
		if err != nil {
			var e *table.Error
			require.ErrorAs(t, err, &e)
			require.NotEmpty(t, e.Field)
			return
		}
		canonical, err := table.Encode(tab)
		require.NoError(t, err)
		require.LessOrEqual(t, len(canonical), len(framed), "read % X, written % X", framed, canonical)
		again, err := table.Decode(canonical)
		require.NoError(t, err)
		require.Equal(t, tab, again)
	})
}
