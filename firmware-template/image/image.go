// Package image carries the built firmware of every board as Intel HEX. The files are built by the Makefile beside this
// directory; BUILD records the compiler and the sizes.
package image

import (
	"embed"
	"errors"

	"mealtab/compiler/ihex"
)

// FS holds the images, one "<board>.hex" for each board of [mealtab/compiler/profile.Boards].
//
//go:embed *.hex BUILD
var FS embed.FS

// Hex returns the image of a board by its name; ok is false if there is none.
func Hex(board string) (hex []byte, ok bool) {
	hex, err := FS.ReadFile(board + ".hex")
	return hex, err == nil
}

// Flash reads an image from Intel HEX: its bytes from address 0 to the last one that is not as erased memory is. Every byte counts: the last
// is that of an instruction.
func Flash(hex []byte) ([]byte, error) {
	b, err := ihex.Read(hex)
	if err != nil {
		return nil, err
	}
	for len(b) > 0 && b[len(b)-1] == ihex.Erased {
		b = b[:len(b)-1]
	}
	if len(b) == 0 {
		return nil, errors.New("the image is empty: every byte is FF, as in memory that was never written")
	}
	return b, nil
}
