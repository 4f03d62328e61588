//go:build unix

package scenario_test

import (
	"slices"
	"syscall"
	"testing"
	"time"

	"mealtab/compiler/table"
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

// BenchmarkShortcuts says what each shortcut of the emulator gains on the images that we ship: the processor's time of ten days
// without it over that with all, the median of five taken in turn. Fused pairs are measured against simavr, on programs that only compute.
func BenchmarkShortcuts(b *testing.B) {
	ways := []struct {
		name string
		o    avr.Options
	}{{"waits", avr.Options{NoPollSkip: true}}, {"naps", avr.Options{NoNapSkip: true}}}
	for _, board := range []string{"m328-mains", "m328-cells", "m168-mains"} {
		b.Run(board, func(b *testing.B) {
			r := rehearsal(b, board, 1)
			r.Until = r.From + 10*table.MinutesPerDay
			took := func(o avr.Options) float64 {
				r.Options = o
				from := processorTime()
				if _, err := scenario.Rehearse(r); err != nil {
					b.Fatal(err)
				}
				return (processorTime() - from).Seconds()
			}
			for b.Loop() {
				gains := make([][]float64, len(ways))
				for range 5 {
					with := took(avr.Options{})
					for i, w := range ways {
						gains[i] = append(gains[i], took(w.o)/with)
					}
				}
				for i, w := range ways {
					slices.Sort(gains[i])
					b.ReportMetric(gains[i][2], "x-without-"+w.name)
				}
			}
		})
	}
}

// processorTime is what this process has used.
func processorTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
