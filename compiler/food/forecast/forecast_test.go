package forecast

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// daily is a table in UTC with meals every day at these hours; portions and pocket in grams.
func daily(pocket uint32, portions map[int]uint32) *table.Table {
	t := &table.Table{Through: table.MaxDay, Start: 9831, Wheel: table.Wheel{PocketUnits: pocket, UnitMg: 1000}}
	for hour := range 24 {
		if g, ok := portions[hour]; ok {
			t.Meals = append(t.Meals, table.Meal{Portion: g, Parts: []table.Part{{Times: table.Times{List: []uint16{uint16(60 * hour)}}}}})
		}
	}
	return t
}

// minute is an instant of UTC.
func minute(t testing.TB, text string) table.Minute {
	at, err := time.Parse("2006-01-02T15:04", text)
	require.NoError(t, err)
	return table.MinuteOf(at.Unix())
}

// 40 g a day in pockets of 6 g: worked by hand. From 2026-12-01 the wheel gives 3, 4, 3, 3, 4, 3, … pockets of (18, 22, 18,
// 22, …) g: 18 → 3; 22 → 4 (remainder −2); 16 → 3 (−2); 20 → 3 (+2); 20 → 3 (+2); 24 → 4 (0), and again.
func TestPredict(t *testing.T) {
	in := Input{Table: daily(6, map[int]uint32{7: 18, 18: 22}), Left: 100 * units.Gram, From: minute(t, "2026-12-01T00:00"), Preset: replay.AllPresets}
	f := Predict(in)
	// 18 + 24 + 18 + 18 + 18 = 96 g; the next 24 g are not there.
	assert.Equal(t, 5, f.Servings)
	assert.Equal(t, 96*units.Gram, f.Given)
	assert.Equal(t, minute(t, "2026-12-03T07:00"), f.Last)
	assert.Equal(t, minute(t, "2026-12-03T18:00"), f.Empty)
	assert.Equal(t, minute(t, "2026-12-02T06:00"), f.Refill)
	assert.Equal(t, 2, f.Days)
	// A hopper that holds 40 g is empty within a day and a half; one that was full is not worth a reminder before it has served.
	in.Left = 40 * units.Gram
	assert.Equal(t, in.From, Predict(in).Refill)
	in.Full = true
	f = Predict(in)
	assert.Equal(t, minute(t, "2026-12-01T07:00"), f.First)
	assert.Equal(t, f.First, f.Refill)
	in.Left = 100 * units.Gram
	assert.Equal(t, minute(t, "2026-12-02T06:00"), Predict(in).Refill)
	in.Full = false
	in.Left = 10 * units.Gram
	f = Predict(in)
	assert.Equal(t, 0, f.Servings)
	assert.Equal(t, in.From, f.Refill, "at once")
	// The remainder is carried from the beginning of the table, whenever one looks.
	later := in
	later.From, later.Left = minute(t, "2026-12-03T12:00"), 24*units.Gram
	assert.Equal(t, minute(t, "2026-12-03T18:00"), Predict(later).Last)
	// Dates are those of the clock on the wall: at UTC+14 the last serving falls on the next date.
	in.Left, in.Local = 100*units.Gram, func(table.Minute) int { return 14 * 60 }
	in.From = minute(t, "2026-12-01T00:00")
	assert.Equal(t, 2, Predict(in).Days)
	ends := daily(6, map[int]uint32{7: 18})
	ends.Through = ends.Start + 3
	in.Table = ends
	assert.True(t, Predict(in).Lasts)
	in.Table = daily(6, map[int]uint32{7: 18})
	in.Table.Wheel.UnitMg = 0
	assert.False(t, Predict(in).Known)
}

// As in TestPredict: 18 + 24 + 18 g up to the breakfast of the 2nd, which is no longer counted at its own minute.
func TestPlanned(t *testing.T) {
	in := Input{Table: daily(6, map[int]uint32{7: 18, 18: 22}), From: minute(t, "2026-12-01T00:00"), Preset: replay.AllPresets}
	given, servings := Planned(in, minute(t, "2026-12-02T07:01"))
	assert.Equal(t, 60*units.Gram, given)
	assert.Equal(t, 3, servings)
	given, _ = Planned(in, minute(t, "2026-12-02T07:00"))
	assert.Equal(t, 42*units.Gram, given)
	in.Local = func(table.Minute) int { return 60 }
	assert.Equal(t, 1, in.Dates(minute(t, "2026-12-01T22:59"), minute(t, "2026-12-01T23:00")))
}

// The same by hand as above: breakfast is always 18 g and supper 24, 18 or 24 g.
func TestCompare(t *testing.T) {
	in := Input{Table: daily(6, map[int]uint32{7: 18, 18: 22}), From: minute(t, "2026-11-30T12:00"), Preset: replay.AllPresets}
	p := Compare(in, 62)
	require.Len(t, p.Meals, 2)
	assert.Equal(t, 62, p.Meals[0].Count)
	assert.Equal(t, [2]int{3, 3}, p.Meals[0].Pockets)
	assert.Equal(t, [2]int{3, 4}, p.Meals[1].Pockets)
	assert.Equal(t, Span{18 * units.Gram, 24 * units.Gram}, p.Meals[1].Given)
	assert.Equal(t, Span{40 * units.Gram, 40 * units.Gram}, p.Day.Planned)
	assert.Equal(t, Span{36 * units.Gram, 42 * units.Gram}, p.Day.Given)
	assert.Equal(t, 62, p.Day.Count)
	assert.Equal(t, 1, p.Month.Count, "December is whole, January ends early")
	assert.Equal(t, Span{1240 * units.Gram, 1240 * units.Gram}, p.Month.Planned)
	assert.Equal(t, int64(20), p.Worst, "2 g")
	assert.Equal(t, int64(30), p.HalfPocket)
	// With the portion button at 90 %: 36 g a day are six pockets, every day.
	in.Adjust = 9
	p = Compare(in, 10)
	assert.Equal(t, Span{36 * units.Gram, 36 * units.Gram}, p.Day.Planned)
	assert.LessOrEqual(t, p.Worst, p.HalfPocket)
}

// A day without food counts as one.
func TestFastingDaysCount(t *testing.T) {
	tab := daily(6, map[int]uint32{7: 18})
	every := table.Everyday()
	every.EveryDays = table.Every{N: 3, Phase: uint32(tab.Start) % 3}
	tab.Rules = []table.Rule{every}
	tab.Meals[0].Parts[0].Rule = 1
	p := Compare(Input{Table: tab, From: minute(t, "2026-11-30T00:00"), Preset: replay.AllPresets}, 7)
	assert.Equal(t, [2]int{0, 3}, p.Day.Pockets)
}

// The running total stays within half a pocket of the plan for ever: through presets, the portion button and years, with the
// remainder handed from one to the next as the journal hands it.
func TestRunningTotalWithinHalfAPocket(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tab := &table.Table{Through: table.MaxDay, Start: 9831, Presets: rapid.IntRange(2, 8).Draw(t, "presets")}
		tab.Wheel = table.Wheel{PocketUnits: rapid.Uint32Range(1, 9000).Draw(t, "pocket"), UnitMg: 1}
		for range rapid.IntRange(1, 5).Draw(t, "meals") {
			tab.Meals = append(tab.Meals, table.Meal{
				Portion: rapid.Uint32Range(1, 40_000).Draw(t, "portion"),
				Presets: uint8(rapid.IntRange(0, 1<<tab.Presets-1).Draw(t, "mask")),
				Parts:   []table.Part{{Times: table.Times{List: []uint16{uint16(rapid.IntRange(0, 1439).Draw(t, "minute"))}}}},
			})
		}
		pocket := 10 * int64(tab.Wheel.PocketUnits)
		at := table.Minute(9831 * table.MinutesPerDay)
		var planned, turned int64
		for range rapid.IntRange(1, 12).Draw(t, "changes") {
			to := at + table.Minute(rapid.IntRange(1, 60*table.MinutesPerDay).Draw(t, "until the next change"))
			adjust := rapid.IntRange(8, 12).Draw(t, "tenths")
			c := replay.New(tab, replay.Options{From: at, To: to, Adjust: adjust, Carry: planned - turned,
				Preset: rapid.IntRange(0, tab.Presets-1).Draw(t, "preset")})
			for s, ok := c.Next(); ok; s, ok = c.Next() {
				for _, m := range s.Meals {
					planned += int64(m.Units) * int64(adjust)
					turned += int64(m.Pockets) * pocket
					require.LessOrEqual(t, max(planned-turned, turned-planned), pocket/2, "at %d", s.At)
				}
			}
			at = to
		}
	})
}

// Sixty years, with a pocket that fits nothing.
func TestRunningTotalToTheEnd(t *testing.T) {
	tab := daily(6211, map[int]uint32{6: 18_007, 12: 4_999, 19: 22_003})
	tab.Wheel.UnitMg = 1
	p := Compare(Input{Table: tab, From: minute(t, "2026-11-30T12:00"), Preset: replay.AllPresets}, int(table.MaxDay))
	assert.Positive(t, p.Worst)
	assert.LessOrEqual(t, p.Worst, p.HalfPocket)
	assert.Greater(t, p.Day.Count, 20_000)
	planned, given := p.Day.Total[0], p.Day.Total[1]
	assert.InDelta(t, float64(planned), float64(given), float64(6211), "over sixty years: less than a pocket apart")
}

func TestFreshness(t *testing.T) {
	assert.Empty(t, Freshness(7))
	assert.Contains(t, Freshness(20), "20 days are long")
	opened := time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)
	assert.Empty(t, Bag(opened, opened.AddDate(0, 0, 42)))
	assert.Contains(t, Bag(opened, opened.AddDate(0, 0, 50)), "opened 50 days ago")
}

// 3 + 2 pockets given, 1 of them left out by a jam: 4 × 6 g are gone of 100 g. What happened before the refill is not counted.
func TestLeft(t *testing.T) {
	tab := daily(6, map[int]uint32{7: 18})
	history := []table.History{
		{At: 90, Event: table.EventServed, Value: 9},
		{At: 100, Event: table.EventServed, Value: 3}, {At: 101, Event: table.EventResumed, Value: 2},
		{At: 110, Event: table.EventManual, Value: 2}, {At: 110, Event: table.EventLeftOut, Value: 1},
		{At: 120, Event: table.EventMissed, Value: 40}, {At: 121, Event: table.EventStarted, Value: 2},
	}
	assert.Equal(t, Served{Planned: 1, ByHand: 1, Missed: 40, LeftOut: 1, Pockets: 4}, Count(history, 100))
	left, known := Left(tab, 100*units.Gram, 100, history)
	assert.True(t, known)
	assert.Equal(t, 76*units.Gram, left)
	left, _ = Left(tab, 10*units.Gram, 100, history)
	assert.Equal(t, units.Milligrams(0), left)
	tab.Wheel.UnitMg = 0
	_, known = Left(tab, 100*units.Gram, 100, history)
	assert.False(t, known)
}
