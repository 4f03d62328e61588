package toml

import (
	"bytes"
	"unicode/utf8"

	"mealtab/compiler/draft"
	"mealtab/compiler/plan"
	"mealtab/compiler/source"

	"github.com/pelletier/go-toml/v2/unstable"
)

// value is a value with its place. An array of tables, or a table, has tables; an Invalid value stands for one
// that could not be read and has been reported.
type value struct {
	kind   unstable.Kind
	span   source.Span
	text   source.Text // decoded string, or the token as written
	items  []value
	tables []*table
}

// entry is one key of a table.
type entry struct {
	key   string
	span  source.Span // of the key
	value value
	used  bool // taken by the reader of the plan
}

// table is a table, in the order of its keys.
type table struct {
	span    source.Span // of the heading's key
	entries []*entry
	byKey   map[string]*entry
	open    bool // made by a longer heading or a dotted key, may still get its own heading
}

func (t *table) find(key string) *entry { return t.byKey[key] }

func (t *table) add(e *entry) {
	if t.byKey == nil {
		t.byKey = map[string]*entry{}
	}
	t.byKey[e.key] = e
	t.entries = append(t.entries, e)
}

// document builds the tree of tables. The parser underneath stops at the first fault, so reading is taken up
// again at the next line that looks like a key or a heading: an owner sees all faults at once.
type document struct {
	*draft.Builder
	src           []byte
	root, current *table
	base          int // offset of what the parser has been given
	parser        unstable.Parser
}

func readDocument(b *draft.Builder) *table {
	d := &document{Builder: b, src: b.Lines.All(), root: &table{}}
	d.current = d.root
	for next := 0; next >= 0; {
		next = d.readFrom(next)
	}
	return d.root
}

// readFrom reads until the end (result -1) or a fault, after which the result says where to go on.
func (d *document) readFrom(base int) int {
	d.base = base
	d.parser.Reset(d.src[base:])
	done := base
	for d.parser.NextExpression() {
		e := d.parser.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			done = d.heading(e)
		case unstable.KeyValue:
			done = base + int(e.Raw.Offset+e.Raw.Length)
			d.keyValue(d.current, e)
		}
	}
	if err := d.parser.Error(); err != nil {
		return d.syntaxError(err, done)
	}
	return -1
}

func (d *document) rangeOf(r unstable.Range) source.Span {
	return source.Span{From: d.base + int(r.Offset), To: d.base + int(r.Offset+r.Length)}
}

// keys returns the parts of a dotted key with their places.
func (d *document) keys(it unstable.Iterator) (names []string, spans []source.Span) {
	for it.Next() {
		if n := it.Node(); n.Kind == unstable.Key {
			names = append(names, string(n.Data))
			spans = append(spans, d.rangeOf(n.Raw))
		}
	}
	return names, spans
}

// heading opens [a.b] or [[a.b]] and returns the offset after its last key.
func (d *document) heading(e *unstable.Node) int {
	names, spans := d.keys(e.Key())
	d.open(e.Kind, names, spans)
	return spans[len(spans)-1].To
}

// open makes the table of a heading the current one. After a fault that is a table which nobody reads.
func (d *document) open(kind unstable.Kind, names []string, spans []source.Span) {
	last := len(names) - 1
	whole := source.Span{From: spans[0].From, To: spans[last].To}
	parent := d.descend(d.root, names[:last], spans[:last])
	d.current = &table{span: whole}
	if parent == nil {
		return
	}
	old := parent.find(names[last])
	switch {
	case old == nil:
		value := value{kind: kind, span: whole, tables: []*table{d.current}}
		parent.add(&entry{key: names[last], span: whole, value: value})
	case kind == unstable.ArrayTable && old.value.kind == unstable.ArrayTable:
		old.value.tables = append(old.value.tables, d.current)
	case kind == unstable.Table && old.value.kind == unstable.Table && old.value.tables[0].open:
		d.current = old.value.tables[0]
		d.current.open, d.current.span = false, whole
	default:
		d.Fail(plan.CodeDuplicate, whole, "put all its keys under one heading", "%s is already defined on line %d", names[last], d.Line(old.span))
	}
}

// descend walks down a dotted key, making tables on the way; nil after a fault.
func (d *document) descend(t *table, names []string, spans []source.Span) *table {
	for i, name := range names {
		e := t.find(name)
		switch {
		case e == nil:
			child := &table{span: spans[i], open: true}
			value := value{kind: unstable.Table, span: spans[i], tables: []*table{child}}
			t.add(&entry{key: name, span: spans[i], value: value})
			t = child
		case e.value.kind == unstable.Table || e.value.kind == unstable.ArrayTable:
			t = e.value.tables[len(e.value.tables)-1]
		default:
			d.Fail(plan.CodeDuplicate, spans[i], "", "%s is already a value on line %d, not a table", name, d.Line(e.span))
			return nil
		}
	}
	return t
}

func (d *document) keyValue(t *table, e *unstable.Node) {
	names, spans := d.keys(e.Key())
	last := len(names) - 1
	if t = d.descend(t, names[:last], spans[:last]); t == nil {
		return
	}
	if old := t.find(names[last]); old != nil {
		d.Fail(plan.CodeDuplicate, spans[last], "remove one of them", "%s is already set on line %d", names[last], d.Line(old.span))
		return
	}
	end := d.base + int(e.Raw.Offset+e.Raw.Length)
	value := d.value(e.Value(), d.afterEquals(spans[last].To, end))
	t.add(&entry{key: names[last], span: spans[last], value: value})
}

// afterEquals is the range of a value, given the end of its key and of the whole key = value.
func (d *document) afterEquals(from, to int) source.Span {
	for from < to && (d.src[from] == ' ' || d.src[from] == '\t' || d.src[from] == '=') {
		from++
	}
	for to > from && (d.src[to-1] == ' ' || d.src[to-1] == '\t') {
		to--
	}
	return source.Span{From: from, To: to}
}

// value converts a node; whole is its place where the parser does not give one (arrays, inline tables).
func (d *document) value(n *unstable.Node, whole source.Span) value {
	switch n.Kind {
	case unstable.Array:
		v := value{kind: n.Kind, span: whole}
		for it := n.Children(); it.Next(); {
			v.items = append(v.items, d.value(it.Node(), whole))
		}
		return v
	case unstable.InlineTable:
		t := &table{span: d.rangeOf(n.Raw)}
		for it := n.Children(); it.Next(); {
			d.keyValue(t, it.Node())
		}
		return value{kind: unstable.Table, span: t.span, tables: []*table{t}}
	}
	at := d.rangeOf(n.Raw)
	v := value{kind: n.Kind, span: at, text: source.Plain(d.src, at.From, at.To)}
	if n.Kind == unstable.String {
		v.text = d.decoded(string(n.Data), at)
	}
	return v
}

// decoded pairs the bytes of a decoded string with their places in the token at raw. Without escapes and line
// continuations they follow each other; else they are found by reading the token once more.
func (d *document) decoded(s string, raw source.Span) source.Text {
	token := d.src[raw.From:raw.To]
	quotes := 1
	if len(token) >= 6 && token[0] == token[1] && token[1] == token[2] {
		quotes = 3
	}
	from := raw.From + quotes
	if quotes == 3 {
		from += len(token[3:]) - len(bytes.TrimPrefix(bytes.TrimPrefix(token[3:], []byte("\r")), []byte("\n")))
	}
	if to := raw.To - quotes; to-from == len(s) {
		return source.Plain(d.src, from, to)
	}
	off := make([]int, 0, len(s)+1)
	at := from
	for i := 0; i < len(s); {
		at = skipContinuation(d.src, at)
		width, size := 1, 1
		if d.src[at] == '\\' && token[0] == '"' {
			width = escapeWidth(d.src[at+1])
			_, size = utf8.DecodeRuneInString(s[i:])
		} else if d.src[at] == '\r' && s[i] == '\n' {
			width = 2
		}
		for range size {
			off = append(off, min(at, raw.To))
		}
		i += size
		at = min(at+width, raw.To-quotes)
	}
	return source.Text{S: s, Off: append(off, at)}
}

// skipContinuation passes a backslash at the end of a line of a multi-line string, with the white space after it.
func skipContinuation(src []byte, at int) int {
	rest := src[at:]
	if len(rest) == 0 || rest[0] != '\\' {
		return at
	}
	space := bytes.TrimLeft(rest[1:], " \t\r\n")
	if skipped := rest[1 : len(rest)-len(space)]; bytes.IndexByte(skipped, '\n') >= 0 {
		return at + 1 + len(skipped)
	}
	return at
}

// escapeWidth is the length of a TOML escape sequence, by the letter after the backslash.
func escapeWidth(letter byte) int {
	switch letter {
	case 'x':
		return 4
	case 'u':
		return 6
	case 'U':
		return 10
	}
	return 2
}
