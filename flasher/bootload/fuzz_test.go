package bootload_test

import (
	"bytes"
	"testing"
	"time"

	"mealtab/flasher/bootload"
	"mealtab/flasher/flashertest"
)

// Whatever comes back from the line, an install ends, and is none: nothing that answers here holds the image.
func FuzzBootloaderAnswers(f *testing.F) {
	f.Add([]byte{0x14, 0x10})
	f.Add([]byte{0x14, 0x1E, 0x95, 0x0F, 0x10})
	f.Add(bytes.Repeat([]byte{0x14, 0x10}, 40))
	f.Add([]byte{0x30, 0x20})
	img := bytes.Repeat([]byte{0x0C, 0x94, 0x34, 0x00}, 100)
	f.Fuzz(func(t *testing.T, octets []byte) {
		a := &flashertest.Answering{Octets: func([]byte) []byte { return octets }}
		began := a.Now()
		if _, err := (&bootload.Loader{T: a, Baud: 57600}).Install(img, both); err == nil {
			t.Fatalf("took % X for an install", octets)
		}
		if took := a.Now().Sub(began); took > 5*time.Minute {
			t.Fatalf("went on for %v", took)
		}
	})
}
