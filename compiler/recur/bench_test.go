package recur

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/teambition/rrule-go"

	"mealtab/compiler/plan"
	"mealtab/compiler/zone"
)

// benchRules are household rules from plain to awkward, each from 2026-12-01T07:00:00 in New York.
var benchRules = []struct{ name, rrule string }{
	{"a", "FREQ=DAILY;BYHOUR=7,12,18;BYMINUTE=30"},
	{"b", "FREQ=WEEKLY;BYDAY=MO,WE,FR"},
	{"c", "FREQ=MONTHLY;BYDAY=-1FR"},
	{"d", "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29"},
	{"e", "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2"},
	{"f", "FREQ=HOURLY;INTERVAL=5"},
}

var benchStart = plan.Local{Year: 2026, Month: 12, Day: 1, Hour: 7}

// BenchmarkReferee enumerates every instant to the end of 2099, parsing included, and gives the time per instance
// also as a ratio to rrule-go's bare enumeration of the same rule in the same zone.
func BenchmarkReferee(b *testing.B) {
	z := load(b, "America/New_York")
	for _, r := range benchRules {
		b.Run(r.name, func(b *testing.B) {
			b.ReportAllocs()
			count := 0
			for b.Loop() {
				count = enumerate(b, r.rrule, z)
			}
			ours := float64(b.Elapsed().Nanoseconds()) / float64(b.N) / float64(count)
			b.StopTimer()
			reference := rruleGoTime(b, r.rrule, count)
			b.ReportMetric(ours, "ns/instance")
			b.ReportMetric(ours/reference, "of-rrule-go")
			b.ReportMetric(float64(count), "instances")
		})
	}
}

func enumerate(b *testing.B, text string, z *zone.Zone) int {
	s, err := New(plan.Recurrence{Start: benchStart, Rule: &plan.Rule{Text: text}}, z, plan.GapShift)
	require.NoError(b, err)
	count := 0
	c := s.Instants()
	for _, ok := c.Next(); ok; _, ok = c.Next() {
		count++
	}
	return count
}

// rruleGoTime measures rrule-go's time per instance, in ns: the best of three runs.
func rruleGoTime(b *testing.B, text string, want int) float64 {
	ny, err := time.LoadLocation("America/New_York")
	require.NoError(b, err)
	best := time.Duration(1 << 62)
	count := 0
	for range 3 {
		begin := time.Now()
		o, err := rrule.StrToROption(text)
		require.NoError(b, err)
		o.Dtstart = time.Date(2026, 12, 1, 7, 0, 0, 0, ny)
		o.Until = time.Date(2099, 12, 31, 23, 59, 59, 0, ny)
		r, err := rrule.NewRRule(*o)
		require.NoError(b, err)
		next := r.Iterator()
		count = 0
		for _, ok := next(); ok; _, ok = next() {
			count++
		}
		best = min(best, time.Since(begin))
	}
	require.InDelta(b, want, count, 100, "rrule-go counts the instances of a gap otherwise, but not by much")
	return float64(best.Nanoseconds()) / float64(count)
}
