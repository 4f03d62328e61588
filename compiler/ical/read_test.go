package ical_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	goical "github.com/emersion/go-ical"

	"mealtab/compiler/ical"
	"mealtab/compiler/source"
)

// What is written is read back: names, values through folds and escapes; and go-ical, another reader, reads the same.
func TestWrittenLinesAreReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b bytes.Buffer
		w := ical.NewWriter(&b, written)
		texts := rapid.SliceOfN(rapid.String(), 1, 5).Draw(t, "texts")
		for _, text := range texts {
			w.Text("X-NOTE;LANGUAGE=pt", strings.ToValidUTF8(text, "?"))
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		root, faults := ical.Parse(source.NewLines(b.Bytes()))
		if len(faults) > 0 || len(root.Children) != 1 || root.Children[0].Name != "VCALENDAR" {
			t.Fatalf("%v in\n%s", faults, b.String())
		}
		lines := root.Children[0].All("X-NOTE")
		theirs, err := goical.NewDecoder(bytes.NewReader(b.Bytes())).Decode()
		if err != nil || len(lines) != len(texts) || len(theirs.Props.Values("X-NOTE")) != len(texts) {
			t.Fatalf("%d of %d lines, %v in\n%s", len(lines), len(texts), err, b.String())
		}
		for i, l := range lines {
			language, _ := l.Param("LANGUAGE")
			want, err := theirs.Props.Values("X-NOTE")[i].Text()
			if got := ical.UnescapeText(l.Value).S; got != want || err != nil || language.S != "pt" {
				t.Fatalf("%q is read as %q (%v), in %q", want, got, err, language.S)
			}
		}
	})
}

// Offsets as RFC 5545 §3.3.14 has them.
func TestOffset(t *testing.T) {
	for text, want := range map[string]int{"-0500": -5 * 3600, "+0100": 3600, "-003000": -1800, "+054500": 20700, "+023045": 9045} {
		got, err := ical.Offset(text)
		assert.NoError(t, err, text)
		assert.Equal(t, want, got, text)
	}
	for _, text := range []string{"", "+", "0100", "+01", "+01000", "+2400", "+0060", "+000060", "-01 00", "+-100", "+01000000"} {
		_, err := ical.Offset(text)
		assert.Error(t, err, text)
	}
}

// A comma in a list of TEXT may be escaped (RFC 5545 §3.3.11).
func TestSplitText(t *testing.T) {
	list := []byte(`a\, b , c\n,`)
	var got []string
	for _, part := range ical.SplitText(source.Plain(list, 0, len(list))) {
		got = append(got, part.S)
	}
	assert.Equal(t, []string{"a, b", "c\n", ""}, got)
}
