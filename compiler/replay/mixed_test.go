package replay_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
)

// often is a table of n meals that come every period minutes, each a minute after the one before; every fourth in UTC.
func often(n int, period uint32) *table.Table {
	everyday := table.Everyday()
	everyday.UTC = true
	t := &table.Table{Start: 9862, Through: table.MaxDay, Wheel: table.Wheel{PocketUnits: 1}, Rules: []table.Rule{everyday},
		Zone: table.Zone{Standard: 48, DST: &table.DST{Shift: 4, // New Zealand's rule, from memory
			Start: table.Transition{Month: 9, Week: 5, Weekday: 6, Minutes: 120}, End: table.Transition{Month: 4, Week: 1, Weekday: 6, Minutes: 180}}}}
	for i := range n {
		part := table.Part{Times: table.Times{Cycle: &table.Cycle{Period: period, Phase: uint32(i) % period, Hours: table.AllHours}}}
		if i%4 == 3 {
			part.Rule = 1
		}
		t.Meals = append(t.Meals, table.Meal{Portion: 1, Parts: []table.Part{part}})
	}
	return t
}

// Many cycles, some in UTC and some twelve hours away from it, come out of order by half a day: they are still served in order, each once.
func TestManyMixedCyclesAgreeWithLiteralReading(t *testing.T) {
	for _, from := range []table.Minute{9862, 9862 + 80, 9862 + 250} { // and over both changes of the clocks
		compare(t, often(64, 67), from*1440, (from+80)*1440, 0)
	}
}

// BenchmarkMixed is measured against as many servings of one meal: 64 mixed meals may cost a few times as much, not hundreds.
func BenchmarkMixed(b *testing.B) {
	for _, k := range []struct {
		name  string
		table *table.Table
	}{{"64-mixed", often(64, 67)}, {"reference=one-meal", often(1, 1)}} {
		b.Run(k.name, func(b *testing.B) {
			served := 0
			for b.Loop() {
				c := replay.New(k.table, replay.Options{From: 9862 * 1440, To: (9862 + 365) * 1440, Preset: replay.AllPresets})
				for _, ok := c.Next(); ok; _, ok = c.Next() {
					served++
				}
			}
			require.Positive(b, served)
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(served), "ns/serving")
		})
	}
}
