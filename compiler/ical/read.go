package ical

import (
	"bytes"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"mealtab/compiler/source"
)

// Line is an unfolded content line (RFC 5545 §3.1): name *(";" param) ":" value.
type Line struct {
	Name   string // upper case
	Params []Param
	Value  source.Text
	Whole  source.Text
}

// Param is one parameter; the value is without quotes.
type Param struct {
	Name  string // upper case
	Value source.Text
}

// Param returns the value of a parameter.
func (l Line) Param(name string) (source.Text, bool) {
	for _, p := range l.Params {
		if p.Name == name {
			return p.Value, true
		}
	}
	return source.Text{}, false
}

// Component is a BEGIN … END block.
type Component struct {
	Name     string // upper case
	Begin    Line
	Lines    []Line
	Children []*Component
}

// All returns the lines of a property.
func (c *Component) All(name string) []Line {
	var out []Line
	for _, l := range c.Lines {
		if l.Name == name {
			out = append(out, l)
		}
	}
	return out
}

// Fault is what is wrong with a file as iCalendar: a message, by its format and its arguments, and what would be right.
type Fault struct {
	Warning bool
	At      source.Span
	Hint    string
	Format  string
	Args    []any
}

func fault(list []Fault, at source.Span, hint, format string, args ...any) []Fault {
	return append(list, Fault{At: at, Hint: hint, Format: format, Args: args})
}

// Parse reads a file. The root's children are its calendars; it is nil where the rest has no meaning after a fault.
func Parse(at *source.Lines) (root *Component, faults []Fault) {
	lines, faults := contentLines(unfold(at))
	root, more := tree(lines)
	return root, append(faults, more...)
}

// unfold splits the source into content lines. A line that begins with a space or tab continues the one before
// (RFC 5545 §3.1); the text remembers where each byte stands. Lines may end in LF alone, as some programs write them.
func unfold(at *source.Lines) []source.Text {
	var lines []source.Text
	var current []byte
	var off []int
	flush := func() {
		if len(off) > 0 && len(bytes.TrimSpace(current)) > 0 {
			lines = append(lines, source.Text{S: string(current), Off: slices.Clone(off)})
		}
		current, off = current[:0], off[:0]
	}
	for n := 1; n <= at.Count(); n++ {
		start, line := at.Start(n), at.Bytes(n)
		if len(line) > 0 && (line[0] == ' ' || line[0] == '\t') && len(off) > 0 {
			start, line = start+1, line[1:]
			off = off[:len(off)-1]
		} else {
			flush()
		}
		current = append(current, line...)
		for i := range len(line) + 1 {
			off = append(off, start+i)
		}
	}
	flush()
	return lines
}

// strangeName is the name of an extension that its program should not have given; nobody else can mean anything by it.
var strangeName = regexp.MustCompile(`^[Xx]-[A-Za-z0-9_.+-]+[;:]`)

// contentLines reads all content lines; faulty ones are left out.
func contentLines(texts []source.Text) (out []Line, faults []Fault) {
	strange := map[string]bool{}
	for _, t := range texts {
		if i := source.InvalidUTF8(t.S); i >= 0 {
			faults = fault(faults, t.Span(i, i+1), "export the calendar as UTF-8", "byte 0x%02X is not UTF-8", t.S[i])
			t.S = validBytes(t.S)
		}
		if l, ok := parseContentLine(t); ok {
			out = append(out, l)
		} else if m := strangeName.FindStringIndex(t.S); m != nil {
			if name := t.Sub(0, m[1]-1); !strange[name.S] {
				strange[name.S] = true
				faults = append(faults, Fault{Warning: true, At: name.All(),
					Format: "%s is left out: names are made of letters, digits and hyphens (RFC 5545 §3.1)", Args: []any{name.S}})
			}
		} else {
			faults = fault(faults, t.All(), "a line of iCalendar is NAME:value, or begins with a space to continue the one before", "this is not a line of iCalendar")
		}
	}
	return out, faults
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
func parseContentLine(t source.Text) (Line, bool) {
	nameEnd := strings.IndexAny(t.S, ";:")
	if nameEnd <= 0 || !isIANAToken(t.S[:nameEnd]) {
		return Line{}, false
	}
	l := Line{Name: strings.ToUpper(t.S[:nameEnd]), Whole: t}
	at := nameEnd
	for t.S[at] == ';' {
		eq := strings.IndexByte(t.S[at:], '=')
		if eq < 2 || !isIANAToken(t.S[at+1:at+eq]) {
			return Line{}, false
		}
		name := strings.ToUpper(t.S[at+1 : at+eq])
		from := at + eq + 1
		end := paramEnd(t.S, from)
		if end < 0 {
			return Line{}, false
		}
		value := t.Sub(from, end)
		if n := len(value.S); n >= 2 && value.S[0] == '"' && value.S[n-1] == '"' {
			value = value.Sub(1, n-1)
		}
		l.Params = append(l.Params, Param{name, value})
		at = end
	}
	l.Value = t.Sub(at+1, len(t.S))
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

// tree nests the lines into components; nil after a fault that makes the rest meaningless.
func tree(lines []Line) (root *Component, faults []Fault) {
	root = &Component{}
	stack := []*Component{root}
	for _, l := range lines {
		top := stack[len(stack)-1]
		name := strings.ToUpper(strings.TrimSpace(l.Value.S))
		switch {
		case l.Name == "BEGIN":
			c := &Component{Name: name, Begin: l}
			top.Children = append(top.Children, c)
			stack = append(stack, c)
		case l.Name == "END" && len(stack) > 1 && top.Name == name:
			stack = stack[:len(stack)-1]
		case l.Name == "END":
			faults = fault(faults, l.Whole.All(), "", "END:%s has no BEGIN:%s before it", name, name)
			return nil, faults
		case len(stack) == 1:
			faults = fault(faults, l.Whole.All(), "an iCalendar file begins with BEGIN:VCALENDAR", "this stands outside the calendar")
			return nil, faults
		default:
			top.Lines = append(top.Lines, l)
		}
	}
	if open := stack[len(stack)-1]; open != root {
		faults = fault(faults, open.Begin.Whole.All(), "the file may have been cut off", "BEGIN:%s has no END:%s", open.Name, open.Name)
		return nil, faults
	}
	return root, nil
}

// UnescapeText decodes a TEXT value (RFC 5545 §3.3.11), keeping places.
func UnescapeText(t source.Text) source.Text {
	if !strings.Contains(t.S, `\`) {
		return t
	}
	var out bytes.Buffer
	var off []int
	for i := 0; i < len(t.S); i++ {
		at, c := t.Off[i], t.S[i]
		if c == '\\' && i+1 < len(t.S) {
			i++
			if c = t.S[i]; c == 'n' || c == 'N' {
				c = '\n'
			}
		}
		out.WriteByte(c)
		off = append(off, at)
	}
	return source.Text{S: out.String(), Off: append(off, t.Off[len(t.S)])}
}

// SplitText cuts a list of TEXT values at the commas that are not escaped, and decodes each.
func SplitText(t source.Text) []source.Text {
	var out []source.Text
	start := 0
	for i := 0; i <= len(t.S); i++ {
		switch {
		case i == len(t.S) || t.S[i] == ',':
			out = append(out, UnescapeText(t.Sub(start, i)).Trim())
			start = i + 1
		case t.S[i] == '\\' && i+1 < len(t.S):
			i++
		}
	}
	return out
}
