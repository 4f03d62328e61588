package edit

import (
	"slices"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var key = Key{Table: "meal", Name: "exdate"}

// lists are ways to write one.
var lists = []struct{ name, before, appended, dropped string }{
	{"none", "name = \"a\"\n", "name = \"a\"\nexdate = [9]\n", "name = \"a\"\n"},
	{"on a line", "exdate = [1, 2, 3] # why\n", "exdate = [1, 2, 3, 9] # why\n", "exdate = [1, 3] # why\n"},
	{"a comma behind", "exdate = [1, 2, 3,]\n", "exdate = [1, 2, 3, 9,]\n", "exdate = [1, 3]\n"},
	{"empty", "exdate = []\n", "exdate = [9]\n", ""},
	{"each on a line", "exdate = [\n  1, # one\n  2,\n  3, # three\n]\n", "exdate = [\n  1, # one\n  2,\n  3, # three\n  9,\n]\n", "exdate = [\n  1, # one\n  3, # three\n]\n"},
	{"the last without a comma", "exdate = [\n  1,\n  2,\n  3 # three\n]\n", "exdate = [\n  1,\n  2,\n  3, # three\n  9,\n]\n", "exdate = [\n  1,\n  3 # three\n]\n"},
	{"the bracket behind the last", "exdate = [\n  1,\n  2,\n  3]\n", "exdate = [\n  1,\n  2,\n  3,\n  9]\n", "exdate = [\n  1,\n  3]\n"},
	{"a comment of the one that goes", "exdate = [\n  1,\n  2, # two\n  3,\n]\n", "exdate = [\n  1,\n  2, # two\n  3,\n  9,\n]\n", "exdate = [\n  1,\n   # two\n  3,\n]\n"},
	{"Windows", "exdate = [\r\n\t1,\r\n\t2,\r\n\t3,\r\n]\r\n", "exdate = [\r\n\t1,\r\n\t2,\r\n\t3,\r\n\t9,\r\n]\r\n", "exdate = [\r\n\t1,\r\n\t3,\r\n]\r\n"},
	{"a comma on the next line", "exdate = [\n  1\n  , 2\n  , 3\n]\n", "exdate = [\n  1\n  , 2\n  , 3, 9\n]\n", "exdate = [\n  1\n  , \n   3\n]\n"},
}

func TestLists(t *testing.T) {
	for _, c := range lists {
		t.Run(c.name, func(t *testing.T) {
			head := "[[meal]]\n"
			if strings.Contains(c.before, "\r") {
				head = "[[meal]]\r\n"
			}
			d, err := Parse([]byte(head + c.before))
			require.NoError(t, err)
			require.Equal(t, head+c.appended, string(d.Append(key, "9")))
			require.Equal(t, head+c.dropped, string(d.Drop(key, 1)))
			require.NotContains(t, string(d.Drop(key, 0, 1, 2)), "exdate")
		})
	}
}

// However a list is written, what comes out is TOML with the elements wanted, and every comment is still there.
func TestListsKeepTheirComments(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b strings.Builder
		want := rapid.SliceOfN(rapid.IntRange(1, 99), 1, 5).Draw(t, "elements")
		space := rapid.SampledFrom([]string{"", " ", "\n", "\n  ", " # c\n", "\n# d\n "})
		b.WriteString("[[meal]] # head\nexdate = [")
		for i, v := range want {
			if i > 0 {
				b.WriteString(space.Draw(t, "before a comma") + ",")
			}
			b.WriteString(space.Draw(t, "before") + string(rune('0'+v/10%9+1)) + string(rune('0'+v%10)))
			want[i] = (v/10%9+1)*10 + v%10
		}
		b.WriteString(space.Draw(t, "before the end"))
		if rapid.Bool().Draw(t, "a comma behind") {
			b.WriteString("," + space.Draw(t, "behind it"))
		}
		b.WriteString("] # end\nname = \"x\" # name\n")
		d, err := Parse([]byte(b.String()))
		require.NoError(t, err)
		read := func(text []byte) []int {
			var v struct {
				Meal []struct {
					Exdate []int
					Name   string
				}
			}
			require.NoError(t, toml.Unmarshal(text, &v), "%s\nof\n%s", text, b.String())
			require.Equal(t, "x", v.Meal[0].Name)
			require.GreaterOrEqual(t, strings.Count(string(text), "#"), strings.Count(b.String(), "#"), "%s\nof\n%s", text, b.String())
			return v.Meal[0].Exdate
		}
		require.Equal(t, append(slices.Clone(want), 77, 78), read(d.Append(key, "77", "78")))
		n := rapid.IntRange(0, len(want)-1).Draw(t, "dropped")
		if len(want) > 1 {
			require.Equal(t, slices.Delete(slices.Clone(want), n, n+1), read(d.Drop(key, n)))
		}
	})
}
