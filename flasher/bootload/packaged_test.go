package bootload_test

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/profile"
	"mealtab/emulator/board"
	"mealtab/flasher"
	"mealtab/flasher/bootload"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
)

// The referees of this file are the bootloaders that Debian packages for boards with these chips, on the emulated chip.

// bench is a board with a bootloader, and what goes onto it.
type bench struct {
	*flashertest.Emulated
	boot   flashertest.Boot
	image  []byte
	chips  []string
	turned int // starts of the wheel, and times its supply came on
}

func newBench(t *testing.T, boot flashertest.Boot) *bench {
	p, ok := profile.Named(boot.Board)
	require.True(t, ok)
	target := bootload.TargetFor(p)
	return watched(boot, boot.Fresh(t), flashertest.Image(t, boot.Board).Flash, target.Chips)
}

func watched(boot flashertest.Boot, e *flashertest.Emulated, image []byte, chips []string) *bench {
	b := &bench{Emulated: e, boot: boot, image: image, chips: chips}
	b.HasReset = true
	b.OnEvent = func(ev board.Event) {
		if ev.Kind == board.TurnStarted || ev.Kind == board.ServoSupply && ev.Value == 1 {
			b.turned++
		}
	}
	return b
}

// flash is the whole flash in bytes.
func (b *bench) flash() []byte {
	var octets []byte
	for _, word := range b.Board.MCU().Flash() {
		octets = append(octets, byte(word), byte(word>>8))
	}
	return octets
}

func (b *bench) install() (*bootload.Loader, error) {
	l := &bootload.Loader{T: b, Baud: 57600}
	found, err := l.Install(b.image, b.chips)
	if err == nil && found != b.boot.Family {
		err = errors.New("the family found is " + found.Name)
	}
	return l, err
}

// requireWhole wants the image in the flash, nothing beside it, and the bootloader as it was.
func (b *bench) requireWhole(t *testing.T, before []byte) {
	t.Helper()
	start := len(before) - b.boot.Family.Section
	padded := append(bytes.Clone(b.image), bytes.Repeat([]byte{0xFF}, start-len(b.image))...)
	after := b.flash()
	require.True(t, bytes.Equal(padded, after[:start]), "the application")
	require.True(t, bytes.Equal(before[start:], after[start:]), "the bootloader")
}

// requireAnswer wants the firmware to start by itself and to say who it is.
func (b *bench) requireAnswer(t *testing.T, l *bootload.Loader) {
	t.Helper()
	f, err := flasher.Connect(link.New(b, "board", l.Baud))
	require.NoError(t, err)
	require.Equal(t, b.boot.Board, f.BoardName())
	require.Zero(t, b.turned)
	require.Empty(t, b.Broken)
}

// A board as sold gets the firmware, and gets it again when it runs already; a port may stand at any rate before. Every byte of the
// flash is compared; then the firmware answers IDENTIFY.
func TestInstallThroughPackagedBootloaders(t *testing.T) {
	for _, boot := range boots() {
		t.Run(boot.Name(), func(t *testing.T) {
			b := newBench(t, boot)
			before := b.flash()
			for range 2 {
				began := b.Now()
				l, err := b.install()
				require.NoError(t, err)
				t.Logf("%d bytes in %v", len(b.image), b.Now().Sub(began).Round(time.Millisecond))
				b.requireWhole(t, before)
				b.requireAnswer(t, l)
			}
		})
	}
}

// However an install is cut short (the supply goes, or the cable alone), the board stands still and the next install works. Left out are the
// moments in which the first page is erased and not yet written: 9 ms, and with the short family, which erases before it takes the bytes, 20.
// Nobody can say what an erased page does.
func TestPackagedBootloadersAfterCuts(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for _, boot := range boots() {
		fresh := newBench(t, boot)
		whole := fresh.fork()
		_, err := whole.install()
		require.NoError(t, err)
		span := whole.Board.Nanos() - fresh.Board.Nanos()
		for n := range cutCount() {
			at := r.Uint64N(span * 99 / 100)
			t.Run(fmt.Sprintf("%s cut %d", boot.Name(), n), func(t *testing.T) {
				from := whole // the firmware runs already: what a cut leaves is half old, half new
				if n%4 == 0 {
					from = fresh
				}
				b := from.cutShort(t, at, n%2 == 0)
				if b.beheaded() {
					b = from.cutShort(t, at+uint64(30*time.Millisecond), n%2 == 0)
				}
				b.Sleep(12 * time.Second)
				b.requireStill(t, whole.flash(), fresh.flash())
				l, err := b.install()
				require.NoError(t, err)
				b.requireWhole(t, fresh.flash())
				b.requireAnswer(t, l)
			})
		}
	}
}

func (b *bench) fork() *bench { return watched(b.boot, b.Fork(), b.image, b.chips) }

// cutShort installs on a copy of the board until so many nanoseconds from now, when supply and cable go, or the cable alone, and mends what was
// cut.
func (b *bench) cutShort(t *testing.T, after uint64, supply bool) *bench {
	t.Helper()
	b = b.fork()
	at := b.Board.Nanos() + after
	if supply {
		b.PowerCut = at
	} else {
		b.Cut = func() bool { return b.Board.Nanos() >= at }
	}
	_, err := b.install()
	require.Error(t, err)
	b.PowerCut, b.Cut, b.Unplugged = 0, nil, false
	if supply {
		b.Repower(time.Second)
	}
	return b
}

// beheaded reports whether the first page is erased, with a firmware behind it.
func (b *bench) beheaded() bool {
	flash := b.flash()
	blank := func(part []byte) bool { return bytes.Count(part, []byte{0xFF}) == len(part) }
	return blank(flash[:128]) && !blank(flash[128:len(flash)-b.boot.Family.Section])
}

// requireStill wants a board that runs its bootloader or the page that does nothing, unless the install had not begun.
func (b *bench) requireStill(t *testing.T, before ...[]byte) {
	t.Helper()
	require.Zero(t, b.turned)
	flash, pc := b.flash(), 2*int(b.Board.MCU().PC())
	for _, f := range before {
		if bytes.Equal(flash, f) {
			return
		}
	}
	require.Equal(t, []byte{0xFF, 0xCF}, flash[:2])
	require.True(t, pc == 0 || pc >= len(flash)-b.boot.Family.Section, "runs at %04X", pc)
}

// boots are all bootloaders, or under the race detector one of each family.
func boots() []flashertest.Boot {
	all := flashertest.Boots()
	if flashertest.Race {
		return []flashertest.Boot{all[0], all[3]}
	}
	return all
}

// cutCount is how many cuts there are for each bootloader; the first three differ in what is cut and what was there before.
func cutCount() int {
	if flashertest.Race {
		return 1
	}
	return 3
}
