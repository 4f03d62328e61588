package plan

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"github.com/rivo/uniseg"
)

// Colours of a rendering (ECMA-48 select graphic rendition).
const (
	sgrReset  = "\x1b[0m"
	sgrBold   = "\x1b[1m"
	sgrRed    = "\x1b[1;31m"
	sgrYellow = "\x1b[1;33m"
	sgrCyan   = "\x1b[36m"
)

// shownWidth is the most that is shown of a source line, so that long lines do not wrap on a usual terminal.
const shownWidth = 100

// Render writes each diagnostic as a headline, the source line with carets under the place, and the hint:
//
//	plan.toml:14:30: error: BYHOUR=25 is outside 0 to 23
//	   14 | rrule = "FREQ=DAILY;BYHOUR=7,25"
//	      |                              ^^
//	      hint: hours run from 0 (midnight) to 23
//
// Long messages and hints go on in further lines, which are indented.
func Render(w io.Writer, ds Diagnostics, color bool) error {
	out := bufio.NewWriter(w)
	for _, d := range ds {
		renderOne(out, d, color)
	}
	return out.Flush()
}

func renderOne(w io.Writer, d Diagnostic, color bool) {
	paint := func(sgr, s string) string {
		if !color {
			return s
		}
		return sgr + s + sgrReset
	}
	word := paint(sgrRed, d.Severity.String())
	if d.Severity == Warning {
		word = paint(sgrYellow, d.Severity.String())
	}
	head := place(d)
	message := wrapped(d.Message, uniseg.StringWidth(head+d.Severity.String()+": "), messageIndent)
	fmt.Fprintf(w, "%s%s: %s\n", paint(sgrBold, head), word, paint(sgrBold, message))
	margin := "      "
	if d.Source != nil && d.Pos.Line >= 1 && d.Pos.Line <= len(d.Source.Lines) {
		gutter := fmt.Sprintf("%5d", d.Pos.Line)
		line, carets := excerpt(d.Source.Lines[d.Pos.Line-1], d.Pos)
		fmt.Fprintf(w, "%s %s\n", paint(sgrCyan, gutter+" |"), line)
		margin = strings.Repeat(" ", len(gutter)+1)
		fmt.Fprintf(w, "%s %s\n", paint(sgrCyan, margin+"|"), paint(sgrRed, carets))
	}
	if d.Hint != "" {
		const label = "hint: "
		indent := len(margin) + len(label)
		fmt.Fprintf(w, "%s%s\n", margin, paint(sgrCyan, label)+wrapped(d.Hint, indent, indent))
	}
}

// messageIndent sets the further lines of a message off from the next headline.
const messageIndent = 6

// wrapped breaks a text at spaces so that its lines end within shownWidth columns. The first begins at column used, the
// others are indented; a word that is longer than a line stays whole, and the first one stays beside the place, where tools
// that read "file:line:col: error: message" find it.
func wrapped(text string, used, indent int) string {
	words := strings.Split(text, " ")
	var b strings.Builder
	b.WriteString(words[0])
	used += uniseg.StringWidth(words[0])
	for _, word := range words[1:] {
		n := uniseg.StringWidth(word)
		if used+1+n > shownWidth {
			b.WriteString("\n" + strings.Repeat(" ", indent) + word)
			used = indent + n
			continue
		}
		b.WriteString(" " + word)
		used += 1 + n
	}
	return b.String()
}

// place is "plan.toml:14:30: ", as far as it is known.
func place(d Diagnostic) string {
	switch {
	case d.Source == nil:
		return ""
	case d.Pos.Line == 0:
		return d.Source.Name + ": "
	}
	return fmt.Sprintf("%s:%d:%d: ", d.Source.Name, d.Pos.Line, d.Pos.Col)
}

// excerpt returns the part of a line that is worth showing and the caret line for it. Tabs stay tabs in both, so
// that the carets stand right whatever the terminal's tab width; wide characters get two carets.
func excerpt(line string, pos Pos) (shown, carets string) {
	runes := []rune(line)
	from := min(pos.Col-1, len(runes))
	to := min(from+pos.Len, len(runes))
	first, last := window(len(runes), from, to)
	var b strings.Builder
	if first > 0 {
		shown = "…"
		b.WriteByte(' ')
	}
	shown += string(clean(runes[first:last]))
	if last < len(runes) {
		shown += "…"
	}
	for _, r := range runes[first:from] {
		if r == '\t' {
			b.WriteByte('\t')
		}
		b.WriteString(strings.Repeat(" ", uniseg.StringWidth(string(r))))
	}
	under := string(clean(runes[from:min(to, last)]))
	b.WriteString(strings.Repeat("^", max(1, uniseg.StringWidth(under))))
	return shown, b.String()
}

// window chooses which characters of a line of n to show so that [from, to) is seen with what stands before it.
func window(n, from, to int) (first, last int) {
	if n <= shownWidth {
		return 0, n
	}
	first = max(0, min(from-shownWidth/2, n-shownWidth))
	if to <= shownWidth {
		first = 0
	}
	return first, min(n, first+shownWidth)
}

// clean replaces control characters, which could move the cursor, by the replacement character.
func clean(runes []rune) []rune {
	out := make([]rune, len(runes))
	for i, r := range runes {
		if r < ' ' && r != '\t' || r == 0x7f || r >= 0x80 && r < 0xa0 {
			r = '\uFFFD'
		}
		out[i] = r
	}
	return out
}
