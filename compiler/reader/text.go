package reader

import (
	"bytes"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"

	"mealtab/compiler/plan"
)

// span is a half-open range of byte offsets in a source.
type span struct{ from, to int }

// text is a decoded value that remembers where each of its bytes stands in the source, through TOML escapes and
// iCalendar line folds: off[i] is the source offset of s[i], off[len(s)] that of what follows.
type text struct {
	s   string
	off []int
}

// plainText is the text of src[from:to], where nothing is escaped or folded.
func plainText(src []byte, from, to int) text {
	off := make([]int, to-from+1)
	for i := range off {
		off[i] = from + i
	}
	return text{string(src[from:to]), off}
}

// span gives the source range of s[from:to]. Positions past the end mean the end.
func (t text) span(from, to int) span {
	to = min(to, len(t.s))
	from = min(from, to)
	if from == to {
		return span{t.off[from], t.off[from]}
	}
	return span{t.off[from], t.off[to]}
}

// all is the range of the whole text.
func (t text) all() span { return t.span(0, len(t.s)) }

// sub is s[from:to] with its offsets.
func (t text) sub(from, to int) text { return text{t.s[from:to], t.off[from : to+1]} }

// trim removes white space from both ends.
func (t text) trim() text {
	from := len(t.s) - len(strings.TrimLeft(t.s, " \t"))
	to := len(strings.TrimRight(t.s, " \t"))
	if from >= to {
		return t.sub(0, 0)
	}
	return t.sub(from, to)
}

// split cuts the text at every sep.
func (t text) split(sep byte) []text {
	var parts []text
	start := 0
	for i := 0; i <= len(t.s); i++ {
		if i == len(t.s) || t.s[i] == sep {
			parts = append(parts, t.sub(start, i))
			start = i + 1
		}
	}
	return parts
}

// index turns byte offsets into lines and columns.
type index struct {
	src    []byte
	starts []int         // offset of the first byte of each line
	counts map[int][]int // by line, for long lines: characters before every block of bytes
}

// blockBytes is how far counting characters ever has to go: a list of many dates may stand on one long line.
const blockBytes = 512

func newIndex(src []byte) *index {
	ix := &index{src: src, starts: []int{0}, counts: map[int][]int{}}
	for i, b := range src {
		if b == '\n' {
			ix.starts = append(ix.starts, i+1)
		}
	}
	return ix
}

// line is the number, from 1, of the line that holds the byte at off.
func (ix *index) line(off int) int {
	return sort.SearchInts(ix.starts, off+1)
}

// pos converts a span. What lies beyond the end of the span's first line is not counted in Len.
func (ix *index) pos(s span) plan.Pos {
	from := max(0, min(s.from, len(ix.src)))
	line := ix.line(from)
	start := ix.starts[line-1]
	end := len(ix.src)
	if line < len(ix.starts) {
		end = ix.starts[line] - 1
	}
	if end > start && ix.src[end-1] == '\r' {
		end--
	}
	from = min(from, end)
	to := max(from, min(s.to, end))
	return plan.Pos{
		Line: line,
		Col:  ix.characters(line, from) + 1,
		Len:  max(1, utf8.RuneCount(ix.src[from:to])),
	}
}

// characters counts those of a line before off. A character is counted where its first byte stands; a byte that is not
// UTF-8 counts as one.
func (ix *index) characters(line, off int) int {
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
func (ix *index) count(start int) []int {
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
func (ix *index) characterStart(start, off int) int {
	for i := off; i < min(off+utf8.UTFMax, len(ix.src)) && off > start; i++ {
		if utf8.RuneStart(ix.src[i]) {
			return i
		}
	}
	return min(off, len(ix.src))
}

// atoi reads what [plan.AllDigits] has accepted.
func atoi(digits string) int {
	n, _ := strconv.Atoi(digits)
	return n
}
