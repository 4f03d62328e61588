package bootload_test

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/ihex"
	"mealtab/compiler/profile"
	"mealtab/emulator/avr"
	"mealtab/firmware-template/image"
	"mealtab/flasher/bootload"
	"mealtab/flasher/flashertest"
)

func firmware(t testing.TB) []byte {
	t.Helper()
	src, ok := image.Hex("m328-mains")
	require.True(t, ok)
	img, err := ihex.Read(src)
	require.NoError(t, err)
	return img
}

var both = []string{"ATmega328P", "ATmega328"}

// mains are the parts on which the image of m328-mains runs.
var mains = []string{"ATmega328P", "ATmega328", "ATmega328PB"}

// Commands, answers and their order: application note AVR061; which of them the two families have, and how they differ, was watched.
func TestInstall(t *testing.T) {
	img := firmware(t)
	for _, f := range bootload.Families() {
		for _, chip := range bootload.Chips() {
			if !slices.Contains(mains, chip.Name) {
				continue
			}
			t.Run(f.Name+" "+chip.Name, func(t *testing.T) {
				b := flashertest.NewBootloader(f, chip, 9600)
				l := &bootload.Loader{T: b, Baud: 9600}
				found, err := l.Install(img, mains)
				require.NoError(t, err)
				require.Equal(t, f, found)
				require.Equal(t, img, b.Flash[:len(img)])
				require.Equal(t, bytes.Repeat([]byte{0xFF}, len(b.Flash)-len(img)), b.Flash[len(img):])
				require.Equal(t, (len(img)+127)/128+1, b.Writes) // the first page twice
			})
		}
	}
}

// What the firmware said before the reset, or noise, comes before the bootloader's first answer: as many octets as you like, also ones that look like
// parts of answers.
func TestStaleOctetsBeforeSync(t *testing.T) {
	img := firmware(t)[:1024]
	for _, f := range bootload.Families() {
		for n := range 12 {
			for _, octet := range []string{"\x7E", "\x14", "\x10", "\x14\x10", "\x10\x14"} {
				b := flashertest.NewBootloader(f, bootload.Chips()[0], f.Baud)
				b.Stale = bytes.Repeat([]byte(octet), n)
				_, err := (&bootload.Loader{T: b, Baud: f.Baud}).Install(img, both)
				require.NoError(t, err, "%s: %d times % X", f.Name, n, octet)
				require.True(t, bytes.Equal(img, b.Flash[:len(img)]))
			}
		}
	}
}

func TestRefusals(t *testing.T) {
	short, old := bootload.Families()[0], bootload.Families()[1]
	p328, p168 := bootload.Chips()[0], bootload.Chips()[2]
	other := bootload.Chip{Signature: [3]byte{0x1E, 0x93, 0x0A}, Flash: 8192}
	for _, c := range []struct {
		name   string
		family bootload.Family
		chip   bootload.Chip
		bytes  int
		want   string
	}{
		{"fits the short family to the byte", short, p328, 32768 - 512, ""},
		{"too long for it", short, p328, 32768 - 511, "the image has 32257 bytes; below the bootloader of this ATmega328P there are 32256 (nothing was written)"},
		{"fits the older family to the byte", old, p328, 32768 - 2048, ""},
		{"too long for it ", old, p328, 32768 - 2047, "the image has 30721 bytes; below the bootloader of this ATmega328P there are 30720 (nothing was written)"},
		{"another chip", short, p168, 1000, "the chip is an ATmega168P, this firmware is for ATmega328P (nothing was written)"},
		{"an unknown chip", short, other, 1000, "the chip's signature is 1E 93 0A, that of no chip this program knows; this firmware is for ATmega328P (nothing was written)"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := flashertest.NewBootloader(c.family, c.chip, 57600)
			_, err := (&bootload.Loader{T: b, Baud: 57600}).Install(make([]byte, c.bytes), both)
			if c.want == "" {
				require.NoError(t, err)
				return
			}
			require.EqualError(t, err, c.want)
			require.Zero(t, b.Writes)
		})
	}
}

// A board whose firmware runs and that has no bootloader, or no reset line, answers nothing.
func TestNoBootloader(t *testing.T) {
	b := flashertest.NewBootloader(bootload.Families()[0], bootload.Chips()[0], 57600)
	b.NoResetLine = true
	pressed := 0
	l := &bootload.Loader{T: b, Baud: 57600, Press: func() { pressed++ }}
	_, err := l.Install(firmware(t), both)
	require.ErrorIs(t, err, bootload.ErrNoBootloader)
	require.Equal(t, bootload.MostPresses(), pressed)
}

// The protocol has no checks of its own: on a bad line an install ends with the image on the board, or with an error that says whether the
// flash was changed.
func TestInstallThroughNoise(t *testing.T) {
	img := firmware(t)[:2048]
	good, failed := 0, 0
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 9))
		f := bootload.Families()[seed%2]
		b := flashertest.NewBootloader(f, bootload.Chips()[0], f.Baud)
		rate := []float64{1e-5, 1e-4, 1e-3}[r.IntN(3)]
		b.Garble = func(octet byte) []byte {
			switch p := r.Float64(); {
			case p < rate:
				return []byte{octet ^ 1<<r.IntN(8)}
			case p < 1.5*rate:
				return nil
			case p < 2*rate:
				return []byte{octet, octet}
			}
			return []byte{octet}
		}
		_, err := (&bootload.Loader{T: b, Baud: f.Baud}).Install(img, both)
		var damaged *bootload.DamagedError
		if err == nil {
			good++
			require.Equal(t, img, b.Flash[:len(img)], "seed %d", seed)
		} else {
			failed++
			if b.Writes > 0 {
				require.True(t, errors.As(err, &damaged), "seed %d: %v", seed, err)
			}
		}
	}
	t.Logf("%d installed, %d failed", good, failed)
	require.Greater(t, good, 150)
}

func TestEveryBoardHasATarget(t *testing.T) {
	p, _ := profile.Named(profile.Default)
	require.Equal(t, mains, bootload.TargetFor(p).Chips)
	for _, b := range profile.Boards() {
		target := bootload.TargetFor(b)
		for _, name := range target.Chips {
			require.True(t, slices.ContainsFunc(bootload.Chips(), func(c bootload.Chip) bool { return c.Name == name && c.Flash == b.Chip().Flash }), name)
		}
		part, ok := avr.PartNamed(b.MCU)
		require.True(t, ok)
		require.True(t, slices.ContainsFunc(bootload.Chips(), func(c bootload.Chip) bool { return c.Name == target.Chips[0] && c.Signature == part.Signature }), b.Name)
	}
}
