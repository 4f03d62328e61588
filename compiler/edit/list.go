package edit

import (
	"bytes"
	"slices"

	"github.com/pelletier/go-toml/v2/unstable"
)

// Append puts values, given as TOML, at the end of a list, as the elements before them stand: on one line, or each on a line of
// its own. A list that is not there is begun; a single value becomes a list. Comments stay with the elements they follow.
func (d *Doc) Append(k Key, values ...string) []byte {
	if len(values) == 0 {
		return d.src
	}
	e := d.find(k)
	switch {
	case e == nil:
		return d.Set(k, list(values))
	case e.kind != unstable.Array:
		return d.Set(k, list(append([]string{string(d.src[e.value:e.end])}, values...)))
	case len(e.items) == 0:
		return d.splice(e.value+1, e.value+1, joined(values))
	}
	last := e.items[len(e.items)-1]
	if d.lineStart(last.from) <= e.value { // on the line of the bracket
		return d.splice(last.end, last.end, ", "+joined(values))
	}
	indent := string(d.src[d.lineStart(last.from):last.from])
	trailing := d.comma(last.end, e.end)
	if len(bytes.TrimSpace([]byte(indent))) > 0 || trailing >= d.lineEnd(last.end) { // others stand before it, or its comma further down
		return d.splice(last.end, last.end, ", "+joined(values))
	}
	var lines []byte
	for _, v := range values {
		lines = append(lines, indent+v+","+d.newline()...)
	}
	comma := ","
	if trailing >= 0 {
		comma = ""
	}
	at := d.lineEnd(last.end)
	if at > e.end-1 { // the closing bracket stands on the last element's line
		return d.splice(last.end, last.end, ","+d.newline()+string(bytes.TrimRight(lines, ",\r\n")))
	}
	return slices.Concat(d.src[:last.end], []byte(comma), d.src[last.end:at], lines, d.src[at:])
}

// Element is the number of the list's element at a place (line and column from 1, columns in characters); -1: none stands there.
func (d *Doc) Element(k Key, line, column int) int {
	e := d.find(k)
	if e == nil {
		return -1
	}
	off := d.offset(line, column)
	return slices.IndexFunc(e.items, func(it item) bool { return off >= it.from && off < it.end })
}

// Drop takes elements out of a list, by their numbers; the last one with the key. A line that becomes empty goes, comments stay.
func (d *Doc) Drop(k Key, numbers ...int) []byte {
	e := d.find(k)
	if e == nil {
		return d.src
	}
	if e.kind != unstable.Array || len(numbers) >= len(e.items) {
		return d.Remove(k)
	}
	if !bytes.ContainsAny(d.src[e.value:e.end], "\n#") {
		var kept []string
		for n, it := range e.items {
			if !slices.Contains(numbers, n) {
				kept = append(kept, string(d.src[it.from:it.end]))
			}
		}
		return d.Set(k, list(kept))
	}
	text := slices.Clone(d.src)
	cut := func(from, end int) { text = slices.Concat(text[:from], text[end:]) }
	for n, it := range slices.Backward(e.items) {
		if !slices.Contains(numbers, n) {
			continue
		}
		comma := d.comma(it.end, e.end)
		if comma >= d.lineEnd(it.end) { // further down, comments between
			cut(comma, comma+1)
			comma = -1
		}
		cut(d.stretch(e, it.from, max(it.end, comma+1)))
	}
	return text
}

// stretch is what goes with an element and the comma right after it: its line, where nothing else is on that. The last element may
// leave a comma behind, which TOML allows.
func (d *Doc) stretch(e *entry, from, end int) (start, stop int) {
	start, stop = d.lineStart(from), d.lineEnd(end)
	if start > e.value && stop <= e.end && d.only(start, from) && d.only(end, stop) {
		return start, stop
	}
	return from, end
}

// only reports whether there is nothing but white space between two places.
func (d *Doc) only(from, to int) bool { return len(bytes.TrimSpace(d.src[from:to])) == 0 }

// comma is where the comma after an element stands, between off and end; -1: there is none. Comments may stand before it.
func (d *Doc) comma(off, end int) int {
	for off < end {
		switch d.src[off] {
		case ',':
			return off
		case ']':
			return -1
		case '#':
			off = d.lineEnd(off)
		case ' ', '\t', '\r', '\n':
			off++
		default:
			return -1
		}
	}
	return -1
}

func list(values []string) string { return "[" + joined(values) + "]" }

func joined(values []string) string {
	var b bytes.Buffer
	for i, v := range values {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(v)
	}
	return b.String()
}
