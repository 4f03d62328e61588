package compare_test

import (
	"bytes"
	"encoding/json"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/replay"
	"mealtab/compiler/report/compare"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/table/tablegen"
)

func side(t *testing.T, name string, tab *table.Table) compare.Side {
	t.Helper()
	encoded, err := table.Encode(tab)
	require.NoError(t, err)
	s, err := serving.OfTable(encoded)
	require.NoError(t, err)
	return compare.Side{Name: name, Schedule: s}
}

// amounts is what a table serves in a preset by instant, read off the replay without the package.
func amounts(tab *table.Table, preset int, from, to table.Minute, weight bool) map[table.Minute]int64 {
	if tab.Presets == 0 {
		preset = replay.AllPresets
	} else if preset >= tab.Presets {
		preset = 0
	}
	got := map[table.Minute]int64{}
	for c := replay.New(tab, replay.Options{From: -2880, To: to, Preset: preset}); ; {
		s, more := c.Next()
		if !more {
			return got
		}
		for _, m := range s.Meals {
			if s.At < from {
				continue
			}
			if weight {
				got[s.At] += int64(m.Units) * int64(tab.Wheel.UnitMg)
			} else {
				got[s.At] += int64(m.Pockets)
			}
		}
	}
}

// Random tables against themselves, with one thing changed, and against others: first, last and number of differences are those of
// two lists laid side by side.
func TestRandomTables(t *testing.T) {
	r := rand.New(rand.NewPCG(16, 7))
	equal, differ := 0, 0
	for range 40 {
		a := tablegen.Table(r)
		a.Start = max(a.Start, table.MaxDay-250) // what is compared is short
		a.Through = max(a.Through, a.Start)
		b := *a
		switch r.IntN(4) {
		case 1:
			b.Meals = slices.Clone(b.Meals)
			if len(b.Meals) > 0 {
				b.Meals[0].Portion++
			}
		case 2:
			b.Meals = b.Meals[:max(0, len(b.Meals)-1)]
		case 3:
			b = *tablegen.Table(r)
			b.Start, b.Through, b.PresetUntil = a.Start, a.Through, 0
		}
		one, err := table.Encode(a)
		if err != nil {
			continue
		}
		other, err := table.Encode(&b)
		if err != nil {
			continue
		}
		from := table.Minute(a.Start)*table.MinutesPerDay + table.Minute(r.IntN(50_000))
		got := compare.Schedules(side(t, "a", a), side(t, "b", &b), from)
		ta, err := table.Decode(one)
		require.NoError(t, err)
		tb, err := table.Decode(other)
		require.NoError(t, err)
		weight := ta.Wheel.UnitMg != 0 && tb.Wheel.UnitMg != 0
		require.Equal(t, weight, got.ByWeight)
		for _, p := range got.Presets {
			x, y := amounts(ta, p.Number, from, got.To, weight), amounts(tb, p.Number, from, got.To, weight)
			var want []table.Minute
			for at := range maps.Keys(merged(x, y)) {
				if x[at] != y[at] {
					want = append(want, at)
				}
			}
			slices.Sort(want)
			require.Equal(t, len(want), p.Count)
			if len(want) == 0 {
				require.Nil(t, p.First)
				equal++
				continue
			}
			differ++
			require.Equal(t, want[0], p.First.At)
			require.Equal(t, want[len(want)-1], p.Last)
			require.Equal(t, [2]int64{x[want[0]], y[want[0]]}, p.First.Amounts)
			week := [2]int64{}
			for side, m := range []map[table.Minute]int64{x, y} {
				for at, n := range m {
					if at >= want[0] && at < want[0]+7*1440 {
						week[side] += n
					}
				}
			}
			require.Equal(t, week, p.Week.Amounts)
		}
		if bytes.Equal(one, other) {
			require.True(t, got.Equal())
			require.Contains(t, got.Text(), "feed the same")
		}
	}
	require.Greater(t, equal, 5)
	require.Greater(t, differ, 5)
}

func merged(a, b map[table.Minute]int64) map[table.Minute]int64 {
	all := maps.Clone(a)
	maps.Copy(all, b)
	return all
}

// What is no serving counts too: a table that gives up earlier feeds less on a bad day.
func TestSettings(t *testing.T) {
	base := func() *table.Table {
		return &table.Table{Board: 1, Start: 9862, Through: table.MaxDay, Late: 120, Wheel: table.Wheel{PocketUnits: 62, UnitMg: 100},
			Button: table.Button{Portion: 62, PerHour: 2}, Meals: []table.Meal{{Portion: 180, Parts: []table.Part{{Times: table.Times{List: []uint16{420}}}}}}}
	}
	for name, c := range map[string]struct {
		change func(*table.Table)
		says   string
	}{
		"late":    {func(t *table.Table) { t.Late = 60 }, "a missed serving is still given up to 120 min late by a, 60 min by b"},
		"button":  {func(t *table.Table) { t.Button.PerHour = 1 }, "the feed button gives another amount"},
		"turn":    {func(t *table.Table) { t.Wheel.TurnMillis = 400 }, "the wheel turns by other times"},
		"board":   {func(t *table.Table) { t.Board = 2 }, "they are made for other boards: 1 and 2"},
		"through": {func(t *table.Table) { t.Through = 20000 }, "b ends with 2054-10-04; what the other serves after that is not compared"},
	} {
		t.Run(name, func(t *testing.T) {
			other := base()
			c.change(other)
			r := compare.Schedules(side(t, "a", base()), side(t, "b", other), 0)
			require.False(t, r.Equal())
			require.Contains(t, r.Text(), c.says)
			require.Contains(t, r.Text(), "serve the same")
			var out bytes.Buffer
			require.NoError(t, r.JSON(&out))
			var v struct{ Equal bool }
			require.NoError(t, json.Unmarshal(out.Bytes(), &v))
			require.False(t, v.Equal)
		})
	}
	require.True(t, compare.Schedules(side(t, "a", base()), side(t, "b", base()), 0).Equal())
}
