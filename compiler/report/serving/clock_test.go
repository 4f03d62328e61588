package serving

import (
	"bufio"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/lower"
	"mealtab/compiler/zone"
)

const (
	from = 1767225600 // 2026-01-01T00:00Z
	to   = 4102444800 // 2100-01-01T00:00Z
)

// The clock of a table must show what the IANA data say, at every change and a minute before, in every canonical zone.
func TestTableClockIsTheZone(t *testing.T) {
	list, err := os.Open("../../../testdata/zone/canonical.txt")
	require.NoError(t, err)
	defer list.Close()
	db, n := zone.Embedded(), 0
	for lines := bufio.NewScanner(list); lines.Scan(); {
		name := lines.Text()
		z, err := db.Load(name)
		if err != nil {
			continue // the list may name zones of another release; how many there must be is checked below
		}
		tz, err := lower.ZoneTable(z, from, to)
		if err != nil {
			continue // offsets that are no quarter hours; none today
		}
		clock := newTableClock(&tz)
		n++
		for _, c := range z.Transitions(from, to) {
			for _, at := range []int64{c.At - 60, c.At} {
				require.Equal(t, z.At(at).Seconds, clock.At(at).Seconds, "%s at %d", name, at)
			}
			for _, nominal := range []int64{c.At + int64(c.Before.Seconds), c.At + int64(c.After.Seconds), c.At + int64(c.Before.Seconds) - 1800, c.At + int64(c.After.Seconds) + 1800} {
				want, wantKind := z.Resolve(nominal)
				got, kind := clock.Resolve(nominal)
				require.Equal(t, want, got, "%s: nominal %d", name, nominal)
				require.Equal(t, wantKind == zone.Gap, kind == zone.Gap, "%s: nominal %d", name, nominal)
			}
		}
	}
	assert.GreaterOrEqual(t, n, 440, "canonical zones compared")
}

func TestOffsetWords(t *testing.T) {
	assert.Equal(t, "WEST (UTC+1)", OffsetWords("WEST", 3600))
	assert.Equal(t, "WET (UTC)", OffsetWords("WET", 0))
	assert.Equal(t, "NST (UTC-3:30)", OffsetWords("NST", -12600))
	assert.Equal(t, "UTC+5:45", OffsetWords("UTC+5:45", 20700))
}
