package compiler

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/ical/calendar"
	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/replay"
	"mealtab/compiler/zone"
)

// planSize compares a table with other ways to write the same meals.
type planSize struct {
	name, zone               string
	table, ics, gzip, stamps int // bytes; stamps: four bytes for each serving of one year
	meals, servingsInOneYear int
	explicit                 bool
}

func householdSizes(t *testing.T) (sizes []planSize) {
	paths, err := filepath.Glob("../testdata/plans/*.toml")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(paths), 24)
	for _, path := range paths {
		src, err := os.ReadFile(path)
		require.NoError(t, err)
		p, ds := reader.Parse(path, src)
		require.False(t, ds.HasErrors(), "%v", ds)
		sizes = append(sizes, sizeOf(t, filepath.Base(path), p))
	}
	return sizes
}

func sizeOf(t *testing.T, name string, p *plan.Plan) planSize {
	z, err := zone.Embedded().Load(p.Zone)
	require.NoError(t, err)
	board, err := profile.Load(p.Board)
	require.NoError(t, err)
	out, err := Compile(p, z, Options{Board: board, From: benchFrom})
	require.NoError(t, err, name)
	var ics, packed bytes.Buffer
	require.NoError(t, calendar.Write(&ics, p, nil, time.Time{}))
	w, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	require.NoError(t, err)
	_, err = w.Write(ics.Bytes())
	require.NoError(t, err)
	require.NoError(t, w.Close())
	s := planSize{name: name, zone: p.Zone, meals: len(p.Meals), table: len(out.Bytes), ics: ics.Len(), gzip: packed.Len()}
	s.explicit = len(out.Explicit) > 0
	year := replay.Options{From: (benchFrom + 366) * 1440, To: (benchFrom + 366 + 365) * 1440, Preset: replay.AllPresets}
	for c := replay.New(out.Table, year); ; s.servingsInOneYear++ {
		if _, ok := c.Next(); !ok {
			break
		}
	}
	s.stamps = 4 * s.servingsInOneYear
	return s
}

// The sizes that the project promises for household plans. Run with -v for the table of sizes.
func TestHouseholdTablesAreSmall(t *testing.T) {
	sizes := householdSizes(t)
	zones := map[string]bool{}
	var bytes []int
	t.Logf("%-28s %-20s %5s %5s %6s %6s %10s", "plan", "zone", "meals", "table", ".ics", "gzip", "timestamps")
	for _, s := range sizes {
		t.Logf("%-28s %-20s %5d %5d %6d %6d %10d", s.name, s.zone, s.meals, s.table, s.ics, s.gzip, s.stamps)
		zones[s.zone] = true
		bytes = append(bytes, s.table)
		assert.False(t, s.explicit, "%s has a closed form", s.name)
	}
	slices.Sort(bytes)
	t.Logf("median %d bytes", bytes[len(bytes)/2])
	assert.LessOrEqual(t, bytes[len(bytes)/2], 44)
	assert.GreaterOrEqual(t, len(zones), 12)
}

func TestOneDailyMealWithoutDaylightSaving(t *testing.T) {
	src := fmt.Sprintf("plan = %q\nzone = \"Asia/Tokyo\"\n[wheel]\npocket = \"6.2 g\"\nturn = \"310 ms\"\n[[meal]]\nname = \"breakfast\"\nportion = \"18 g\"\ndtstart = 2026-12-01T07:10:00\n", "one")
	s := sizeOf(t, "one daily meal", benchPlan(t, []byte(src)))
	assert.LessOrEqual(t, s.table, 20)
}
