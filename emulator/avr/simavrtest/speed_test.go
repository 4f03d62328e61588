//go:build cgo && linux

package simavrtest

import (
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"syscall"
	"testing"
	"time"

	"mealtab/emulator/avr"
	"mealtab/emulator/avr/asm"
)

// programs are what both emulators run: three compiled by avr-gcc -Os, from testdata/avr, and one by hand in which no two
// neighbours can be fused.
var programs = []string{"crc", "calendar", "sort", "unfused"}

const unfused = `
	start:	ldi r26, 0
		nop
		ldi r27, 2
		ldi r16, 77
		nop
	again:	add r16, r17
		eor r18, r16
		inc r19
		lsr r20
		mov r21, r18
		swap r21
		st X+, r21
		adiw r24, 1
		mov r27, r26
		andi r27, 3
		inc r27
		add r17, r24
		ld r20, X
		or r19, r20
		bst r16, 3
		bld r18, 5
		com r22
		push r22
		sub r17, r21
		pop r23
		rcall leaf
		cpi r24, 200
		nop
		brne again
		inc r25
		rjmp again
	leaf:	asr r23
		neg r17
		ret`

func readImage(t testing.TB, name string) *avr.Image {
	if name == "unfused" {
		p, err := asm.Assemble(unfused)
		if err != nil {
			t.Fatal(err)
		}
		img := &avr.Image{}
		for _, w := range p.Words {
			img.Flash = append(img.Flash, byte(w), byte(w>>8))
		}
		return img
	}
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

// BenchmarkAgainstSimavr runs the same image on both emulators in turn, ours with its shortcuts and without, with simavr's
// run_cycle_limit raised so that it does not look for events. Metrics, in CPU time: the smallest and the median of nine ratios of
// theirs to ours, both ways, and the median of our emulated MHz with shortcuts.
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
			with, without := running(b), running(b)
			without.SetOptions(avr.Options{NoFuse: true, NoPollSkip: true, NoNapSkip: true})
			for _, m := range []*avr.MCU{with, without} {
				if err := m.Load(img); err != nil {
					b.Fatal(err)
				}
				m.SetPC(0)
			}
			const cycles = 20_000_000
			took := func(run func()) float64 {
				start := threadTime(b)
				run()
				return (threadTime(b) - start).Seconds()
			}
			for b.Loop() {
				var fast, plain, mhz []float64
				for range 9 {
					a := took(func() { with.RunFor(cycles) })
					theirs := took(func() { ref.Run(cycles) })
					c := took(func() { without.RunFor(cycles) })
					fast, plain, mhz = append(fast, theirs/a), append(plain, theirs/c), append(mhz, cycles/a/1e6)
				}
				for _, list := range [][]float64{fast, plain, mhz} {
					slices.Sort(list)
				}
				b.ReportMetric(fast[0], "min-ratio")
				b.ReportMetric(fast[4], "median-ratio")
				b.ReportMetric(plain[0], "min-ratio-plain")
				b.ReportMetric(plain[4], "median-ratio-plain")
				b.ReportMetric(mhz[4], "MHz")
			}
		})
	}
}
