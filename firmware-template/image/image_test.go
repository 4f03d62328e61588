package image_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/ihex"
	"mealtab/compiler/profile"
	"mealtab/firmware-template/image"
)

func hexOf(t *testing.T, data []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, ihex.Write(&b, 0, data))
	return b.Bytes()
}

// Any last byte but that of erased memory stays, also those that are no character in UTF-8.
func TestFlashKeepsTheLastByte(t *testing.T) {
	for last := range 0xFF {
		for _, erased := range []int{0, 1, 40} {
			img := []byte{0x0C, 0xFF, byte(last)}
			got, err := image.Flash(hexOf(t, append(bytes.Clone(img), bytes.Repeat([]byte{0xFF}, erased)...)))
			require.NoError(t, err)
			require.Equal(t, img, got)
		}
	}
}

func TestFlashRefuses(t *testing.T) {
	for src, want := range map[string]string{
		string(hexOf(t, bytes.Repeat([]byte{0xFF}, 64))): "the image is empty: every byte is FF, as in memory that was never written",
		":00000001FF\n": "the image is empty: every byte is FF, as in memory that was never written",
		"":              "hex file, line 0: the end-of-file record :00000001FF is missing; the file may be cut off",
		"hello":         `hex file, line 1: a record begins with a colon, not "h"`,
	} {
		_, err := image.Flash([]byte(src))
		require.EqualError(t, err, want)
	}
}

// avr-objcopy has a reader of its own for these files.
func TestFlashOfEveryBoard(t *testing.T) {
	for _, b := range profile.Boards() {
		src, ok := image.Hex(b.Name)
		require.True(t, ok, b.Name)
		got, err := image.Flash(src)
		require.NoError(t, err)
		name := filepath.Join(t.TempDir(), "image")
		require.NoError(t, os.WriteFile(name+".hex", src, 0o600))
		require.NoError(t, exec.Command("avr-objcopy", "-I", "ihex", "-O", "binary", name+".hex", name+".bin").Run())
		want, err := os.ReadFile(name + ".bin")
		require.NoError(t, err)
		require.True(t, bytes.Equal(want, got), b.Name)
	}
}

// The room that the project allows: on the ATmega168, 13.8 KiB, so that 200 bytes are left below the older bootloader's 2 KiB; on the
// ATmega328P, 20 KiB, whatever its sensors.
func TestImagesAreSmall(t *testing.T) {
	files, err := image.FS.ReadDir(".")
	require.NoError(t, err)
	measured := 0
	for _, f := range files {
		board, isImage := strings.CutSuffix(f.Name(), ".hex")
		if !isImage {
			continue
		}
		most := 20 << 10
		if strings.HasPrefix(board, "m168-") {
			most = 14_131
		}
		src, _ := image.Hex(board)
		got, err := image.Flash(src)
		require.NoError(t, err)
		require.LessOrEqual(t, len(got), most, board)
		measured++
	}
	require.Equal(t, 6, measured)
}
