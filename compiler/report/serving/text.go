package serving

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"mealtab/compiler/replay"
	"mealtab/compiler/units"
)

// TimeLayout is how times are shown in text.
const TimeLayout = "Mon 2006-01-02 15:04 MST"

// Text writes servings for reading: one line for each meal, and a line wherever the clocks have changed.
type Text struct {
	Out  io.Writer
	UTC  bool // show UTC instead of local time
	last *Serving
}

// Write writes one serving.
func (t *Text) Write(s Serving) error {
	var b strings.Builder
	if t.last != nil && !t.UTC && t.last.Offset.Seconds != s.Offset.Seconds {
		fmt.Fprintf(&b, "    clocks change here: from %s to %s\n", OffsetWords(t.last.Offset.Abbrev, t.last.Offset.Seconds), OffsetWords(s.Offset.Abbrev, s.Offset.Seconds))
	}
	at := s.Local()
	if t.UTC {
		at = s.At.Time()
	}
	when := at.Format(TimeLayout)
	for _, m := range s.Meals {
		amount := ""
		if m.Milligrams > 0 {
			amount = units.Milligrams(m.Milligrams).Short()
		}
		fmt.Fprintf(&b, "%-26s  %s  %9s  %10s\n", when, Pad(m.Label(), 22), amount, units.Count(m.Pockets, "pocket"))
		when = ""
	}
	t.last = &s
	_, err := io.WriteString(t.Out, b.String())
	return err
}

// OffsetWords is "WEST (UTC+1)", or "UTC+1" alone where the zone has no better name.
func OffsetWords(abbrev string, seconds int) string {
	if short := replay.OffsetName(seconds); abbrev != short {
		return abbrev + " (" + short + ")"
	}
	return abbrev
}

// Label is the name, or the meal's number in the table.
func (m Meal) Label() string {
	if m.Name == "" {
		return fmt.Sprintf("meal %d", m.Number)
	}
	return m.Name
}

// Pad fills a text with spaces to a width in characters.
func Pad(s string, width int) string {
	return s + strings.Repeat(" ", max(0, width-utf8.RuneCountInString(s)))
}
