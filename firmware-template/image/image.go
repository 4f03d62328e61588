// Package image carries the built firmware of every board as Intel HEX. The files are built by the Makefile beside this
// directory; BUILD records the compiler and the sizes.
package image

import "embed"

// FS holds the images, one "<board>.hex" for each board of [mealtab/compiler/table.Boards], and m328-index.hex: m328-mains
// with an index switch.
//
//go:embed *.hex BUILD
var FS embed.FS

// Hex returns the image of a board by its name; ok is false if there is none.
func Hex(board string) (hex []byte, ok bool) {
	hex, err := FS.ReadFile(board + ".hex")
	return hex, err == nil
}
