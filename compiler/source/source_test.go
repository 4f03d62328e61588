package source

import (
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// The columns of long lines, which are counted from checkpoints, are those of counting from the line's start, for any
// bytes.
func TestColumnsOfLongLines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		piece := rapid.SliceOfN(rapid.SampledFrom([]string{"a", "é", "朝", "🐈", "\u0301", "abcdefgh", "\n", "\x80"}), 0, 40).Draw(t, "pieces")
		var src []byte
		for range rapid.IntRange(1, 200).Draw(t, "repeat") {
			for _, p := range piece {
				src = append(src, p...)
			}
		}
		if !utf8.Valid(src) { // a file that is not UTF-8 gets one diagnostic, at its first bad byte
			src = []byte(string([]rune(string(src))))
		}
		ix := NewLines(src)
		for range 20 {
			off := rapid.IntRange(0, len(src)).Draw(t, "off")
			for off < len(src) && !utf8.RuneStart(src[off]) {
				off++
			}
			line := ix.Line(off)
			want := utf8.RuneCount(src[ix.starts[line-1]:off]) + 1
			if got := ix.Pos(Span{off, off}).Col; got != want {
				t.Fatalf("column %d, want %d", got, want)
			}
		}
	})
}
