package toml

import (
	"bytes"
	"errors"
	"regexp"
	"strings"

	"mealtab/compiler/plan"
	"mealtab/compiler/source"

	"github.com/pelletier/go-toml/v2/unstable"
)

// Lines as they are recognized where the parser has given up.
var (
	// fresh is a line at which reading can be taken up again.
	fresh = regexp.MustCompile(`^[ \t]*(?:([A-Za-z0-9_-]+)[ \t]*=|\[)`)
	// bareValue is key = value where the value may lack its quotes.
	bareValue = regexp.MustCompile(`^[ \t]*([A-Za-z0-9_-]+)[ \t]*=[ \t]*([^"'\[{#\r\n]*)`)
	// listStart is a key with a list that goes on after the line's end.
	listStart = regexp.MustCompile(`^[ \t]*[A-Za-z0-9_-]+[ \t]*=[ \t]*(\[)[^\]]*$`)
	// brokenHeading is a heading as far as it can be guessed.
	brokenHeading = regexp.MustCompile(`^[ \t]*(\[\[?)[ \t]*([A-Za-z0-9_-]+)`)
)

// syntaxError reports what the parser did not understand and returns where to go on, -1 if nowhere.
// done is the end of the last expression that was good.
func (d *document) syntaxError(err error, done int) int {
	at := source.Span{From: done, To: done}
	var perr *unstable.ParserError
	if errors.As(err, &perr) {
		from := cap(d.src) - cap(perr.Highlight) // slices of one array share its end
		at = source.Span{From: from, To: from + len(perr.Highlight)}
	}
	first := d.expressionLine(done)
	d.explain(err, at, first)
	d.rememberBroken(first)
	for line := max(first+1, d.Lines.Line(at.From)); line <= d.Lines.Count(); line++ {
		if fresh.Match(d.Lines.Bytes(line)) {
			return d.Lines.Start(line)
		}
	}
	return -1
}

// explain says what is wrong in the words of the faults seen most, else in the parser's.
func (d *document) explain(err error, at source.Span, first int) {
	start, line := d.Lines.Start(first), d.Lines.Bytes(first)
	if m := listStart.FindSubmatchIndex(line); m != nil && d.Lines.Line(at.From) > first {
		d.Fail(plan.CodeSyntax, source.Span{From: start + m[2], To: start + m[3]}, "end it with ]", "the list is not closed")
		return
	}
	if strings.Contains(err.Error(), "strings cannot have new lines") {
		d.Fail(plan.CodeSyntax, at, "", "the closing quote is missing")
		return
	}
	m := bareValue.FindSubmatchIndex(line)
	if m == nil {
		d.Fail(plan.CodeSyntax, at, "", "this is not TOML: %v", err)
		return
	}
	key := string(line[m[2]:m[3]])
	value := strings.TrimSpace(string(line[m[4]:m[5]]))
	from := start + m[4]
	switch {
	case value == "" && at.From >= start+len(line):
		d.Fail(plan.CodeSyntax, source.Span{From: start + m[2], To: start + m[3]}, "", "%s has no value", key)
	case value == "":
		d.Fail(plan.CodeSyntax, at, "", "this is not TOML: %v", err)
	default:
		d.Fail(plan.CodeSyntax, source.Span{From: from, To: from + len(value)}, quoted(key, value), "this is not a TOML value")
	}
}

// quoted suggests how a bare value should have been written.
func quoted(key, value string) string {
	if key == "dtstart" {
		return "write dtstart = 2026-12-01T07:00:00"
	}
	return `text stands in quotes: ` + key + ` = "` + value + `"`
}

// expressionLine is the line on which the expression after offset done begins.
func (d *document) expressionLine(done int) int {
	line := d.Lines.Line(done)
	if done > d.base {
		line++
	}
	for line < d.Lines.Count() {
		l := bytes.TrimSpace(d.Lines.Bytes(line))
		if len(l) > 0 && l[0] != '#' {
			break
		}
		line++
	}
	return min(line, d.Lines.Count())
}

// rememberBroken notes the key of a line that could not be read, so that it is not reported as missing too, and opens
// the table of a broken heading, so that its keys are not taken for those of the table before.
func (d *document) rememberBroken(line int) {
	start, l := d.Lines.Start(line), d.Lines.Bytes(line)
	if m := brokenHeading.FindSubmatchIndex(l); m != nil {
		kind := unstable.Table
		if string(l[m[2]:m[3]]) == "[[" {
			kind = unstable.ArrayTable
		}
		d.open(kind, []string{string(l[m[4]:m[5]])}, []source.Span{{From: start + m[4], To: start + m[5]}})
		return
	}
	m := fresh.FindSubmatchIndex(l)
	if m == nil || m[2] < 0 {
		return
	}
	if key := string(l[m[2]:m[3]]); d.current.find(key) == nil {
		d.current.add(&entry{key: key, span: source.Span{From: start + m[2], To: start + m[3]}, value: value{kind: unstable.Invalid}})
	}
}
