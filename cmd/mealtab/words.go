package main

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"
)

// lineWidth is the most that is put on a line of text: what fits a usual terminal.
const lineWidth = 96

// count is "1 warning", "2 warnings".
func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%s %ss", thousands(n), what)
}

// thousands groups digits: "81,034".
func thousands(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// wrap breaks a text at spaces, so that with the head of the first line and the indent of the others no line is longer than
// lineWidth.
func wrap(head, text string) string {
	indent := strings.Repeat(" ", utf8.RuneCountInString(head))
	var b strings.Builder
	b.WriteString(head)
	room := lineWidth - len(indent)
	for i, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case n+1 > room:
			b.WriteString("\n" + indent)
			room = lineWidth - len(indent)
		default:
			b.WriteByte(' ')
			room--
		}
		b.WriteString(word)
		room -= n
	}
	return b.String() + "\n"
}
