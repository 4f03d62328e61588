package flashertest

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"mealtab/compiler/profile"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
)

// Root is the top of the source tree.
func Root(t testing.TB) string {
	t.Helper()
	_, file, _, ok := runtime.Caller(0)
	if !ok {
		t.Fatal("no source position")
	}
	return filepath.Join(filepath.Dir(file), "..", "..")
}

// Image is the firmware built for a board.
func Image(t testing.TB, name string) *avr.Image {
	t.Helper()
	src, err := os.ReadFile(filepath.Join(Root(t), "firmware-template", "image", name+".hex"))
	if err != nil {
		t.Fatal(err)
	}
	img, err := avr.ReadImage(src)
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// Start is where a test's world begins: a Friday, between the meals of the household plans.
var Start = time.Date(2026, 12, 4, 12, 0, 0, 0, time.UTC)

// New makes an emulated board with its firmware, clock set, and a table in bank 0 (nil: none); change, if not nil, alters the
// configuration first.
func New(t testing.TB, name string, tab []byte, change func(*board.Config)) *Emulated {
	t.Helper()
	p, ok := profile.Named(name)
	if !ok {
		t.Fatalf("no board %s", name)
	}
	c := board.ForProfile(p)
	c.Firmware = Image(t, name)
	c.Start = Start
	c.Options.Strict = avr.Strict{EEPROM: true}
	if change != nil {
		change(&c)
	}
	b, err := board.New(c)
	if err != nil {
		t.Fatal(err)
	}
	if tab != nil {
		if err := b.Program(tab); err != nil {
			t.Fatal(err)
		}
	}
	b.SetClock(b.Now())
	return NewEmulated(b)
}

// ChipTime is what the clock chip shows now.
func (e *Emulated) ChipTime() time.Time {
	now := e.Board.Nanos()
	chip := e.Board.Clock()
	chip.Sync(now)
	bcd := func(reg, mask uint8) int {
		v := chip.Register(now, reg) & mask
		return int(v>>4)*10 + int(v&0xF)
	}
	return time.Date(2000+bcd(6, 0xFF), time.Month(bcd(5, 0x1F)), bcd(4, 0x3F), bcd(2, 0x3F), bcd(1, 0x7F), bcd(0, 0x7F), 0, time.UTC)
}
