package flasher_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/table"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
)

// named uploads a table with a name, "" for the one that the feeder has, and returns the name that it then has.
func named(t *testing.T, f *flasher.Feeder, tab []byte, name string) string {
	t.Helper()
	p, err := f.Propose(tab)
	require.NoError(t, err)
	if name != "" {
		p.Name = name
	}
	staged, err := p.Stage(nil)
	require.NoError(t, err)
	require.NoError(t, staged.Commit(nil))
	st, err := f.Status()
	require.NoError(t, err)
	held, err := f.Table(st)
	require.NoError(t, err)
	require.True(t, flasher.Holds(held, tab))
	got, err := f.Name(st)
	require.NoError(t, err)
	return got
}

// A name stays through uploads by those who know of none and through a reset; one left in a bank by an older upload never comes back.
func TestNameStays(t *testing.T) {
	for _, board := range []string{"m328-mains", "m328-cells", "m168-mains"} {
		t.Run(board, func(t *testing.T) {
			e := flashertest.New(t, board, nil, nil)
			f := connect(t, e)
			one, two := flashertest.Table(t, board, []uint16{7 * 60}, 0), flashertest.Table(t, board, []uint16{8 * 60}, 0)
			require.Empty(t, named(t, f, one, ""), "a new board has no name")
			require.Equal(t, "kitchen", named(t, f, two, "kitchen"))
			require.Equal(t, "kitchen", named(t, f, one, ""))
			require.Equal(t, "Küche, links, 3. Tür", named(t, f, one, "Küche, links, 3. Tür"))
			require.Equal(t, "Küche, links, 3. Tür", named(t, f, two, ""))
			e.Board.PowerOff()
			e.Repower(time.Second)
			f = connect(t, e)
			require.Equal(t, "Küche, links, 3. Tür", named(t, f, one, ""))

			st, err := f.Status() // by a program that knows nothing of names, twice: both banks have been named
			require.NoError(t, err)
			for _, tab := range [][]byte{two, one} {
				require.NoError(t, f.Upload(tab, st, nil))
				st, err = f.Status()
				require.NoError(t, err)
				name, err := f.Name(st)
				require.NoError(t, err)
				require.Empty(t, name, "a name belongs to the table that it came with")
			}
		})
	}
}

// A table goes onto the feeder whether or not it leaves room for the name, to the byte.
func TestNameAndTheLongestTable(t *testing.T) {
	const board = "m328-mains"
	e := flashertest.New(t, board, nil, nil)
	f := connect(t, e)
	room := f.Map.TableRoom()
	for size := room - table.NameSize - 12; size <= room; size++ {
		tab := flashertest.Table(t, board, []uint16{7 * 60}, size)
		p, err := f.Propose(tab)
		require.NoError(t, err)
		require.Equal(t, len(tab) <= room-table.NameSize, p.NameFits(), len(tab))
		want := ""
		if p.NameFits() {
			want = "kitchen"
		}
		assert.Equal(t, want, named(t, f, tab, "kitchen"), len(tab))
	}
}

func TestNamesThatAreNone(t *testing.T) {
	for _, bad := range []string{"", strings.Repeat("x", table.NameText+1), "tab\tbed", " led", "trailed ", "bad\xff", "zero\x00"} {
		assert.Error(t, table.CheckName(bad), "%q", bad)
	}
	assert.NoError(t, table.CheckName(strings.Repeat("x", table.NameText)))
}

// Any bytes are decoded to a name that may be one, or to none; a name beside its own table comes back.
func TestNameCode(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		tab := flashertest.Table(t, "m328-mains", []uint16{uint16(rapid.IntRange(0, 1439).Draw(r, "at"))}, 0)
		tab = table.WithSequence(tab, byte(rapid.IntRange(0, 255).Draw(r, "sequence")))
		crc := uint16(tab[len(tab)-2]) | uint16(tab[len(tab)-1])<<8
		name := rapid.StringN(0, 30, 40).Draw(r, "name")
		b, err := table.EncodeName(name, tab)
		if err != nil {
			require.Error(t, table.CheckName(name))
			return
		}
		require.Len(t, b, table.NameSize)
		got, ok := table.DecodeName(b, crc, tab[3])
		require.True(t, ok)
		require.Equal(t, name, got)
		_, ok = table.DecodeName(b, crc, tab[3]+1)
		require.False(t, ok, "of another table")
		at := rapid.IntRange(0, len(b)-1).Draw(r, "place")
		b[at] ^= 1 << rapid.IntRange(0, 7).Draw(r, "bit")
		_, ok = table.DecodeName(b, crc, tab[3])
		require.False(t, ok, "a flipped bit")
	})
}
