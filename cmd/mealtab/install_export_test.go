package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/cmd/mealtab/internal/tablefile"
	"mealtab/compiler/profile"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/firmware-template/image"
	"mealtab/flasher"
	"mealtab/flasher/bootload"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
)

func runWith(args ...string) (code int, out, errs string) {
	var said, complained bytes.Buffer
	code = newApp(nil, &said, &complained).execute(args)
	return code, said.String(), complained.String()
}

// An export holds the image and what compile writes, byte by byte; the fuses of the commands are those of the guide's table (which a test there
// compares with avr-libc); and a bare chip with these files is a feeder with this table.
func TestExport(t *testing.T) {
	plan := filepath.Join(flashertest.Root(t), "testdata", "plans", "01-two-cats.toml")
	for _, p := range profile.Boards() {
		t.Run(p.Name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "a", "bare")
			code, out, errs := runWith("install", "--board", p.Name, "--export", dir, plan)
			require.Zero(t, code, errs)
			require.Equal(t, dir+": flash.hex, eeprom.hex and README.txt for "+p.Name+"; the last has the fuses and the commands\n", out)
			flash, err := os.ReadFile(filepath.Join(dir, "flash.hex"))
			require.NoError(t, err)
			built, _ := image.Hex(p.Name)
			require.True(t, bytes.Equal(built, flash))

			compiled := filepath.Join(t.TempDir(), "plan.hex")
			code, _, errs = runWith("compile", plan, "--board", p.Name, "-o", compiled)
			require.Zero(t, code, errs)
			want, err := os.ReadFile(compiled)
			require.NoError(t, err)
			eeprom, err := os.ReadFile(filepath.Join(dir, "eeprom.hex"))
			require.NoError(t, err)
			require.True(t, bytes.Equal(want, eeprom))

			text, err := os.ReadFile(filepath.Join(dir, "README.txt"))
			require.NoError(t, err)
			fuses := bootload.TargetFor(p)
			require.Contains(t, string(text), fmt.Sprintf("-U lfuse:w:0x%02X:m -U hfuse:w:0x%02X:m -U efuse:w:0x%02X:m", fuses.Low, fuses.High, fuses.Extended))
			for _, m := range regexp.MustCompile(`-U (?:flash|eeprom):w:(\S+):i`).FindAllStringSubmatch(string(text), -1) {
				require.FileExists(t, filepath.Join(dir, m[1]))
			}
			require.Less(t, bytes.Index(text, []byte("eeprom:r:")), bytes.Index(text, []byte("flash:w:")), "the EEPROM is read back before the chip is erased")

			img, err := avr.ReadImage(flash)
			require.NoError(t, err)
			tab, err := tablefile.Read(eeprom)
			require.NoError(t, err)
			e := flashertest.New(t, p.Name, tab, func(c *board.Config) { c.Firmware = img })
			f, err := flasher.Connect(link.New(e, "bare", p.Baud))
			require.NoError(t, err)
			st, err := f.Status()
			require.NoError(t, err)
			held, err := f.Table(st)
			require.NoError(t, err)
			require.Equal(t, tab, held)
		})
	}
}

// Nothing is written where one of the three names is another's file; what an export wrote, the next one may replace.
func TestExportKeepsFilesOfOthers(t *testing.T) {
	plan := filepath.Join(flashertest.Root(t), "testdata", "plans", "01-two-cats.toml")
	for _, name := range []string{"flash.hex", "eeprom.hex", "README.txt"} {
		dir := t.TempDir()
		mine := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(mine, []byte("dear diary\n"), 0o600))
		code, _, errs := runWith("install", "--board", "m328-mains", "--export", dir, plan)
		require.Equal(t, exitFailed, code)
		require.Contains(t, errs, mine+" is there already and is not ")
		files, err := os.ReadDir(dir)
		require.NoError(t, err)
		require.Len(t, files, 1, "nothing else was written")
		kept, err := os.ReadFile(mine)
		require.NoError(t, err)
		require.Equal(t, "dear diary\n", string(kept))
		code, _, errs = runWith("install", "--board", "m328-mains", "--export", dir, "--force", plan)
		require.Zero(t, code, errs)
		code, _, errs = runWith("install", "--board", "m328-cells", "--export", dir, plan) // of its own kind
		require.Zero(t, code, errs)
		code, _, errs = runWith("install", "--board", "m328-cells", "--export", dir)
		require.Equal(t, exitFailed, code, "the table of the export before would stay")
		require.Contains(t, errs, "eeprom.hex is there, from an export with a plan")
	}
	dir := t.TempDir()
	code, out, errs := runWith("install", "--board", "m168-mains", "--export", dir)
	require.Zero(t, code, errs)
	require.Contains(t, out, ": flash.hex and README.txt for")
	text, err := os.ReadFile(filepath.Join(dir, "README.txt"))
	require.NoError(t, err)
	require.NotContains(t, string(text), "eeprom:w:")
	for _, args := range [][]string{{"--export", dir, "-o", "x.hex"}, {"--export", dir, "--port", "x"}, {plan}} {
		code, _, _ := runWith(append([]string{"install", "--board", "m168-mains"}, args...)...)
		require.Equal(t, exitUsage, code, args)
	}
}
