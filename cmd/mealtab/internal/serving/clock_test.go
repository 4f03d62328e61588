package serving

import (
	"bufio"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/lower"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

const (
	from = 1767225600 // 2026-01-01T00:00Z
	to   = 4102444800 // 2100-01-01T00:00Z
)

// The clock of a table must show what the IANA data say, at every change and a minute before, in every canonical zone.
func TestTableClockIsTheZone(t *testing.T) {
	list, err := os.Open("../../../../testdata/zone/canonical.txt")
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
		clock, err := newTableClock(&tz)
		require.NoError(t, err, name)
		n++
		for _, c := range z.Transitions(from, to) {
			for _, at := range []int64{c.At - 60, c.At} {
				require.Equal(t, z.At(at).Seconds, clock.At(at).Seconds, "%s at %d", name, at)
			}
			for _, nominal := range []int64{c.At + int64(c.Before.Seconds), c.At + int64(c.After.Seconds), c.At + int64(c.Before.Seconds) - 1800, c.At + int64(c.After.Seconds) + 1800} {
				want, wantKind := z.Resolve(nominal)
				got, kind := clock.Resolve(nominal)
				require.Equal(t, want, got, "%s: nominal %d", name, nominal)
				require.Equal(t, wantKind, kind, "%s: nominal %d", name, nominal)
			}
		}
	}
	assert.GreaterOrEqual(t, n, 440, "canonical zones compared")
}

// POSIX writes offsets west and counts weekdays from Sunday (IEEE Std 1003.1, Base Definitions 8.3).
func TestPosix(t *testing.T) {
	lisbon := table.Zone{DST: &table.DST{Shift: 4, Start: table.Transition{Month: 3, Week: 5, Weekday: 6, Minutes: 60}, End: table.Transition{Month: 10, Week: 5, Weekday: 6, Minutes: 120}}}
	assert.Equal(t, "<std>0:00:00<dst>-1:00:00,M3.5.0/1:00:00,M10.5.0/2:00:00", posix(&lisbon))
	assert.Equal(t, "<std>-5:45:00", posix(&table.Zone{Standard: 23}))
	assert.Equal(t, "<std>3:30:00", posix(&table.Zone{Standard: -14}))
}

func TestOffsetWords(t *testing.T) {
	assert.Equal(t, "WEST (UTC+1)", OffsetWords("WEST", 3600))
	assert.Equal(t, "WET (UTC)", OffsetWords("WET", 0))
	assert.Equal(t, "NST (UTC-3:30)", OffsetWords("NST", -12600))
	assert.Equal(t, "UTC+5:45", OffsetWords("UTC+5:45", 20700))
}

// A table may carry any zone whose offsets stay within a day of UTC, the bound of POSIX.
func TestClockOfAnyZone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		transition := rapid.Custom(func(t *rapid.T) table.Transition {
			return table.Transition{Month: rapid.IntRange(1, 12).Draw(t, "month"), Week: rapid.IntRange(1, 5).Draw(t, "week"),
				Weekday: rapid.IntRange(0, 6).Draw(t, "weekday"), Minutes: rapid.IntRange(-8192, 8191).Draw(t, "minutes")}
		})
		z := table.Zone{Standard: rapid.Int8Range(-64, 63).Draw(t, "standard"),
			DST: &table.DST{Shift: rapid.Int8Range(-32, 32).Draw(t, "shift"), Start: transition.Draw(t, "start"), End: transition.Draw(t, "end")}}
		if _, err := newTableClock(&z); err != nil {
			t.Fatal(err)
		}
	})
}
