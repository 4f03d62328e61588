package image_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/ihex"
	"mealtab/compiler/table"
	"mealtab/emulator/avr"
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

// The emulator has a reader of its own for these files.
func TestFlashOfEveryBoard(t *testing.T) {
	for _, b := range table.Boards() {
		src, ok := image.Hex(b.Name)
		require.True(t, ok, b.Name)
		got, err := image.Flash(src)
		require.NoError(t, err)
		want, err := avr.ReadImage(src)
		require.NoError(t, err)
		require.True(t, bytes.Equal(want.Flash, got), b.Name)
	}
}
