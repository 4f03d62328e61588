// Package source is text that remembers where it stands: for showing an owner the very characters that are meant.
//
// In: the bytes of a file. Out: pieces of it, through escapes and folded lines, each byte with its offset; offsets as lines and columns.
package source

import (
	"bytes"
	"sort"
	"strings"
	"unicode/utf8"
)

// ByteOrderMark is the mark some editors put before UTF-8 text; it is not part of the text.
var ByteOrderMark = []byte("\xEF\xBB\xBF")

// Span is a half-open range of byte offsets in a source. The zero Span is "absent".
type Span struct{ From, To int }

// Text is a decoded value that remembers where each of its bytes stands in the source, through TOML escapes and
// iCalendar line folds: Off[i] is the source offset of S[i], Off[len(S)] that of what follows.
type Text struct {
	S   string
	Off []int
}

// Plain is the text of src[from:to], where nothing is escaped or folded.
func Plain(src []byte, from, to int) Text {
	off := make([]int, to-from+1)
	for i := range off {
		off[i] = from + i
	}
	return Text{string(src[from:to]), off}
}

// Span gives the source range of S[from:to]. Positions past the end mean the end.
func (t Text) Span(from, to int) Span {
	to = min(to, len(t.S))
	from = min(from, to)
	if from == to {
		return Span{t.Off[from], t.Off[from]}
	}
	return Span{t.Off[from], t.Off[to]}
}

// All is the range of the whole text.
func (t Text) All() Span { return t.Span(0, len(t.S)) }

// Sub is S[from:to] with its offsets.
func (t Text) Sub(from, to int) Text { return Text{t.S[from:to], t.Off[from : to+1]} }

// Trim removes white space from both ends.
func (t Text) Trim() Text {
	from := len(t.S) - len(strings.TrimLeft(t.S, " \t"))
	to := len(strings.TrimRight(t.S, " \t"))
	if from >= to {
		return t.Sub(0, 0)
	}
	return t.Sub(from, to)
}

// Split cuts the text at every sep.
func (t Text) Split(sep byte) []Text {
	var parts []Text
	start := 0
	for i := 0; i <= len(t.S); i++ {
		if i == len(t.S) || t.S[i] == sep {
			parts = append(parts, t.Sub(start, i))
			start = i + 1
		}
	}
	return parts
}

// Lines turns byte offsets into lines and columns.
type Lines struct {
	src    []byte
	starts []int         // offset of the first byte of each line
	counts map[int][]int // by line, for long lines: characters before every block of bytes
}

// blockBytes is how far counting characters ever has to go: a list of many dates may stand on one long line.
const blockBytes = 512

// NewLines finds the lines of a source, ended by LF or CRLF.
func NewLines(src []byte) *Lines {
	ix := &Lines{src: src, starts: []int{0}, counts: map[int][]int{}}
	for i, b := range src {
		if b == '\n' {
			ix.starts = append(ix.starts, i+1)
		}
	}
	return ix
}

// Line is the number, from 1, of the line that holds the byte at off.
func (ix *Lines) Line(off int) int {
	return sort.SearchInts(ix.starts, off+1)
}

// Pos is a place as people count: lines and columns from 1, columns and Len in characters.
type Pos struct{ Line, Col, Len int }

// Pos converts a span. What lies beyond the end of the span's first line is not counted in Len.
func (ix *Lines) Pos(s Span) Pos {
	from := max(0, min(s.From, len(ix.src)))
	line := ix.Line(from)
	start := ix.starts[line-1]
	end := len(ix.src)
	if line < len(ix.starts) {
		end = ix.starts[line] - 1
	}
	if end > start && ix.src[end-1] == '\r' {
		end--
	}
	from = min(from, end)
	to := max(from, min(s.To, end))
	return Pos{
		Line: line,
		Col:  ix.characters(line, from) + 1,
		Len:  max(1, utf8.RuneCount(ix.src[from:to])),
	}
}

// characters counts those of a line before off. A character is counted where its first byte stands; a byte that is not
// UTF-8 counts as one.
func (ix *Lines) characters(line, off int) int {
	start := ix.starts[line-1]
	if off-start < 2*blockBytes {
		return utf8.RuneCount(ix.src[start:off])
	}
	counts, ok := ix.counts[line]
	if !ok {
		counts = ix.count(start)
		ix.counts[line] = counts
	}
	block := (off - start) / blockBytes
	at := ix.characterStart(start, start+block*blockBytes)
	if at >= off {
		block--
		at = ix.characterStart(start, start+block*blockBytes)
	}
	return counts[block] + utf8.RuneCount(ix.src[at:off])
}

// count counts the characters before the start of each block's first character.
func (ix *Lines) count(start int) []int {
	var counts []int
	total, at := 0, start
	for block := start; block <= len(ix.src); block += blockBytes {
		next := ix.characterStart(start, block)
		total += utf8.RuneCount(ix.src[at:next])
		at = next
		counts = append(counts, total)
		if bytes.IndexByte(ix.src[block:min(block+blockBytes, len(ix.src))], '\n') >= 0 {
			break
		}
	}
	return counts
}

// characterStart is the first offset from off on at which a character may begin, at most 3 bytes further.
func (ix *Lines) characterStart(start, off int) int {
	for i := off; i < min(off+utf8.UTFMax, len(ix.src)) && off > start; i++ {
		if utf8.RuneStart(ix.src[i]) {
			return i
		}
	}
	return min(off, len(ix.src))
}

// All is the whole source.
func (ix *Lines) All() []byte { return ix.src }

// Start is the byte offset at which a line begins, its number counted from 1.
func (ix *Lines) Start(line int) int { return ix.starts[line-1] }

// Count is how many lines there are.
func (ix *Lines) Count() int { return len(ix.starts) }

// Bytes is a line without its end.
func (ix *Lines) Bytes(line int) []byte {
	end := len(ix.src)
	if line < len(ix.starts) {
		end = ix.starts[line] - 1
	}
	return bytes.TrimSuffix(ix.src[ix.starts[line-1]:end], []byte("\r"))
}

// InvalidUTF8 is the offset of the first byte that is not UTF-8, -1 where all are.
func InvalidUTF8(s string) int {
	for i := 0; i < len(s); {
		r, size := utf8.DecodeRuneInString(s[i:])
		if r == utf8.RuneError && size == 1 {
			return i
		}
		i += size
	}
	return -1
}
