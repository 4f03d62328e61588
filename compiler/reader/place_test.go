package reader_test

import (
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"mealtab/compiler/plan"
)

// marked is the text under the carets of a diagnostic.
func marked(d plan.Diagnostic) string {
	line := []rune(d.Source.Lines[d.Pos.Line-1])
	from := d.Pos.Col - 1
	return string(line[from:min(from+d.Pos.Len, len(line))])
}

// nameGen draws names of any printable characters.
func nameGen(t *rapid.T) string {
	return "n" + rapid.StringOfN(rapid.SampledFrom([]rune("ab é朝🐈\u0301,;'#=[]{}")), 0, 12, -1).Draw(t, "name") + "n"
}

// TestPlacesInTOML puts a bad hour behind arbitrary text, on the same line and on lines before it, with escapes inside
// the rule: the carets stand under the hour.
func TestPlacesInTOML(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hour := strconv.Itoa(rapid.IntRange(24, 99).Draw(t, "hour"))
		written := hour
		if rapid.Bool().Draw(t, "escaped") {
			written = `\u003` + hour[:1] + hour[1:]
		}
		rule := rapid.SampledFrom([]string{`FREQ=DAILY;BYHOUR=7,`, `freq = daily ; byhour = 7 , `, `\u0046REQ=DAILY;BYHOUR=`}).Draw(t, "rule") + written
		comment := strings.Repeat("# "+nameGen(t)+"\n", rapid.IntRange(0, 5).Draw(t, "lines"))
		src := comment + `zone = "Europe/Lisbon"` + "\n" + comment +
			`meal = [{name = "` + nameGen(t) + `", portion = "1 pocket", rrule = "` + rule + `"}]`
		if rapid.Bool().Draw(t, "CRLF") {
			src = strings.ReplaceAll(src, "\n", "\r\n")
		}
		p, ds := checked.Parse("p.toml", []byte(src))
		if p != nil || len(ds) != 1 {
			t.Fatalf("%v\n%s", ds, src)
		}
		if got := marked(ds[0]); got != written || !strings.HasPrefix(ds[0].Message, "BYHOUR="+hour) {
			t.Fatalf("%q under the carets for %q: %s", got, written, ds[0].Message)
		}
	})
}

// TestPlacesInICS folds the lines of a calendar anywhere, inside characters too, as RFC 5545 §3.1 allows: the carets
// begin under the hour, wherever it went.
func TestPlacesInICS(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hour := strconv.Itoa(rapid.IntRange(24, 99).Draw(t, "hour"))
		src := "BEGIN:VCALENDAR\nX-WR-TIMEZONE:Europe/Lisbon\nBEGIN:VEVENT\nDTSTART:20261201T070000Z\nSUMMARY:" +
			strings.ReplaceAll(strings.ReplaceAll(nameGen(t), ",", `\,`), ";", `\;`) + " 1 pocket\nRRULE:FREQ=DAILY;BYHOUR=7," + hour + "\nEND:VEVENT\nEND:VCALENDAR"
		folded := fold(t, src)
		p, ds := checked.Parse("p.ics", []byte(folded))
		if p != nil || len(ds) != 1 {
			t.Fatalf("%v\n%s", ds, folded)
		}
		if got := marked(ds[0]); got == "" || !strings.HasPrefix(hour, got) {
			t.Fatalf("%q under the carets for %q in\n%s", got, hour, folded)
		}
	})
}

// fold breaks lines at random bytes, but not at their first, with CRLF or LF.
func fold(t *rapid.T, src string) string {
	eol := rapid.SampledFrom([]string{"\n", "\r\n"}).Draw(t, "eol")
	cut := rapid.SliceOfN(rapid.IntRange(0, len(src)), 0, 20).Draw(t, "folds")
	at := map[int]bool{}
	for _, i := range cut {
		at[i] = true
	}
	var b strings.Builder
	for i := range len(src) {
		if at[i] && i > 0 && src[i-1] != '\n' && src[i] != '\n' {
			b.WriteString(eol + " ")
		}
		if src[i] == '\n' {
			b.WriteString(eol)
			continue
		}
		b.WriteByte(src[i])
	}
	return b.String()
}
