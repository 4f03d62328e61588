//go:build cgo && linux

package simavrtest

import (
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"
	"time"

	"mealtab/emulator/avr"
)

// programs are the images of testdata/avr that both emulators run.
var programs = []string{"crc", "calendar"}

func readImage(t testing.TB, name string) *avr.Image {
	b, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "avr", name+".hex"))
	if err != nil {
		t.Fatal(err)
	}
	img, err := avr.ReadImage(b)
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// threadTime is the CPU time of this thread, so that other processes do not count.
func threadTime(b *testing.B) time.Duration {
	const thisThread = 1 // RUSAGE_THREAD
	var u syscall.Rusage
	if err := syscall.Getrusage(thisThread, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkAgainstSimavr runs the same image on both emulators in turn, with
// simavr's run_cycle_limit raised so that it does not look for events. Metrics:
// emulated MHz of each, and ours over theirs, in CPU time.
func BenchmarkAgainstSimavr(b *testing.B) {
	for _, name := range programs {
		b.Run(name, func(b *testing.B) {
			runtime.LockOSThread()
			defer runtime.UnlockOSThread()
			img := readImage(b, name)
			ref, err := New("atmega328p", 16_000_000)
			if err != nil {
				b.Fatal(err)
			}
			ref.Load(img.Flash)
			m := running(b)
			if err := m.Load(img); err != nil {
				b.Fatal(err)
			}
			m.SetPC(0)
			const cycles = 20_000_000
			var ours, theirs time.Duration
			for b.Loop() {
				start := threadTime(b)
				m.RunFor(cycles)
				middle := threadTime(b)
				ref.Run(cycles)
				ours, theirs = ours+middle-start, theirs+threadTime(b)-middle
			}
			mhz := float64(b.N) * cycles / 1e6
			b.ReportMetric(mhz/ours.Seconds(), "MHz")
			b.ReportMetric(mhz/theirs.Seconds(), "simavr-MHz")
			b.ReportMetric(float64(theirs)/float64(ours), "ratio")
		})
	}
}
