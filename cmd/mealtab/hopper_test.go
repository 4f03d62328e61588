//go:build !race

// See upload_test.go.

package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/flasher"
)

// What a feeder has served since its hopper was filled, by the plan and by hand. By hand: 1400 g less three pockets of
// breakfast and two by hand, of 6 g each, are 1370 g: 76 servings of 18 g, two a day from the supper of 1 December on, so
// that the last is the breakfast of 8 January and the supper of that day finds 2 g.
func TestHopperOfEmulatedFeeder(t *testing.T) {
	t.Parallel()
	before, after := files(t)
	port, typed := emulated(t, before, "--start", "2026-12-01T06:59", "--speed", "20")
	require.Eventually(t, func() bool {
		out, _ := mealtab(t, 0, "", "journal", "--port", port)
		return strings.Contains(out, "served, 3 pockets")
	}, 10*time.Minute, 200*time.Millisecond)
	typed("speed 1")
	mealtab(t, 0, "", "serve", "--port", port, "--portion", "12 g")
	require.Eventually(t, func() bool {
		out, _ := mealtab(t, 0, "", "journal", "--port", port)
		return strings.Contains(out, "served by hand, 2 pockets")
	}, 10*time.Minute, 200*time.Millisecond)

	hopper := func(plan, filled string) string {
		out, _ := mealtab(t, 0, "", "hopper", plan, "--port", port, "--filled", filled, "--holds", "1.4 kg", "--now", "2026-12-01T07:10")
		return strings.Join(strings.Fields(out), " ")
	}
	out := hopper(before, "2026-12-01T06:00")
	for _, want := range []string{
		"really served 1 serving by the plan and 1 by hand since: 5 pockets, 30 g left now 1.37 kg",
		"lasts 38 days: 76 whole servings, the last on Fri 2027-01-08 07:00",
		"empty Fri 2027-01-08 18:30",
		"refill by Thu 2027-01-07 06:30",
		"fresh 38 days are long for food in a hopper",
	} {
		require.Contains(t, out, want)
	}
	require.NotContains(t, out, "another table")
	require.Contains(t, hopper(before, "2026-12-01T07:09"), "really served 0 servings by the plan and 0 by hand since: 0 pockets, 0 g left now 1.4 kg")
	require.Contains(t, hopper(after, "2026-12-01T06:00"), "the feeder holds another table than this plan's: what follows is reckoned by the feeder's really served 1 serving")

	// A table without weights says nothing of grams.
	bare := filepath.Join(t.TempDir(), "bare.toml")
	src := strings.NewReplacer("[wheel]\npocket = \"6 g\"\n", "", "18 g", "3 pockets").Replace(planBefore)
	require.NoError(t, os.WriteFile(bare, []byte(src), 0o644))
	other, _ := emulated(t, bare)
	_, errs := mealtab(t, 1, "", "hopper", before, "--port", other, "--filled", "2026-12-01", "--holds", "1.4 kg", "--now", "2026-12-01T07:10")
	require.Contains(t, errs, "the table on the feeder does not say what a pocket holds: upload the plan")
}

// A feeder that remembers two records knows nothing of what it served before the first: there the plan stands in. Filled at
// midnight, by the plan two servings of 18 g come before the breakfast of the 2nd, which is remembered as two pockets.
func TestHopperBeforeTheFeedersMemory(t *testing.T) {
	a := newApp(nil, nil, nil)
	a.now = time.Date(2026, 12, 2, 12, 0, 0, 0, time.UTC)
	l, err := a.loadPlan("p.toml", []byte(planBefore))
	require.NoError(t, err)
	c, err := a.compile(l, compileOptions{})
	require.NoError(t, err)
	at := func(day, hour int) table.Minute {
		return moment.Minute(time.Date(2026, 12, day, hour, 0, 0, 0, time.UTC))
	}
	h := &filling{c: c, at: at(1, 0), full: 100 * units.Gram}
	history := []table.History{{At: at(2, 7), Event: table.EventServed, Value: 2}, {At: at(2, 8), Event: table.EventMissed, Value: 1}}
	for slots, want := range map[int]units.Milligrams{2: 100 - 36 - 12, 300: 100 - 12} {
		s := &session{Feeder: &flasher.Feeder{}, a: a}
		s.ID.HistorySlots = slots
		left := s.leftInHopper(h, h.input(c.Table, replay.AllPresets, 10), history)
		require.Equal(t, want*units.Gram, left)
		out := strings.Join(strings.Fields(s.out.String()), " ")
		require.Contains(t, out, "really served 1 serving by the plan and 0 by hand since: 2 pockets, 12 g; 1 serving missed")
		require.Equal(t, slots == 2, strings.Contains(out, "not remembered what was served before Wed 2026-12-02 07:00, where the feeder's memory begins: by the plan 2 servings, 36 g"), out)
	}
}
