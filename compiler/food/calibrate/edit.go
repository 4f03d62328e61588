package calibrate

import (
	"bytes"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// Setting is a key of [wheel] with its value: a string without quotes in it.
type Setting struct{ Key, Value string }

// EditWheel sets keys of the [wheel] table in the text of a TOML plan. It replaces the values that are there, adds the keys
// that are not, and makes the table, above the first heading, where there is none; comments, order and every other byte
// stay. The plan must be one that package plan accepts. The result is read back and compared before it is returned.
func EditWheel(src []byte, settings []Setting) ([]byte, error) {
	w, err := findWheel(src)
	if err != nil {
		return nil, err
	}
	var edits []edit
	var missing []Setting
	for _, s := range settings {
		if v, ok := w.values[s.Key]; ok {
			edits = append(edits, edit{v.from, v.to, quoted(s)})
		} else {
			missing = append(missing, s)
		}
	}
	if len(missing) > 0 {
		edits = append(edits, w.add(missing))
	}
	out := apply(src, edits)
	if err := compare(src, out, settings); err != nil {
		return nil, fmt.Errorf("internal error: %w; the plan was left as it is", err)
	}
	return out, nil
}

func quoted(s Setting) string { return `"` + s.Value + `"` }

// edit replaces src[from:to].
type edit struct {
	from, to int
	text     string
}

func apply(src []byte, edits []edit) []byte {
	slices.SortStableFunc(edits, func(a, b edit) int { return a.from - b.from })
	var out []byte
	at := 0
	for _, e := range edits {
		out = append(append(out, src[at:e.from]...), e.text...)
		at = e.to
	}
	return append(out, src[at:]...)
}

// wheel says where the table stands in the text.
type wheel struct {
	src    []byte
	values map[string]place
	shape  shape
	last   int // end of the last expression of the table: its heading, key, or inline table's last value
	line   int // start of the last key of the table, 0 where there is none
	insert int // where a new table would go
}

type place struct{ from, to int }

// shape is how the table is written.
type shape int

const (
	absent shape = iota
	headed       // [wheel]
	dotted       // wheel.pocket = …
	inline       // wheel = { … }
)

// findWheel walks through the expressions of a plan.
func findWheel(src []byte) (*wheel, error) {
	w := &wheel{src: src, values: map[string]place{}, insert: -1}
	base := len(src) - len(bytes.TrimPrefix(src, []byte("\xEF\xBB\xBF")))
	var p unstable.Parser
	p.Reset(src[base:])
	inWheel, end := false, base
	for p.NextExpression() {
		e := p.Expression()
		keys, at := keysOf(e.Key())
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			if w.insert < 0 {
				w.insert = w.above(base+at.from, end)
			}
			end = base + at.to
			inWheel = e.Kind == unstable.Table && len(keys) == 1 && keys[0] == "wheel"
			if inWheel {
				w.shape, w.last = headed, end
			}
			if w.last > 0 && !inWheel && keys[0] == "wheel" {
				return nil, errors.New("[wheel] is written in several pieces: put its keys under one heading first")
			}
		case unstable.KeyValue:
			end = base + int(e.Raw.Offset+e.Raw.Length)
			w.keyValue(e, keys, base, base+at.from, end, inWheel, w.insert < 0)
		}
	}
	if err := p.Error(); err != nil {
		return nil, fmt.Errorf("the plan is not TOML: %w", err)
	}
	if w.insert < 0 {
		w.insert = len(src)
	}
	return w, nil
}

// keysOf gives the parts of a key and the place of the whole of it.
func keysOf(it unstable.Iterator) (names []string, at place) {
	for it.Next() {
		if n := it.Node(); n.Kind == unstable.Key {
			if len(names) == 0 {
				at.from = int(n.Raw.Offset)
			}
			at.to = int(n.Raw.Offset + n.Raw.Length)
			names = append(names, string(n.Data))
		}
	}
	return names, at
}

func (w *wheel) keyValue(e *unstable.Node, keys []string, base, from, end int, inWheel, atRoot bool) {
	value := func(n *unstable.Node) place {
		return place{base + int(n.Raw.Offset), base + int(n.Raw.Offset+n.Raw.Length)}
	}
	switch {
	case inWheel && len(keys) == 1:
		w.values[keys[0]] = value(e.Value())
		w.last, w.line = end, from
	case atRoot && len(keys) == 2 && keys[0] == "wheel":
		w.values[keys[1]] = value(e.Value())
		w.shape, w.last, w.line = dotted, end, from
	case atRoot && len(keys) == 1 && keys[0] == "wheel" && e.Value().Kind == unstable.InlineTable:
		w.shape = inline
		w.last = base + int(e.Value().Raw.Offset) + 1
		for it := e.Value().Children(); it.Next(); {
			child := it.Node()
			names, _ := keysOf(child.Key())
			at := value(child.Value())
			w.values[names[0]] = at
			w.last, w.line = at.to, at.from
		}
	}
}

// above is the start of the line of the heading at offset at, and of the comments that stand right above it, but not
// before offset end.
func (w *wheel) above(at, end int) int {
	line := bytes.LastIndexByte(w.src[:at], '\n') + 1
	for line > end {
		before := bytes.LastIndexByte(w.src[:line-1], '\n') + 1
		if before < end || !bytes.HasPrefix(bytes.TrimSpace(w.src[before:line]), []byte("#")) {
			break
		}
		line = before
	}
	return line
}

// newline is the line end of the text.
func (w *wheel) newline() string {
	if i := bytes.IndexByte(w.src, '\n'); i > 0 && w.src[i-1] == '\r' {
		return "\r\n"
	}
	return "\n"
}

// add is the edit that adds keys.
func (w *wheel) add(list []Setting) edit {
	var b strings.Builder
	nl := w.newline()
	switch w.shape {
	case inline:
		for i, s := range list {
			if w.line > 0 || i > 0 {
				b.WriteString(",")
			}
			b.WriteString(" " + s.Key + " = " + quoted(s))
		}
		return edit{w.last, w.last, b.String()}
	case headed, dotted:
		at := len(w.src)
		if i := bytes.IndexByte(w.src[w.last:], '\n'); i >= 0 {
			at = w.last + i + 1
		} else {
			b.WriteString(nl)
		}
		for _, s := range list {
			b.WriteString(w.keyLike(s.Key) + quoted(s) + nl)
		}
		text := b.String()
		if at == len(w.src) && (len(w.src) == 0 || w.src[at-1] != '\n') {
			text = strings.TrimSuffix(text, nl) // the text's last line had no end: it stays so
		}
		return edit{at, at, text}
	}
	return w.newTable(list, nl)
}

// keyLike writes key = with the indent and the width of the table's last key.
func (w *wheel) keyLike(key string) string {
	if w.shape == dotted {
		key = "wheel." + key
	}
	if w.line == 0 {
		return key + " = "
	}
	start := bytes.LastIndexByte(w.src[:w.line], '\n') + 1
	indent := string(w.src[start:w.line])
	if strings.TrimSpace(indent) != "" {
		indent = ""
	}
	equals := bytes.IndexByte(w.src[w.line:], '=')
	if equals <= len(key) {
		return indent + key + " = "
	}
	return indent + key + strings.Repeat(" ", equals-len(key)) + "= "
}

// newTable is a [wheel] with blank lines around it.
func (w *wheel) newTable(list []Setting, nl string) edit {
	var b strings.Builder
	width := 0
	for _, s := range list {
		width = max(width, len(s.Key))
	}
	before := w.src[:w.insert]
	switch {
	case len(bytes.TrimSpace(before)) == 0:
	case before[len(before)-1] != '\n':
		b.WriteString(nl + nl)
	case !bytes.HasSuffix(before, []byte("\n\n")) && !bytes.HasSuffix(before, []byte("\n\r\n")):
		b.WriteString(nl)
	}
	b.WriteString("[wheel]" + nl)
	for _, s := range list {
		fmt.Fprintf(&b, "%-*s = %s%s", width, s.Key, quoted(s), nl)
	}
	if w.insert < len(w.src) {
		b.WriteString(nl)
	}
	return edit{w.insert, w.insert, b.String()}
}

// compare reads both texts as TOML: they must differ in the settings and in nothing else.
func compare(old, edited []byte, settings []Setting) error {
	read := func(src []byte) (all map[string]any, err error) {
		err = toml.Unmarshal(bytes.TrimPrefix(src, []byte("\xEF\xBB\xBF")), &all)
		return all, err
	}
	want, err := read(old)
	if err != nil {
		return err
	}
	got, err := read(edited)
	if err != nil {
		return err
	}
	table, ok := want["wheel"].(map[string]any)
	if !ok {
		table = map[string]any{}
	}
	for _, s := range settings {
		table[s.Key] = s.Value
	}
	want["wheel"] = table
	if !reflect.DeepEqual(want, got) {
		return errors.New("the edited plan would say something else")
	}
	return nil
}
