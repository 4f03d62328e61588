package zone

import (
	"testing"
	"time"
)

// compareWith runs the reference as often as the code under test and reports how many times longer it takes.
func compareWith(b *testing.B, name string, own, reference func(i int)) {
	for i := 0; b.Loop(); i++ {
		own(i)
	}
	mine := b.Elapsed()
	start := time.Now()
	for i := range b.N {
		reference(i)
	}
	b.ReportMetric(float64(time.Since(start))/float64(mine), name+"/own")
}

// Three meals a day from 2026 to the end of 2099, the questions a proof asks; Go's time.Date answers the same
// question (with other choices in gaps and overlaps).
func BenchmarkResolve(b *testing.B) {
	for _, name := range []string{"America/New_York", "Asia/Kolkata", "Asia/Gaza"} {
		z, loc := load(b, name), goLocation(b, Embedded(), name)
		first := int(startOfYear(2026) / secondsPerDay)
		b.Run(name, func(b *testing.B) {
			var sum int64
			compareWith(b, "time.Date", func(i int) {
				day, hour := i/3%27000, 7+i%3*5
				unix, _ := z.Resolve(int64(first+day)*secondsPerDay + int64(hour*3600))
				sum += unix
			}, func(i int) {
				day, hour := i/3%27000, 7+i%3*5
				sum += time.Date(1970, 1, 1+first+day, hour, 0, 0, 0, loc).Unix()
			})
			if sum == 0 {
				b.Fatal("no answers")
			}
		})
	}
}

// Reading a zone from the embedded data, beside Go's parsing of the same bytes alone.
func BenchmarkLoad(b *testing.B) {
	for _, name := range []string{"America/New_York", "Asia/Kolkata", "Asia/Gaza"} {
		db := Embedded()
		file, err := db.read(name)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(name, func(b *testing.B) {
			compareWith(b, "LoadLocationFromTZData", func(int) {
				if _, err := db.Load(name); err != nil {
					b.Fatal(err)
				}
			}, func(int) {
				if _, err := time.LoadLocationFromTZData(name, file); err != nil {
					b.Fatal(err)
				}
			})
		})
	}
}

// What a start of the program pays to choose its data.
func BenchmarkDefault(b *testing.B) {
	for b.Loop() {
		if Default().Version() == "" {
			b.Fatal("no version")
		}
	}
}
