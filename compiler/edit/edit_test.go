package edit

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const text = `# Two cats.
plan  = "Juniper and Moss"   # invented
zone  = "Europe/Lisbon"

[wheel]                      # from weighing
pocket = "6.2 g"

# Mornings.
[[meal]]
name    = "breakfast"
portion = "18 g"             # was 16
dtstart = 2026-12-01T07:00:00
exdate  = [
  2026-12-24T07:00:00,       # away
  2026-12-25T07:00:00,
]

# Evenings.
[[meal]]
name    = "supper"
portion = "20 g"
at      = ["18:30", '19:30']
`

func doc(t *testing.T) *Doc {
	t.Helper()
	d, err := Parse([]byte(text))
	require.NoError(t, err)
	return d
}

func meal(n int, name string) Key { return Key{"meal", n, name} }

func TestText(t *testing.T) {
	d := doc(t)
	assert.Equal(t, 2, d.Meals())
	for k, want := range map[Key]string{
		{Name: "zone"}: "Europe/Lisbon", {Table: "wheel", Name: "pocket"}: "6.2 g", meal(0, "dtstart"): "2026-12-01T07:00:00",
		meal(0, "exdate"): "2026-12-24T07:00:00, 2026-12-25T07:00:00", meal(1, "at"): "18:30, 19:30", meal(1, "rrule"): "",
		{Table: "hopper", Name: "holds"}: "",
	} {
		assert.Equal(t, want, d.Text(k), "%+v", k)
	}
}

// Only the value changes; every other byte stays.
func TestSetChangesNothingElse(t *testing.T) {
	d := doc(t)
	got := string(d.Set(meal(0, "portion"), Quote("22 g")))
	assert.Equal(t, strings.Replace(text, `"18 g"`, `"22 g"`, 1), got)
	got = string(d.Set(meal(0, "exdate"), "[2026-12-26]"))
	assert.Contains(t, got, "dtstart = 2026-12-01T07:00:00\nexdate  = [2026-12-26]\n\n# Evenings.")
}

func TestInsert(t *testing.T) {
	d := doc(t)
	assert.Contains(t, string(d.Set(meal(1, "rrule"), Quote("FREQ=DAILY"))), "portion = \"20 g\"\nrrule   = \"FREQ=DAILY\"\nat      =")
	assert.Contains(t, string(d.Set(meal(1, "presets"), `["away"]`)), "'19:30']\npresets = [\"away\"]\n")
	assert.Contains(t, string(d.Set(Key{Name: "late"}, Quote("2h"))), "zone  = \"Europe/Lisbon\"\nlate  = \"2h\"\n\n[wheel]")
	assert.Contains(t, string(d.Set(Key{Table: "hopper", Name: "holds"}, Quote("1 kg"))), "\n\n[hopper]\nholds = \"1 kg\"\n\n# Mornings.\n[[meal]]")
	assert.Contains(t, string(d.Set(Key{Table: "wheel", Name: "turn"}, Quote("300 ms"))), "pocket = \"6.2 g\"\nturn   = \"300 ms\"\n")
}

// A table in braces is edited in its braces; a byte order mark stays first.
func TestInline(t *testing.T) {
	d, err := Parse([]byte("\uFEFFwheel = { turn = \"1 s\", pocket = '6 g' } # x\n"))
	require.NoError(t, err)
	turn, pocket := Key{Table: "wheel", Name: "turn"}, Key{Table: "wheel", Name: "pocket"}
	assert.Equal(t, "6 g", d.Text(pocket))
	assert.Equal(t, "\uFEFFwheel = { turn = \"2 s\", pocket = '6 g' } # x\n", string(d.Set(turn, Quote("2 s"))))
	assert.Equal(t, "\uFEFFwheel = { turn = \"1 s\", pocket = '6 g', trim = \"5 us\" } # x\n", string(d.Set(Key{Table: "wheel", Name: "trim"}, Quote("5 us"))))
	assert.Equal(t, "\uFEFFwheel = { turn = \"1 s\", pocket = '6 g' } # x\nlate  = \"2h\"\n", string(d.Set(Key{Name: "late"}, Quote("2h"))))
	assert.Equal(t, "\uFEFFwheel = { turn = \"1 s\" } # x\n", string(d.Remove(pocket)))
	d, err = Parse(d.Remove(turn))
	require.NoError(t, err)
	assert.Equal(t, "\uFEFFwheel = { pocket = '6 g' } # x\n", string(d.Source()))
	assert.Equal(t, "\uFEFF# x\n", string(d.Remove(pocket)))
}

func TestRemove(t *testing.T) {
	d := doc(t)
	assert.Contains(t, string(d.Remove(meal(0, "portion"))), "name    = \"breakfast\"\n# was 16\ndtstart", "the comment stays")
	assert.Equal(t, text, string(d.Remove(meal(0, "rdate"))))
	got := string(d.RemoveMeal(0))
	assert.NotContains(t, got, "Mornings")
	assert.Contains(t, got, "pocket = \"6.2 g\"\n\n# Evenings.\n[[meal]]\nname    = \"supper\"")
	got = string(d.RemoveMeal(1))
	assert.NotContains(t, got, "supper")
	assert.Contains(t, got, "2026-12-25T07:00:00,\n]\n")
}

// The last key of a table takes the heading with it, which by itself would still mean something; comments stay.
func TestRemoveLastKey(t *testing.T) {
	d := doc(t)
	got := string(d.Remove(Key{Table: "wheel", Name: "pocket"}))
	assert.Contains(t, got, "\n\n# from weighing\n\n# Mornings.")
	assert.NotContains(t, got, "[wheel]")
	d, err := Parse([]byte("zone = \"UTC\"\n\n[button]\nportion = \"1 pocket\"\n\n[[meal]]\n"))
	require.NoError(t, err)
	assert.Equal(t, "zone = \"UTC\"\n\n[[meal]]\n", string(d.Remove(Key{Table: "button", Name: "portion"})))
}

func TestAddMeal(t *testing.T) {
	d := doc(t)
	got := string(d.AddMeal([][2]string{{"name", Quote("bite")}, {"portion", Quote("6 g")}}))
	assert.True(t, strings.HasSuffix(got, "'19:30']\n\n[[meal]]\nname    = \"bite\"\nportion = \"6 g\"\n"), got)
	d, err := Parse(nil)
	require.NoError(t, err)
	assert.Equal(t, "[[meal]]\nname    = \"x\"\n", string(d.AddMeal([][2]string{{"name", Quote("x")}})))
}

func TestAt(t *testing.T) {
	d := doc(t)
	for _, c := range []struct {
		line, column int
		want         Key
	}{
		{2, 9, Key{Name: "plan"}}, {6, 12, Key{Table: "wheel", Name: "pocket"}}, {9, 3, Key{Table: "meal"}}, {11, 12, meal(0, "portion")},
		{14, 3, meal(0, "exdate")}, {19, 3, Key{Table: "meal", Meal: 1}}, {21, 12, meal(1, "portion")}, {22, 20, meal(1, "at")},
	} {
		got, ok := d.At(c.line, c.column)
		assert.True(t, ok)
		assert.Equal(t, c.want, got, "%d:%d", c.line, c.column)
	}
}

func TestParseRefuses(t *testing.T) {
	for src, want := range map[string]string{
		"zone = ": "", "[meal]\nname = 'x'": "line 1: [meal] is a single table", "zone = 'UTC'\nmeal = [{name = 'x'}]": "line 2: meals are written as a list",
	} {
		_, err := Parse([]byte(src))
		assert.ErrorContains(t, err, want, src)
	}
}

// After any edit of any plan of the collection the text is TOML, has the new value, and all other values as before.
func TestEditsKeepTheRest(t *testing.T) {
	files, err := filepath.Glob("../../testdata/plans/*.toml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	rapid.Check(t, func(r *rapid.T) {
		src, err := os.ReadFile(rapid.SampledFrom(files).Draw(r, "file"))
		require.NoError(r, err)
		if rapid.Bool().Draw(r, "crlf") {
			src = []byte(strings.ReplaceAll(string(src), "\n", "\r\n"))
		}
		if rapid.Bool().Draw(r, "no final newline") {
			src = []byte(strings.TrimRight(string(src), "\r\n"))
		}
		d, err := Parse(src)
		require.NoError(r, err)
		k := rapid.SampledFrom([]Key{{Name: "late"}, {Name: "zone"}, {Table: "hopper", Name: "holds"}, {Table: "button", Name: "portion"},
			meal(rapid.IntRange(0, d.Meals()-1).Draw(r, "meal"), rapid.SampledFrom([]string{"name", "portion", "rrule"}).Draw(r, "key"))}).Draw(r, "what")
		value := rapid.String().Draw(r, "value")
		got := d.Set(k, Quote(value))

		var before, after map[string]any
		require.NoError(r, toml.Unmarshal(src, &before))
		require.NoError(r, toml.Unmarshal(got, &after), "%s", got)
		place(after, k)[k.Name] = nil
		changed, err := Parse(got)
		require.NoError(r, err)
		require.Equal(r, strings.ToValidUTF8(value, "\uFFFD"), changed.Text(k))
		place(before, k)[k.Name] = nil
		require.Equal(r, before, after)
		require.Equal(r, strings.Count(string(src), "#"), strings.Count(string(changed.Set(k, `""`)), "#"), "comments")
	})
}

// place is the table that holds a key, made where there is none.
func place(root map[string]any, k Key) map[string]any {
	if k.Table == "" {
		return root
	}
	if k.Table == "meal" {
		return root["meal"].([]any)[k.Meal].(map[string]any)
	}
	if root[k.Table] == nil {
		root[k.Table] = map[string]any{}
	}
	return root[k.Table].(map[string]any)
}

func TestValues(t *testing.T) {
	assert.Equal(t, `"a \"b\" \\ \n \u0001"`, Quote("a \"b\" \\ \n \x01"))
	assert.Equal(t, []string{"07:00", "18:30"}, Split(" 07:00; ,18:30,\n"))
	for in, want := range map[string]string{
		"2026-12-24": "2026-12-24", "2026-12-24 07:00": "2026-12-24T07:00:00", "2026-12-24t07:00z": "2026-12-24T07:00:00Z", "2026-12-24T07:00:00": "2026-12-24T07:00:00",
		"Christmas": `"Christmas"`, `1] x = [1`: `"1] x = [1"`,
	} {
		assert.Equal(t, want, Moment(in))
	}
}

func FuzzSet(f *testing.F) {
	f.Add([]byte(text), "value")
	f.Add([]byte("zone='UTC'\r\nwheel.pocket = '6 g' # x\r\n[[meal]]"), "\x00")
	f.Fuzz(func(t *testing.T, src []byte, value string) {
		d, err := Parse(src)
		if err != nil {
			return
		}
		var before map[string]any
		if toml.Unmarshal(src, &before) != nil {
			return // the parser underneath accepts more than TOML
		}
		for _, k := range []Key{{Name: "zone"}, {Table: "wheel", Name: "pocket"}, meal(0, "name")} {
			if k.Table == "meal" && d.Meals() == 0 {
				continue
			}
			got, err := Parse(d.Set(k, Quote(value)))
			if err != nil {
				t.Fatalf("%+v: %v in\n%s", k, err, d.Set(k, Quote(value)))
			}
			if got.Text(k) != strings.ToValidUTF8(value, "\uFFFD") {
				t.Fatalf("%+v is %q, not %q", k, got.Text(k), value)
			}
		}
	})
}

// What is added stands after one blank line, and a meal that is added and removed leaves nothing: neither at once nor over and over.
func TestAddAndRemoveLeaveNothing(t *testing.T) {
	for text, before := range map[string]string{"zone = \"UTC\"\n": "zone = \"UTC\"\n\n", "zone = \"UTC\"\n\n": "zone = \"UTC\"\n\n", "": "", "# none yet\n": "# none yet\n\n",
		"zone = \"UTC\"\r\n[[meal]]\r\nname = \"x\"\r\n": "zone = \"UTC\"\r\n[[meal]]\r\nname = \"x\"\r\n\r\n"} {
		src := []byte(text)
		for range 3 {
			d, err := Parse(src)
			require.NoError(t, err)
			added := d.AddMeal([][2]string{{"name", Quote("bite")}})
			assert.Equal(t, before+"[[meal]]"+d.newline()+"name    = \"bite\""+d.newline(), string(added))
			d, err = Parse(added)
			require.NoError(t, err)
			src = d.RemoveMeal(d.Meals() - 1)
		}
		assert.Equal(t, strings.TrimRight(text, "\r\n"), strings.TrimRight(string(src), "\r\n"))
	}
}
