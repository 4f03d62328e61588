package once_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler"
	"mealtab/compiler/once"
	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/replay"
	"mealtab/compiler/zone"
)

const cats = `# Two cats (invented).
zone = "Europe/Lisbon"
board = "m328-mains"
[wheel]
pocket = "6.2 g"

[[meal]] # mornings
name    = "breakfast"
portion = "18 g"
dtstart = 2026-12-01T07:00:00
exdate  = [
  2026-12-24T07:00:00, # away
]

[[meal]]
name    = "supper"
portion = "22 g"
at      = ["18:30", "21:00"]
exdate  = [2026-12-31] # the whole day

[[meal]]
name    = "snack"
portion = "6 g"
rdate   = [2026-12-06T12:00:00, 2026-12-07T12:00:00]

[[meal]]
name    = "night"
portion = "6 g"
dtstart = 2026-12-01T02:00:00Z
`

func read(t require.TestingT, text []byte) (*plan.Plan, error) {
	p, ds := reader.With(zone.Embedded()).Parse("plan.toml", text)
	if p == nil {
		return nil, errors.New(ds[0].Message)
	}
	return p, nil
}

func begin(t require.TestingT, text string) (*once.Change, *plan.Plan, *zone.Zone) {
	p, err := read(t, []byte(text))
	require.NoError(t, err)
	z, err := zone.Embedded().Load(p.Zone)
	require.NoError(t, err)
	c, err := once.New([]byte(text), p, z, func(text []byte) (*plan.Plan, error) { return read(t, text) })
	require.NoError(t, err)
	return c, p, z
}

func at(t require.TestingT, text string) int64 {
	when, err := time.Parse("2006-01-02T15:04:05", text)
	require.NoError(t, err)
	return when.Unix()
}

// serving finds one by its meal and local time.
func serving(t require.TestingT, p *plan.Plan, z *zone.Zone, name, local string) once.Serving {
	unix, _ := z.Resolve(at(t, local))
	list, err := once.Servings(p, z, unix, unix+60)
	require.NoError(t, err)
	i := slices.IndexFunc(list, func(s once.Serving) bool { return p.Meals[s.Meal].Name == name })
	require.GreaterOrEqual(t, i, 0, "%s at %s", name, local)
	return list[i]
}

// What is written, to the byte: comments and order stay.
func TestTextOfChanges(t *testing.T) {
	for _, c := range []struct {
		name, old, new string
		do             func(c *once.Change, p *plan.Plan, z *zone.Zone) error
	}{
		{"skip, another date is there", "  2026-12-24T07:00:00, # away\n", "  2026-12-24T07:00:00, # away\n  2026-12-02T07:00:00,\n",
			func(c *once.Change, p *plan.Plan, z *zone.Zone) error {
				return c.Skip(serving(t, p, z, "breakfast", "2026-12-02T07:00:00"))
			}},
		{"skip one of two times a day", "[2026-12-31] #", "[2026-12-31, 2026-12-02T21:00:00] #",
			func(c *once.Change, p *plan.Plan, z *zone.Zone) error {
				return c.Skip(serving(t, p, z, "supper", "2026-12-02T21:00:00"))
			}},
		{"skip an extra date", "[2026-12-06T12:00:00, 2026-12-07T12:00:00]", "[2026-12-07T12:00:00]",
			func(c *once.Change, p *plan.Plan, z *zone.Zone) error {
				return c.Skip(serving(t, p, z, "snack", "2026-12-06T12:00:00"))
			}},
		{"skip all extra dates", "[[meal]]\nname    = \"snack\"\nportion = \"6 g\"\nrdate   = [2026-12-06T12:00:00, 2026-12-07T12:00:00]\n\n", "",
			func(c *once.Change, p *plan.Plan, z *zone.Zone) error {
				return c.Skip(serving(t, p, z, "snack", "2026-12-06T12:00:00"), serving(t, p, z, "snack", "2026-12-07T12:00:00"))
			}},
		{"skip in UTC", "dtstart = 2026-12-01T02:00:00Z\n", "dtstart = 2026-12-01T02:00:00Z\nexdate  = [2027-07-01T02:00:00Z]\n",
			func(c *once.Change, p *plan.Plan, z *zone.Zone) error {
				return c.Skip(serving(t, p, z, "night", "2027-07-01T03:00:00"))
			}},
		{"move", "[2026-12-31] # the whole day\n", "[2026-12-31, 2026-12-02T18:30:00] # the whole day\nrdate   = [2026-12-02T20:00:00]\n",
			func(c *once.Change, p *plan.Plan, z *zone.Zone) error {
				_, err := c.Move(serving(t, p, z, "supper", "2026-12-02T18:30:00"), at(t, "2026-12-02T20:00:00"))
				return err
			}},
		{"move what is daily because nothing else is said", "dtstart = 2026-12-01T07:00:00\nexdate  = [\n  2026-12-24T07:00:00, # away\n]\n", "dtstart = 2026-12-01T07:00:00\nrrule   = \"FREQ=DAILY\"\nexdate  = [\n  2026-12-24T07:00:00, # away\n  2026-12-02T07:00:00,\n]\nrdate   = [2026-12-02T09:00:00]\n",
			func(c *once.Change, p *plan.Plan, z *zone.Zone) error {
				_, err := c.Move(serving(t, p, z, "breakfast", "2026-12-02T07:00:00"), at(t, "2026-12-02T09:00:00"))
				return err
			}},
		{"move an extra date", "2026-12-07T12:00:00]", "2026-12-08T12:00:00]",
			func(c *once.Change, p *plan.Plan, z *zone.Zone) error {
				_, err := c.Move(serving(t, p, z, "snack", "2026-12-07T12:00:00"), at(t, "2026-12-08T12:00:00"))
				return err
			}},
		{"serve what a whole day leaves out", "exdate  = [2026-12-31] #", "exdate  = [2026-12-31T18:30:00] #",
			func(c *once.Change, p *plan.Plan, z *zone.Zone) error {
				_, err := c.Extra(1, at(t, "2026-12-31T21:00:00"))
				return err
			}},
		{"restore", "exdate  = [\n  2026-12-24T07:00:00, # away\n]\n", "",
			func(c *once.Change, p *plan.Plan, z *zone.Zone) error {
				list, err := once.LeftOut(p, z, at(t, "2026-12-24T00:00:00"), at(t, "2026-12-25T00:00:00"))
				require.NoError(t, err)
				require.Len(t, list, 1)
				return c.Restore(list...)
			}},
		{"extra of the same portion", "2026-12-07T12:00:00]", "2026-12-07T12:00:00, 2026-12-09T15:00:00]",
			func(c *once.Change, p *plan.Plan, z *zone.Zone) error {
				_, err := c.ExtraPortion("6 g", "extra 6 g", nil, at(t, "2026-12-09T15:00:00"))
				return err
			}},
		{"extra of another portion", "dtstart = 2026-12-01T02:00:00Z\n", "dtstart = 2026-12-01T02:00:00Z\n\n[[meal]]\nname    = \"extra\"\nportion = \"10 g\"\nrdate   = [2026-12-09T15:00:00]\n",
			func(c *once.Change, p *plan.Plan, z *zone.Zone) error {
				_, err := c.ExtraPortion("10 g", "extra", nil, at(t, "2026-12-09T15:00:00"))
				return err
			}},
	} {
		t.Run(c.name, func(t *testing.T) {
			change, p, z := begin(t, cats)
			require.NoError(t, c.do(change, p, z))
			require.Equal(t, strings.Replace(cats, c.old, c.new, 1), string(change.Text()))
			require.NoError(t, change.Verify())
		})
	}
}

func TestChangesThatCannotBe(t *testing.T) {
	change, p, z := begin(t, cats)
	_, err := change.Move(serving(t, p, z, "supper", "2026-12-02T18:30:00"), at(t, "2026-12-02T21:00:00"))
	require.ErrorContains(t, err, "supper is served at that time already, and one meal is given once")
	_, err = change.Extra(0, at(t, "2026-12-05T07:00:00"))
	require.ErrorContains(t, err, "already")
	_, err = change.ExtraPortion("10 oranges", "extra", nil, at(t, "2026-12-09T15:00:00"))
	require.Error(t, err)
	require.Equal(t, cats, string(change.Text()), "what fails changes nothing")
	require.NoError(t, change.Verify())
}

// served is what the compiled table of a text serves through three years, by instant and name: another reading than the package's.
func served(t require.TestingT, text []byte) map[string]int {
	p, err := read(t, text)
	require.NoError(t, err, "%s", text)
	z, err := zone.Embedded().Load(p.Zone)
	require.NoError(t, err)
	board, err := profile.LoadFor("plan.toml", p.Board)
	require.NoError(t, err)
	out, err := compiler.Compile(p, z, compiler.Options{Board: board, From: 9700})
	require.NoError(t, err, "%s", text)
	got := map[string]int{}
	for c := replay.New(out.Table, replay.Options{Preset: replay.AllPresets, To: (9700 + 1100) * 1440}); ; {
		s, more := c.Next()
		if !more {
			return got
		}
		for _, m := range s.Meals {
			got[fmt.Sprintf("%d %s", s.At.Unix(), p.Meals[out.MealOf[m.Meal]].Name)]++
		}
	}
}

// On every plan of testdata: what a change says is gone or added is what the tables differ by, and nothing else.
func TestChangesAreExactlyThose(t *testing.T) {
	files, err := filepath.Glob("../../testdata/plans/*.toml")
	require.NoError(t, err)
	tried, done := 0, map[string]int{}
	rapid.Check(t, func(rt *rapid.T) {
		src, err := os.ReadFile(rapid.SampledFrom(files).Draw(rt, "plan"))
		require.NoError(rt, err)
		c, p, z := begin(rt, string(src))
		const epoch, day = 946684800, 86400
		from := int64(epoch + (9720+rapid.IntRange(0, 900).Draw(rt, "day"))*day)
		list, err := once.Servings(p, z, from, from+3*day)
		require.NoError(rt, err)
		if len(list) == 0 {
			return
		}
		some := list[:rapid.IntRange(1, min(len(list), 6)).Draw(rt, "how many")]
		to := from + int64(rapid.IntRange(0, 3*1440).Draw(rt, "to"))*60
		what := rapid.SampledFrom([]string{"skip", "move", "extra", "portion", "back"}).Draw(rt, "what")
		tried++
		switch what {
		case "skip":
			err = c.Skip(some...)
		case "move":
			_, err = c.Move(some[0], to)
		case "extra":
			_, err = c.Extra(some[0].Meal, to)
		case "portion":
			if _, err = c.ExtraPortion("1 pocket", "extra", nil, to); err == nil && p.Wheel != nil {
				before := string(c.Text())
				if _, err2 := c.ExtraPortion("5 g", "extra", nil, to+60); err2 != nil {
					require.Equal(rt, before, string(c.Text()))
				}
			}
		case "back":
			if err = c.Skip(some...); err != nil {
				break
			}
			var left []once.Serving
			if left, err = once.LeftOut(c.Plan(), z, from, from+3*day); err == nil && len(c.Plan().Meals) == len(p.Meals) {
				err = c.Restore(left...)
			}
		}
		if err != nil { // it says why, and nothing has changed
			require.Equal(rt, string(src), string(c.Text()))
			return
		}
		if len(c.Gone()) > 0 && len(c.Added()) > 0 && len(c.Gone()) == len(c.Added()) && c.Gone()[0].Unix == c.Added()[0].Unix {
			return // back where it was
		}
		done[what]++
		require.NoError(rt, c.Verify(), "%s", c.Text())
		want := served(rt, src)
		for _, s := range c.Gone() {
			want[fmt.Sprintf("%d %s", s.Unix, p.Meals[s.Meal].Name)]--
		}
		for _, s := range c.Added() {
			want[fmt.Sprintf("%d %s", s.Unix, c.Plan().Meals[s.Meal].Name)]++
		}
		got := served(rt, c.Text())
		for k, n := range want {
			if n == 0 {
				delete(want, k)
			}
		}
		require.Equal(rt, want, got, "%s", c.Text())
	})
	for _, what := range []string{"skip", "move", "extra", "portion"} {
		require.Greater(t, done[what], tried/20, "of %d changes so few went as far as to be compared: %v", tried, done)
	}
}

// A change that did more than it says would be found.
func TestVerifyFindsMore(t *testing.T) {
	for name, more := range map[string][2]string{
		"a serving more": {"[2026-12-31]", "[2026-12-30]"},
		"another time":   {"18:30", "18:31"},
		"a portion":      {"22 g", "23 g"},
		"the zone":       {"Europe/Lisbon", "Europe/Madrid"},
	} {
		t.Run(name, func(t *testing.T) {
			p, err := read(t, []byte(cats))
			require.NoError(t, err)
			z, err := zone.Embedded().Load(p.Zone)
			require.NoError(t, err)
			c, err := once.New([]byte(cats), p, z, func(text []byte) (*plan.Plan, error) {
				return read(t, []byte(strings.Replace(string(text), more[0], more[1], 1)))
			})
			require.NoError(t, err)
			if err = c.Skip(serving(t, p, z, "breakfast", "2026-12-02T07:00:00")); err == nil {
				err = c.Verify()
			}
			require.Error(t, err)
		})
	}
}
