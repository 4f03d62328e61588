package replay_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/table/tablegen"
)

// Two readings of FORMAT.md must agree: this package's by months, and literal's by dates on the standard library's calendar.
func TestReplayAgreesWithLiteralReading(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 11))
		tab := tablegen.Table(r)
		days := table.Minute(r.IntN(int(table.MaxDay)))
		if r.IntN(3) == 0 {
			days = table.Minute(tab.Start)
		}
		from := days * 1440
		to := from + table.Minute(60+r.IntN(300))*1440
		compare(t, tab, from, to, seed)
	}
}

func compare(t *testing.T, tab *table.Table, from, to table.Minute, seed uint64) {
	want := literal{tab}.due(from, to)
	c := replay.New(tab, replay.Options{From: from, To: to, Preset: replay.AllPresets})
	last, count := table.Minute(-1<<30), 0
	for {
		s, ok := c.Next()
		if !ok {
			break
		}
		require.Greater(t, s.At, last, "seed %d: instants ascend", seed)
		last = s.At
		meals := want[s.At]
		require.Len(t, meals, len(s.Meals), "seed %d at %s: %v", seed, s.At, s.Meals)
		for _, m := range s.Meals {
			require.True(t, meals[m.Meal], "seed %d at %s: meal %d", seed, s.At, m.Meal)
		}
		count++
	}
	require.Len(t, want, count, "seed %d", seed)
}

// Design invariant: whatever the portions and the adjustment, the running total stays within half a pocket of the plan.
func TestRunningTotalStaysWithinHalfAPocket(t *testing.T) {
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 12))
		tab := tablegen.Table(r)
		adjust := 8 + r.IntN(5)
		from := table.Minute(tab.Start) * 1440
		c := replay.New(tab, replay.Options{From: from, To: from + 200*1440, Preset: replay.AllPresets, Adjust: adjust})
		var planned, turned int64 // tenths of a unit
		pocket := 10 * int64(tab.Wheel.PocketUnits)
		for {
			s, ok := c.Next()
			if !ok {
				break
			}
			for _, m := range s.Meals {
				require.GreaterOrEqual(t, m.Pockets, 0)
				planned += int64(m.Units) * int64(adjust)
				turned += int64(m.Pockets) * pocket
			}
			require.LessOrEqual(t, 2*max(planned-turned, turned-planned), pocket, "seed %d at %s", seed, s.At)
		}
	}
}

// A replay that begins later shows the same instants.
func TestReplayFromTheMiddle(t *testing.T) {
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 13))
		tab := tablegen.Table(r)
		start := table.Minute(tab.Start) * 1440
		middle := start + table.Minute(r.IntN(400*1440))
		end := middle + 60*1440
		all := replay.New(tab, replay.Options{From: start - 2880, To: end})
		late := replay.New(tab, replay.Options{From: middle, To: end})
		for {
			a, ok := all.Next()
			if ok && a.At < middle {
				continue
			}
			b, okLate := late.Next()
			require.Equal(t, ok, okLate, "seed %d", seed)
			if !ok {
				break
			}
			require.Equal(t, a.At, b.At, "seed %d", seed)
		}
	}
}
