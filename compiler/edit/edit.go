// Package edit changes single values in the text of a plan and leaves everything else as its owner wrote it: comments, blank
// lines, order, alignment.
//
// In: TOML text (v1.0) and a [Key]. Out: new text. The package knows where the keys of a plan stand, not what they mean; values
// go in and come out as TOML.
package edit

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2/unstable"
)

// Key names a value of a plan. Table is "" (the top), "wheel", "hopper", "button" and so on, or "meal"; Meal counts from 0.
type Key struct {
	Table string
	Meal  int
	Name  string
}

// Doc is a plan's text with the places of its keys.
type Doc struct {
	src    []byte
	start  int      // after a byte order mark
	tables []*table // in order of the text; tables[0] is the top
}

// table is a heading with its keys. Offsets are bytes.
type table struct {
	name    string // "" for the top
	heading int    // start of the heading's line; that of the text for the top, -1 where keys of the top make the table
	body    int    // where keys may begin: end of the heading's line, its newline included
	list    bool   // [[name]]
	inline  bool   // name = { … }
	keys    []entry
}

type entry struct {
	name     string
	from     int // of the key
	value    int
	end      int // of the value
	equals   int // of the = sign
	inDotted bool
	kind     unstable.Kind
	items    []item
	text     string // decoded, for a string
}

// item is one element of a list.
type item struct {
	kind      unstable.Kind
	text      string // decoded string, or the token
	from, end int
}

// Parse reads the places. It fails where the text is no TOML, or where meals stand in a form other than [[meal]] headings.
func Parse(src []byte) (*Doc, error) {
	d, err := ParseTables(src)
	if err != nil {
		return nil, err
	}
	for _, t := range d.tables {
		if t.name == "meal" && !t.list {
			return nil, fmt.Errorf("line %d: [meal] is a single table; write [[meal]]", d.line(max(t.heading, 0)))
		}
	}
	for _, k := range d.tables[0].keys {
		if k.name == "meal" {
			return nil, fmt.Errorf("line %d: meals are written as a list of values; they can only be changed here under [[meal]] headings", d.line(k.from))
		}
	}
	return d, nil
}

// ParseTables is Parse for a text of which no meals are to be changed: they may stand in any form.
func ParseTables(src []byte) (*Doc, error) {
	base := len(src) - len(bytes.TrimPrefix(src, []byte("\xEF\xBB\xBF")))
	d := &Doc{src: src, start: base, tables: []*table{{heading: base, body: base}}}
	var p unstable.Parser
	p.Reset(src[base:])
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			names, spans := keyParts(e, base)
			t := &table{name: strings.Join(names, "."), heading: d.lineStart(spans[0].from), list: e.Kind == unstable.ArrayTable}
			t.body = d.lineEnd(spans[len(spans)-1].to)
			d.tables = append(d.tables, t)
		case unstable.KeyValue:
			d.keyValue(e, base)
		}
	}
	return d, p.Error()
}

// Source is the text.
func (d *Doc) Source() []byte { return d.src }

type span struct{ from, to int }

func keyParts(e *unstable.Node, base int) (names []string, spans []span) {
	for it := e.Key(); it.Next(); {
		if n := it.Node(); n.Kind == unstable.Key {
			names = append(names, string(n.Data))
			spans = append(spans, span{base + int(n.Raw.Offset), base + int(n.Raw.Offset+n.Raw.Length)})
		}
	}
	return names, spans
}

func (d *Doc) keyValue(e *unstable.Node, base int) {
	names, spans := keyParts(e, base)
	last := len(names) - 1
	k := entry{name: names[last], from: spans[0].from, end: base + int(e.Raw.Offset+e.Raw.Length), inDotted: last > 0}
	k.equals = spans[last].to + bytes.IndexByte(d.src[spans[last].to:], '=')
	k.value = k.equals + 1
	for k.value < k.end && (d.src[k.value] == ' ' || d.src[k.value] == '\t') {
		k.value++
	}
	for k.end > k.value && (d.src[k.end-1] == ' ' || d.src[k.end-1] == '\t') {
		k.end--
	}
	v := e.Value()
	k.kind = v.Kind
	switch v.Kind {
	case unstable.String:
		k.text = string(v.Data)
	case unstable.Array:
		for it := v.Children(); it.Next(); {
			n := it.Node()
			from, end := base+int(n.Raw.Offset), base+int(n.Raw.Offset+n.Raw.Length)
			t := item{kind: n.Kind, text: string(d.src[from:end]), from: from, end: end}
			if n.Kind == unstable.String {
				t.text = string(n.Data)
			}
			k.items = append(k.items, t)
		}
	default:
		k.text = string(d.src[k.value:k.end])
	}
	t := d.tables[len(d.tables)-1]
	if t.name == "" && last > 0 { // wheel.pocket = …
		t = d.ofTop(strings.Join(names[:last], "."), d.lineStart(k.from))
	}
	t.keys = append(t.keys, k)
	if t.name == "" && v.Kind == unstable.InlineTable { // wheel = { pocket = … }
		d.inline(k, v, base)
	}
}

// inline adds the table that stands in a value.
func (d *Doc) inline(k entry, v *unstable.Node, base int) {
	t := d.ofTop(k.name, k.value+1)
	t.inline = true
	for it := v.Children(); it.Next(); {
		names, spans := keyParts(it.Node(), base)
		value := it.Node().Value()
		from := base + int(value.Raw.Offset)
		e := entry{name: strings.Join(names, "."), from: spans[0].from, value: from, end: from + int(value.Raw.Length), kind: value.Kind}
		e.text = string(d.src[e.value:e.end])
		if e.kind == unstable.String {
			e.text = string(value.Data)
		}
		t.keys = append(t.keys, e)
	}
}

// ofTop is the table that keys of the top make; body is where its first key may stand.
func (d *Doc) ofTop(name string, body int) *table {
	for _, t := range d.tables {
		if t.name == name && t.heading == -1 {
			return t
		}
	}
	t := &table{name: name, heading: -1, body: body}
	d.tables = append([]*table{d.tables[0], t}, d.tables[1:]...)
	return t
}

// Meals is the number of [[meal]] headings.
func (d *Doc) Meals() int {
	n := 0
	for _, t := range d.tables {
		if t.name == "meal" {
			n++
		}
	}
	return n
}

// MealText is a meal's text, without the comments above its heading.
func (d *Doc) MealText(n int) string {
	for i, t := range d.tables {
		if t.name != "meal" {
			continue
		}
		if n == 0 {
			return string(d.src[t.heading:d.end(i)])
		}
		n--
	}
	return ""
}

// table finds a key's table; nil if the text has none.
func (d *Doc) table(k Key) *table {
	n := 0
	for _, t := range d.tables {
		if t.name != k.Table {
			continue
		}
		if k.Table != "meal" || n == k.Meal {
			return t
		}
		n++
	}
	return nil
}

func (d *Doc) find(k Key) *entry {
	t := d.table(k)
	if t == nil {
		return nil
	}
	for i := range t.keys {
		if t.keys[i].name == k.Name {
			return &t.keys[i]
		}
	}
	return nil
}

// Text gives a value as a person reads it: a string without quotes, a list with commas; "" where there is none.
func (d *Doc) Text(k Key) string {
	return strings.Join(d.List(k), ", ")
}

// List gives the elements of a list, or the one value.
func (d *Doc) List(k Key) []string {
	e := d.find(k)
	switch {
	case e == nil:
		return nil
	case e.kind != unstable.Array:
		return []string{e.text}
	}
	words := make([]string, len(e.items))
	for i, t := range e.items {
		words[i] = t.text
	}
	return words
}

// Has reports whether a key is written.
func (d *Doc) Has(k Key) bool { return d.find(k) != nil }

// At is the key whose line, or value, holds a place (line and column from 1, columns in characters). Of a heading, or what
// belongs to none of the keys, it gives the table with an empty name; ok is false at the top of the text.
func (d *Doc) At(line, column int) (k Key, ok bool) {
	off := d.offset(line, column)
	meal := -1
	for i, t := range d.tables {
		if t.name == "meal" {
			meal++
		}
		for _, e := range t.keys {
			if off >= d.lineStart(e.from) && off < d.lineEnd(e.end) {
				return Key{t.name, max(meal, 0), e.name}, true
			}
		}
		if i > 0 && t.heading >= 0 && off >= t.heading && off < d.end(i) {
			k, ok = Key{Table: t.name, Meal: max(meal, 0)}, true
		}
	}
	return k, ok
}

// end is where a table's text ends: at the next heading, or the comment lines right above it.
func (d *Doc) end(i int) int {
	for _, t := range d.tables[i+1:] {
		if t.heading >= 0 {
			return d.above(t.heading)
		}
	}
	return len(d.src)
}

// above moves a line's start up over the comment lines right above it. What looks like one may be the end of a string.
func (d *Doc) above(start int) int {
	floor := d.start
	for _, t := range d.tables {
		for _, k := range t.keys {
			if k.end <= start {
				floor = max(floor, k.end)
			}
		}
	}
	for start > floor {
		before := d.lineStart(start - 1)
		if before < floor || !bytes.HasPrefix(bytes.TrimLeft(d.src[before:start], " \t"), []byte("#")) {
			break
		}
		start = before
	}
	return start
}

func (d *Doc) lineStart(off int) int { return max(d.start, bytes.LastIndexByte(d.src[:off], '\n')+1) }

// lineEnd is after the newline of the line that holds off.
func (d *Doc) lineEnd(off int) int {
	if i := bytes.IndexByte(d.src[off:], '\n'); i >= 0 {
		return off + i + 1
	}
	return len(d.src)
}

func (d *Doc) line(off int) int { return bytes.Count(d.src[:off], []byte("\n")) + 1 }

func (d *Doc) offset(line, column int) int {
	off := 0
	for ; line > 1; line-- {
		off = d.lineEnd(off)
	}
	for end := d.lineEnd(off); column > 1 && off < end; column-- {
		_, n := utf8.DecodeRune(d.src[off:])
		off += n
	}
	return min(off, max(0, len(d.src)-1))
}
