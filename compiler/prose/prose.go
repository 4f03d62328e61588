// Package prose sets sentences in lines for a terminal.
//
// In: a head for the first line, a text. Out: lines of at most [Width] characters, those after the first below the text and not below
// the head.
package prose

import (
	"strings"
	"unicode/utf8"
)

// Width is the most characters that are put on a line: what fits a usual terminal.
const Width = 96

// Wrap breaks a text at spaces, so that with the head of the first line and the indent of the others no line is longer than
// Width.
func Wrap(head, text string) string {
	indent := strings.Repeat(" ", utf8.RuneCountInString(head))
	var b strings.Builder
	b.WriteString(head)
	room := Width - len(indent)
	for i, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case n+1 > room:
			b.WriteString("\n" + indent)
			room = Width - len(indent)
		default:
			b.WriteByte(' ')
			room--
		}
		b.WriteString(word)
		room -= n
	}
	return b.String() + "\n"
}

// Heed lists cautions under a heading; "" where there are none.
func Heed(list []string) string {
	if len(list) == 0 {
		return ""
	}
	var b strings.Builder
	b.WriteString("\nPlease heed\n")
	for _, c := range list {
		b.WriteString(Wrap("  - ", c))
	}
	return b.String()
}
