package edit

import (
	"fmt"
	"regexp"
	"strings"
)

// Quote writes a basic string (TOML v1.0, "String").
func Quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range strings.ToValidUTF8(s, "\uFFFD") {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case r < ' ' || r == 0x7F:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// Split takes a list apart that was typed with commas, semicolons or line ends.
func Split(s string) (words []string) {
	for _, w := range strings.FieldsFunc(s, func(r rune) bool { return r == ',' || r == ';' || r == '\n' }) {
		if w = strings.TrimSpace(w); w != "" {
			words = append(words, w)
		}
	}
	return words
}

// Strings writes a list of strings.
func Strings(words []string) string {
	quoted := make([]string, len(words))
	for i, w := range words {
		quoted[i] = Quote(w)
	}
	return "[" + strings.Join(quoted, ", ") + "]"
}

// Moments of plans: a date, or a date and a time with or without seconds.
var (
	dateForm    = regexp.MustCompile(`^\d{4}-\d\d-\d\d$`)
	minuteForm  = regexp.MustCompile(`^(\d{4}-\d\d-\d\d)[Tt ](\d\d:\d\d)([Zz]?)$`)
	secondsForm = regexp.MustCompile(`^\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d([Zz]|[+-]\d\d:\d\d)?$`)
)

// Moment writes a date or date-time. What does not look like one becomes a string, about which the reader of plans says what
// would be right.
func Moment(s string) string {
	s = strings.TrimSpace(s)
	if m := minuteForm.FindStringSubmatch(s); m != nil {
		return m[1] + "T" + m[2] + ":00" + strings.ToUpper(m[3])
	}
	if dateForm.MatchString(s) || secondsForm.MatchString(s) {
		return strings.ToUpper(s)
	}
	return Quote(s)
}

// Moments writes a list of them.
func Moments(words []string) string {
	list := make([]string, len(words))
	for i, w := range words {
		list[i] = Moment(w)
	}
	return "[" + strings.Join(list, ", ") + "]"
}
