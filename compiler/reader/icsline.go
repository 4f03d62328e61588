package reader

import (
	"bytes"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"mealtab/compiler/plan"
)

// icsLine is an unfolded content line (RFC 5545 §3.1): name *(";" param) ":" value.
type icsLine struct {
	name   string // upper case
	params []icsParam
	value  text
	whole  text
}

// icsParam is one parameter; the value is without quotes.
type icsParam struct {
	name  string // upper case
	value text
}

// param returns the value of a parameter.
func (l icsLine) param(name string) (text, bool) {
	for _, p := range l.params {
		if p.name == name {
			return p.value, true
		}
	}
	return text{}, false
}

// icsComponent is a BEGIN … END block.
type icsComponent struct {
	name     string // upper case
	begin    icsLine
	lines    []icsLine
	children []*icsComponent
}

// all returns the lines of a property.
func (c *icsComponent) all(name string) []icsLine {
	var out []icsLine
	for _, l := range c.lines {
		if l.name == name {
			out = append(out, l)
		}
	}
	return out
}

// one returns the only line of a property; a second one is reported.
func (b *builder) one(c *icsComponent, name string) (icsLine, bool) {
	lines := c.all(name)
	if len(lines) == 0 {
		return icsLine{}, false
	}
	if len(lines) > 1 {
		b.fail(plan.CodeDuplicate, lines[1].whole.all(), "keep one of them", "%s is given twice, first on line %d", name, b.ix.line(lines[0].whole.off[0]))
	}
	return lines[0], true
}

// unfold splits the source into content lines. A line that begins with a space or tab continues the one before
// (RFC 5545 §3.1); the text remembers where each byte stands. Lines may end in LF alone, as some programs write them.
func (b *builder) unfold() []text {
	var lines []text
	var current []byte
	var off []int
	flush := func() {
		if len(off) > 0 && len(bytes.TrimSpace(current)) > 0 {
			lines = append(lines, text{string(current), slices.Clone(off)})
		}
		current, off = current[:0], off[:0]
	}
	for n, start := range b.ix.starts {
		end := len(b.src)
		if n+1 < len(b.ix.starts) {
			end = b.ix.starts[n+1] - 1
		}
		if end > start && b.src[end-1] == '\r' {
			end--
		}
		if start < end && (b.src[start] == ' ' || b.src[start] == '\t') && len(off) > 0 {
			start++
			off = off[:len(off)-1]
		} else {
			flush()
		}
		current = append(current, b.src[start:end]...)
		for i := start; i <= end; i++ {
			off = append(off, i)
		}
	}
	flush()
	return lines
}

// strangeName is the name of an extension that its program should not have given; nobody else can mean anything by it.
var strangeName = regexp.MustCompile(`^[Xx]-[A-Za-z0-9_.+-]+[;:]`)

// icsLines reads all content lines; faulty ones are reported and left out.
func (b *builder) icsLines() []icsLine {
	var out []icsLine
	strange := map[string]bool{}
	for _, t := range b.unfold() {
		if i := invalidUTF8(t.s); i >= 0 {
			b.fail(plan.CodeSyntax, t.span(i, i+1), "export the calendar as UTF-8", "byte 0x%02X is not UTF-8", t.s[i])
			t.s = validBytes(t.s)
		}
		if l, ok := parseContentLine(t); ok {
			out = append(out, l)
		} else if m := strangeName.FindStringIndex(t.s); m != nil {
			if name := t.sub(0, m[1]-1); !strange[name.s] {
				strange[name.s] = true
				b.warn(plan.CodeIgnored, name.all(), "", "%s is left out: names are made of letters, digits and hyphens (RFC 5545 §3.1)", name.s)
			}
		} else {
			b.fail(plan.CodeSyntax, t.all(), "a line of iCalendar is NAME:value, or begins with a space to continue the one before", "this is not a line of iCalendar")
		}
	}
	return out
}

func invalidUTF8(s string) int {
	for i := 0; i < len(s); {
		r, size := utf8.DecodeRuneInString(s[i:])
		if r == utf8.RuneError && size == 1 {
			return i
		}
		i += size
	}
	return -1
}

// validBytes replaces every byte that is not UTF-8 by a question mark, so that offsets stay.
func validBytes(s string) string {
	out := make([]byte, 0, len(s))
	for i := 0; i < len(s); {
		r, size := utf8.DecodeRuneInString(s[i:])
		if r == utf8.RuneError && size == 1 {
			out = append(out, '?')
		} else {
			out = append(out, s[i:i+size]...)
		}
		i += size
	}
	return string(out)
}

// parseContentLine takes a line apart. Quoted parameter values may hold : ; and , (RFC 5545 §3.2).
func parseContentLine(t text) (icsLine, bool) {
	nameEnd := strings.IndexAny(t.s, ";:")
	if nameEnd <= 0 || !isIANAToken(t.s[:nameEnd]) {
		return icsLine{}, false
	}
	l := icsLine{name: strings.ToUpper(t.s[:nameEnd]), whole: t}
	at := nameEnd
	for t.s[at] == ';' {
		eq := strings.IndexByte(t.s[at:], '=')
		if eq < 2 || !isIANAToken(t.s[at+1:at+eq]) {
			return icsLine{}, false
		}
		name := strings.ToUpper(t.s[at+1 : at+eq])
		from := at + eq + 1
		end := paramEnd(t.s, from)
		if end < 0 {
			return icsLine{}, false
		}
		value := t.sub(from, end)
		if n := len(value.s); n >= 2 && value.s[0] == '"' && value.s[n-1] == '"' {
			value = value.sub(1, n-1)
		}
		l.params = append(l.params, icsParam{name, value})
		at = end
	}
	l.value = t.sub(at+1, len(t.s))
	return l, true
}

// paramEnd finds the ; or : that ends a parameter value, -1 if there is none.
func paramEnd(s string, from int) int {
	quoted := false
	for i := from; i < len(s); i++ {
		switch {
		case s[i] == '"':
			quoted = !quoted
		case !quoted && (s[i] == ';' || s[i] == ':'):
			return i
		}
	}
	return -1
}

// isIANAToken reports a name of letters, digits and hyphens (RFC 5545 §3.1, iana-token).
func isIANAToken(s string) bool {
	return s != "" && strings.IndexFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-')
	}) < 0
}

// icsTree nests the lines into components; nil after a fault that makes the rest meaningless.
func (b *builder) icsTree(lines []icsLine) *icsComponent {
	root := &icsComponent{}
	stack := []*icsComponent{root}
	for _, l := range lines {
		top := stack[len(stack)-1]
		name := strings.ToUpper(strings.TrimSpace(l.value.s))
		switch {
		case l.name == "BEGIN":
			c := &icsComponent{name: name, begin: l}
			top.children = append(top.children, c)
			stack = append(stack, c)
		case l.name == "END" && len(stack) > 1 && top.name == name:
			stack = stack[:len(stack)-1]
		case l.name == "END":
			b.fail(plan.CodeSyntax, l.whole.all(), "", "END:%s has no BEGIN:%s before it", name, name)
			return nil
		case len(stack) == 1:
			b.fail(plan.CodeSyntax, l.whole.all(), "an iCalendar file begins with BEGIN:VCALENDAR", "this stands outside the calendar")
			return nil
		default:
			top.lines = append(top.lines, l)
		}
	}
	if open := stack[len(stack)-1]; open != root {
		b.fail(plan.CodeSyntax, open.begin.whole.all(), "the file may have been cut off", "BEGIN:%s has no END:%s", open.name, open.name)
		return nil
	}
	return root
}

// unescapeText decodes a TEXT value (RFC 5545 §3.3.11), keeping places.
func unescapeText(t text) text {
	if !strings.Contains(t.s, `\`) {
		return t
	}
	var out bytes.Buffer
	var off []int
	for i := 0; i < len(t.s); i++ {
		at, c := t.off[i], t.s[i]
		if c == '\\' && i+1 < len(t.s) {
			i++
			if c = t.s[i]; c == 'n' || c == 'N' {
				c = '\n'
			}
		}
		out.WriteByte(c)
		off = append(off, at)
	}
	return text{out.String(), append(off, t.off[len(t.s)])}
}
