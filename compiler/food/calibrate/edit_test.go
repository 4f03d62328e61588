package calibrate

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mealtab/compiler/reader"

	"github.com/pelletier/go-toml/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestEditWheel(t *testing.T) {
	both := []Setting{{"pocket", "6.31 g"}, {"turn", "305 ms"}}
	for _, c := range []struct{ name, src, want string }{
		{"values replaced",
			"[wheel]                # weighed in May\npocket = \"6.2 g\"  # mean of 9\nturn   = '310 ms'\n\n[hopper]\nholds = \"1 kg\"\n",
			"[wheel]                # weighed in May\npocket = \"6.31 g\"  # mean of 9\nturn   = \"305 ms\"\n\n[hopper]\nholds = \"1 kg\"\n"},
		{"key added, aligned",
			"zone = \"Etc/UTC\"\n[wheel]\n  pocket = \"6.2 g\" # x\n# after\n[hopper]\n",
			"zone = \"Etc/UTC\"\n[wheel]\n  pocket = \"6.31 g\" # x\n  turn   = \"305 ms\"\n# after\n[hopper]\n"},
		{"empty table", "[wheel]\n[hopper]\n", "[wheel]\npocket = \"6.31 g\"\nturn   = \"305 ms\"\n[hopper]\n"},
		{"empty table, no line end", "[wheel]", "[wheel]\npocket = \"6.31 g\"\nturn   = \"305 ms\""},
		{"dotted", "wheel.turn = \"1 s\"\n[[meal]]\nname = \"a\"\n", "wheel.pocket = \"6.31 g\"\nwheel.turn = \"305 ms\"\n[[meal]]\nname = \"a\"\n"},
		{"inline", "wheel = { turn = \"1 s\" } # x\n", "wheel = { turn = \"305 ms\", pocket = \"6.31 g\" } # x\n"},
		{"inline, empty", "wheel = {}\n", "wheel = { pocket = \"6.31 g\", turn = \"305 ms\"}\n"},
		{"quoted heading", "[ \"wheel\" ]\npocket=\"1 g\"\n", "[ \"wheel\" ]\npocket=\"6.31 g\"\nturn  = \"305 ms\"\n"},
		{"absent, above the first heading and its comment",
			"zone = \"Etc/UTC\"\n\n# the cats\n# eat early\n[[meal]]\nname = \"a\"\n",
			"zone = \"Etc/UTC\"\n\n[wheel]\npocket = \"6.31 g\"\nturn   = \"305 ms\"\n\n# the cats\n# eat early\n[[meal]]\nname = \"a\"\n"},
		{"absent, no blank line", "zone = \"Etc/UTC\"\n[[meal]]\n", "zone = \"Etc/UTC\"\n\n[wheel]\npocket = \"6.31 g\"\nturn   = \"305 ms\"\n\n[[meal]]\n"},
		{"absent, no heading, no line end", "zone = \"Etc/UTC\"", "zone = \"Etc/UTC\"\n\n[wheel]\npocket = \"6.31 g\"\nturn   = \"305 ms\"\n"},
		{"a string that looks like comments", "plan = \"\"\"\n# no\n[wheel]\n\"\"\"\n[[meal]]\n",
			"plan = \"\"\"\n# no\n[wheel]\n\"\"\"\n\n[wheel]\npocket = \"6.31 g\"\nturn   = \"305 ms\"\n\n[[meal]]\n"},
		{"CRLF and byte order mark", "\xEF\xBB\xBFzone = \"Etc/UTC\"\r\n[wheel]\r\nturn = \"1 s\"\r\n[[meal]]\r\n",
			"\xEF\xBB\xBFzone = \"Etc/UTC\"\r\n[wheel]\r\npocket = \"6.31 g\"\r\nturn = \"305 ms\"\r\n[[meal]]\r\n"},
	} {
		got, err := EditWheel([]byte(c.src), both)
		if assert.NoError(t, err, c.name) {
			assert.Equal(t, c.want, string(got), c.name)
		}
	}
	_, err := EditWheel([]byte("[wheel\n"), both)
	assert.ErrorContains(t, err, "the plan is not TOML")
}

// Every good plan of the project keeps all of its lines, and is a good plan afterwards.
func TestEditHouseholdPlans(t *testing.T) {
	files, err := filepath.Glob("../../../testdata/plans/*.toml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		src, err := os.ReadFile(file)
		require.NoError(t, err)
		out, err := EditWheel(src, []Setting{{"pocket", "5.5 g"}, {"trim", "-7 us"}})
		require.NoError(t, err, file)
		p, ds := reader.Parse(file, out)
		require.NotNil(t, p, "%s: %v", file, ds)
		assert.EqualValues(t, 5500, p.Wheel.PocketMilligrams)
		assert.Equal(t, -7, p.Wheel.TrimMicros)
		sameLines(t, src, out, []string{"pocket", "trim"})
	}
}

// sameLines wants the lines of before in after, in order and byte for byte, but for those that set one of keys; what is more
// must set one of keys, be the heading, or be blank.
func sameLines(t require.TestingT, before, after []byte, keys []string) {
	sets := func(line string) bool {
		for _, k := range keys {
			if rest, ok := strings.CutPrefix(strings.TrimSpace(line), k); ok && strings.HasPrefix(strings.TrimSpace(rest), "=") {
				return true
			}
		}
		return false
	}
	lines := strings.SplitAfter(string(after), "\n")
	more := map[string]int{}
	for _, line := range lines {
		more[line]++
	}
	i := 0
	for _, line := range strings.SplitAfter(string(before), "\n") {
		if sets(line) {
			continue
		}
		more[line]--
		for i < len(lines) && lines[i] != line {
			i++
		}
		require.Less(t, i, len(lines), "%q is lost, or in another place", line)
		i++
	}
	for line, n := range more {
		trimmed := strings.TrimSpace(line)
		require.True(t, n == 0 || n > 0 && (trimmed == "" || trimmed == "[wheel]" || sets(line)), "%q is there %d times too often", line, n)
	}
}

// piece draws a part of a TOML text without [wheel]; n makes its keys unique.
func piece(t *rapid.T, n int) string {
	nl := "\n"
	return rapid.SampledFrom([]string{
		"# a comment = \"x\" [wheel]" + nl, nl, "   " + nl, fmt.Sprintf("\t# indented %d%s", n, nl),
		fmt.Sprintf("key%d = 'pocket = 1'  # why%s", n, nl), fmt.Sprintf("k%d = [1, # one%s 2]%s", n, nl, nl),
		fmt.Sprintf("s%d = \"\"\"%s[wheel]%s# no%spocket = \"2 g\" %s\"\"\"%s", n, nl, nl, nl, nl, nl),
		fmt.Sprintf("d%d = 2026-12-01T07:00:00%s", n, nl), fmt.Sprintf("u%d = \"é — ü\" # ñ%s", n, nl),
		fmt.Sprintf("a%d.b = { c = 1 }%s", n, nl),
	}).Draw(t, "piece")
}

// Whatever stands around the table, the edit changes the values asked for and not one byte more.
func TestEditKeepsEverythingElse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b strings.Builder
		pieces := func(label string) {
			for range rapid.IntRange(0, 4).Draw(t, label) {
				b.WriteString(piece(t, b.Len()))
			}
		}
		heading := func(s string) {
			b.WriteString(s + rapid.SampledFrom([]string{"\n", " # x\n", "\n\n"}).Draw(t, "after"))
		}
		b.WriteString("zone = \"Etc/UTC\"\n")
		pieces("root")
		var old, fresh []string // text of the values there, and of what must replace them
		section := func() {
			heading("[wheel]")
			for _, k := range []Setting{{"pocket", "6.2 g"}, {"turn", "310 ms"}} {
				if rapid.Bool().Draw(t, k.Key) {
					value := rapid.SampledFrom([]string{"\"%s\"", "'%s'", "\"\"\"%s\"\"\""}).Draw(t, "quotes")
					line := rapid.SampledFrom([]string{"%s = ", "%s=", "  %s\t =  "}).Draw(t, "style")
					v := fmt.Sprintf(value, k.Value)
					fmt.Fprintf(&b, line+"%s  # %s\n", k.Key, v, k.Key)
					old, fresh = append(old, v+"  # "+k.Key), append(fresh, map[string]string{"pocket": `"5.71 g"`, "turn": `"299 ms"`}[k.Key]+"  # "+k.Key)
				}
			}
		}
		first := rapid.Bool().Draw(t, "first")
		has := rapid.Bool().Draw(t, "has")
		if has && first {
			section()
		}
		for i := range rapid.IntRange(0, 3).Draw(t, "tables") {
			heading([]string{"[[meal]]", fmt.Sprintf("[other%d]", i), "  [[meal]]"}[rapid.IntRange(0, 2).Draw(t, "heading")])
			pieces("body")
		}
		if has && !first {
			section()
		}
		src := []byte(b.String())
		if rapid.Bool().Draw(t, "crlf") {
			src = bytes.ReplaceAll(src, []byte("\n"), []byte("\r\n"))
		}
		if rapid.Bool().Draw(t, "open end") {
			src = bytes.TrimRight(src, "\r\n")
		}
		var valid map[string]any
		if toml.Unmarshal(src, &valid) != nil {
			return // not TOML: a multi-line string cut short
		}
		out, err := EditWheel(src, []Setting{{"pocket", "5.71 g"}, {"turn", "299 ms"}})
		require.NoError(t, err, "%q", src)
		want := string(src)
		for i := range old {
			want = strings.Replace(want, old[i], fresh[i], 1)
		}
		if len(old) == 2 {
			require.Equal(t, want, string(out))
			return
		}
		end := "\n" // the last line may be the only one without one: then what follows it begins with it
		if bytes.Contains(src, []byte("\r\n")) {
			end = "\r\n"
		}
		ended := func(s string) []byte { return []byte(strings.TrimRight(s, "\r\n") + end) }
		sameLines(t, ended(want), ended(string(out)), []string{"pocket", "turn"})
	})
}
