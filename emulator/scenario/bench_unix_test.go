//go:build unix

package scenario_test

import (
	"syscall"
	"testing"
	"time"

	"mealtab/emulator/avr"
	"mealtab/emulator/scenario"
)

// BenchmarkYear is a year of six meals a day on the real firmware, naps included; BenchmarkYearEach is the same with every
// nap executed, BenchmarkTenYears the default rehearsal.
func BenchmarkYear(b *testing.B)     { benchmark(b, 1, avr.Options{}) }
func BenchmarkYearEach(b *testing.B) { benchmark(b, 1, avr.Options{NoNapSkip: true}) }
func BenchmarkTenYears(b *testing.B) { benchmark(b, 10, avr.Options{}) }

// BenchmarkTenYearsEach is what an upload would wait for without the skipping of naps.
func BenchmarkTenYearsEach(b *testing.B) { benchmark(b, 10, avr.Options{NoNapSkip: true}) }

func benchmark(b *testing.B, years int, o avr.Options) {
	r := rehearsal(b, "m328-mains", years)
	r.Options = o
	var rep *scenario.Report
	from := processorTime()
	for b.Loop() {
		var err error
		if rep, err = scenario.Rehearse(r); err != nil {
			b.Fatal(err)
		}
	}
	used := (processorTime() - from).Seconds() / float64(b.N)
	b.ReportMetric(used, "cpu-s/op") // on a busy machine the wall clock says little
	b.ReportMetric(rep.Emulated.Seconds()/used, "x-real-time")
	b.ReportMetric(float64(rep.Servings), "servings")
	b.ReportMetric(float64(rep.Wakes), "wakes")
}

// processorTime is what this process has used.
func processorTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
