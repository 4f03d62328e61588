package compiler

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/teambition/rrule-go"

	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// The rules of the benchmarks, in America/New_York to the end of 2099.
var benchRules = []struct{ name, start, rule string }{
	{"a", "2026-01-01T07:30:00", "FREQ=DAILY;BYHOUR=7,12,18;BYMINUTE=30"},
	{"b", "2026-01-02T07:00:00", "FREQ=WEEKLY;BYDAY=MO,WE,FR"},
	{"c", "2026-01-30T07:00:00", "FREQ=MONTHLY;BYDAY=-1FR"},
	{"d", "2028-02-29T07:00:00", "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29"},
	{"e", "2026-01-29T07:00:00", "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2"},
	{"f", "2026-01-01T00:00:00", "FREQ=HOURLY;INTERVAL=5"},
}

const benchFrom = 9497 // 2026-01-01

func benchText(start, rule string) []byte {
	return fmt.Appendf(nil, "plan = \"bench\"\nzone = \"America/New_York\"\n[[meal]]\nname = \"meal\"\nportion = \"1 pocket\"\ndtstart = %s\nrrule = %q\n", start, rule)
}

func benchPlan(tb testing.TB, src []byte) *plan.Plan {
	p, ds := reader.Parse("bench.toml", src)
	require.False(tb, ds.HasErrors(), "%v", ds)
	return p
}

func newYork(tb testing.TB) (*zone.Zone, *profile.Profile) {
	z, err := zone.Default().Load("America/New_York")
	require.NoError(tb, err)
	b, err := profile.Load("m328-mains")
	require.NoError(tb, err)
	return z, b
}

// enumerate is the reference: rrule-go's bare enumeration of the same rule, parsing included.
func enumerate(tb testing.TB, start, rule string, loc *time.Location) int {
	o, err := rrule.StrToROptionInLocation(rule, loc)
	require.NoError(tb, err)
	o.Dtstart, err = time.ParseInLocation("2006-01-02T15:04:05", start, loc)
	require.NoError(tb, err)
	r, err := rrule.NewRRule(*o)
	require.NoError(tb, err)
	next, n := r.Iterator(), 0
	end := time.Date(2100, 1, 1, 0, 0, 0, 0, loc)
	for t, ok := next(); ok && t.Before(end); t, ok = next() {
		n++
	}
	return n
}

// fastest is the shortest of several runs of f.
func fastest(runs int, f func()) time.Duration {
	best := time.Duration(1 << 62)
	for range runs {
		start := time.Now()
		f()
		best = min(best, time.Since(start))
	}
	return best
}

// BenchmarkReplay compares the replay of a table with rrule-go's enumeration, per serving. replay/rrule is the ratio
// (wanted: at most 0.2).
func BenchmarkReplay(b *testing.B) {
	z, board := newYork(b)
	loc, err := time.LoadLocation("America/New_York")
	require.NoError(b, err)
	for _, r := range benchRules {
		b.Run(r.name, func(b *testing.B) {
			out, err := Compile(benchPlan(b, benchText(r.start, r.rule)), z, Options{Board: board, From: benchFrom})
			require.NoError(b, err)
			n := 0
			run := func() {
				n = 0
				for c := replay.New(out.Table, replay.Options{}); ; n++ {
					if _, ok := c.Next(); !ok {
						return
					}
				}
			}
			var reference int
			theirs := fastest(5, func() { reference = enumerate(b, r.start, r.rule, loc) })
			for b.Loop() {
				run()
			}
			ours := fastest(5, run)
			require.Equal(b, reference, n)
			b.ReportMetric(float64(ours.Nanoseconds())/float64(n), "ns/serving")
			b.ReportMetric(float64(theirs.Nanoseconds())/float64(n), "rrule-ns/serving")
			b.ReportMetric(float64(ours)/float64(theirs), "replay/rrule")
		})
	}
}

// BenchmarkCompile compares a compile from the plan's text, its whole proof included, with rrule-go's bare enumeration.
// compile/rrule is the ratio (wanted: below 1). The zone is loaded beforehand on both sides.
func BenchmarkCompile(b *testing.B) {
	z, board := newYork(b)
	loc, err := time.LoadLocation("America/New_York")
	require.NoError(b, err)
	for _, r := range benchRules {
		b.Run(r.name, func(b *testing.B) {
			src := benchText(r.start, r.rule)
			run := func() {
				_, err := Compile(benchPlan(b, src), z, Options{Board: board, From: table.Day(benchFrom)})
				require.NoError(b, err)
			}
			theirs := fastest(5, func() { enumerate(b, r.start, r.rule, loc) })
			for b.Loop() {
				run()
			}
			ours := fastest(5, run)
			b.ReportMetric(float64(ours.Microseconds()), "compile-us")
			b.ReportMetric(float64(theirs.Microseconds()), "rrule-us")
			b.ReportMetric(float64(ours)/float64(theirs), "compile/rrule")
		})
	}
}
