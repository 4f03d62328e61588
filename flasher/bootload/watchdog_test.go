package bootload_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/avr"
	"mealtab/flasher/bootload"
	"mealtab/flasher/flashertest"
)

// resetsItself raises PB5 for 10 ms, lowers it, and has the watchdog reset the chip. As built for 16 MHz; on 8 it takes twice the time. The two chips
// have these registers in the same places.
const resetsItself = `
#include <avr/io.h>
#include <avr/wdt.h>
#include <util/delay.h>
int main(void)
{
	MCUSR = 0;
	wdt_disable();
	DDRB |= 1 << 5;
	PORTB |= 1 << 5;
	_delay_ms(10);
	PORTB = 0;
	_delay_ms(10);
	wdt_enable(WDTO_15MS);
	for (;;)
		;
}
`

// What a reset by the watchdog means under each packaged bootloader: under the short family the program begins again; under the older ones it
// never does, because the watchdog runs on with its shortest period (data sheet 11.9.2) and they do not stop it.
func TestWatchdogResetUnderPackagedBootloaders(t *testing.T) {
	for _, boot := range flashertest.Boots() {
		t.Run(boot.Name(), func(t *testing.T) {
			e := boot.Fresh(t)
			e.HasReset = true
			b := watched(boot, e, compiledProgram(t), nil)
			b.chips = allChips()
			_, err := b.install()
			require.NoError(t, err)
			starts, lit := 0, false
			b.Watch = func() {
				now := b.Board.MCU().Peek(avr.PORTB)&(1<<5) != 0 && int(b.Board.MCU().PC())*2 < len(b.flash())-boot.Family.Section
				if now && !lit {
					starts++
				}
				lit = now
			}
			require.NoError(t, b.Reset())
			b.Sleep(20 * time.Second)
			if boot.Family.Section == 512 {
				require.Greater(t, starts, 50)
			} else {
				require.Equal(t, 1, starts)
			}
		})
	}
}

func allChips() (names []string) {
	for _, c := range bootload.Chips() {
		names = append(names, c.Name)
	}
	return names
}

func compiledProgram(t *testing.T) []byte {
	t.Helper()
	dir := t.TempDir()
	c, elf := filepath.Join(dir, "p.c"), filepath.Join(dir, "p.elf")
	require.NoError(t, os.WriteFile(c, []byte(resetsItself), 0o600))
	out, err := exec.Command("avr-gcc", "-Os", "-mmcu=atmega168p", "-DF_CPU=16000000UL", "-o", elf, c).CombinedOutput()
	require.NoError(t, err, "%s", out)
	src, err := os.ReadFile(elf)
	require.NoError(t, err)
	img, err := avr.ReadImage(src)
	require.NoError(t, err)
	return img.Flash
}
