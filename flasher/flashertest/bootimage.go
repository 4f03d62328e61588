package flashertest

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/flasher/bootload"
)

// bootImages is where Debian's package of the core for hobby boards keeps the bootloaders of its boards, images and sources.
const bootImages = "/usr/share/arduino/hardware/arduino/avr/bootloaders"

// Boot is a bootloader as boards are sold with it.
type Boot struct {
	Family bootload.Family
	Board  string // of the firmware template, that such a board would become
	file   string
	mcu    string // what a source is compiled for
}

// Boots lists the bootloader images that Debian packages for the chips of the template's boards. The short family is built from the
// packaged source with the switches of its makefile, but for the flashing LED: with that, the packaged images have 532 bytes, and the section
// 512.
func Boots() []Boot {
	short, older, oldest := bootload.Families()[0], bootload.Families()[1], bootload.Families()[2]
	return []Boot{
		{short, "m328-mains", "optiboot/optiboot.c", "atmega328p"},
		{short, "m328-cells", "optiboot/optiboot.c", "atmega328p"},
		{short, "m168-mains", "optiboot/optiboot.c", "atmega168"},
		{older, "m328-mains", "atmega/ATmegaBOOT_168_atmega328.hex", ""},
		{older, "m328-cells", "atmega/ATmegaBOOT_168_atmega328_pro_8MHz.hex", ""},
		{oldest, "m168-mains", "atmega/ATmegaBOOT_168_diecimila.hex", ""},
	}
}

// Name tells a boot from the others.
func (b Boot) Name() string { return b.Board + " " + b.Family.Name }

// Fresh is a board as sold: its bootloader in a flash that is empty otherwise, reset leading into the boot section, clock set, no table.
func (b Boot) Fresh(t testing.TB) *Emulated { return b.At(t, 0) }

// At is the same on a chip that runs at another clock than the bootloader was built for (Hz; 0: at that).
func (b Boot) At(t testing.TB, hz int) *Emulated {
	t.Helper()
	return New(t, b.Board, nil, func(c *board.Config) {
		c.Firmware = b.image(t, c)
		c.Fuses.BootReset, c.Fuses.BootWords = true, uint16(b.Family.Section/2)
		c.Fuses.ResetDelay = 4100 // SUT 10: shorter than the 16 ms watchdog with which the short family starts the firmware
		if hz != 0 {
			c.ClockHz = uint64(hz)
		}
	})
}

func (b Boot) image(t testing.TB, c *board.Config) *avr.Image {
	t.Helper()
	path := filepath.Join(bootImages, b.file)
	if filepath.Ext(path) == ".c" {
		path = b.build(t, path, 2*int(c.Part.FlashWords), int(c.ClockHz))
	}
	src, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	img, err := avr.ReadImage(src)
	if err != nil {
		t.Fatal(path, err)
	}
	return img
}

// build compiles a source of the short family, to end with its version in the last word of the flash.
func (b Boot) build(t testing.TB, source string, flash, hz int) string {
	t.Helper()
	elf := filepath.Join(t.TempDir(), "boot.elf")
	args := []string{
		"-w", "-Os", "-fno-inline-small-functions", "-fno-split-wide-types", "-mshort-calls", "-mmcu=" + b.mcu,
		"-DF_CPU=" + strconv.Itoa(hz) + "L", "-DBAUD_RATE=" + strconv.Itoa(b.Family.Baud), "-DLED_START_FLASHES=0",
		fmt.Sprintf("-Wl,--section-start=.text=%x", flash-b.Family.Section), fmt.Sprintf("-Wl,--section-start=.version=%x", flash-2),
		"-Wl,--relax", "-Wl,--gc-sections", "-nostartfiles", "-nostdlib", "-o", elf, source,
	}
	if out, err := exec.Command("avr-gcc", args...).CombinedOutput(); err != nil {
		t.Fatalf("avr-gcc %s: %v\n%s", strings.Join(args, " "), err, out)
	}
	return elf
}
