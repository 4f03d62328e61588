package ruletext

import (
	"strings"
	"testing"
	"unicode/utf8"

	"mealtab/compiler/reader"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestParse(t *testing.T) {
	p, ds := Input{Rule: "freq=weekly;byday=mo", Start: "2026-12-07t07:00", Zone: "Europe/Lisbon",
		RDate: []string{"2026-12-25T10:00"}, ExDate: []string{"2026-12-14", "2026-12-21T07:00:00"}}.Parse(reader.Options{})
	require.NotNil(t, p, "%v", ds)
	set := p.Meals[0].Set
	assert.Equal(t, "FREQ=WEEKLY;BYDAY=MO", set.Rule.Text)
	assert.Equal(t, "2026-12-07T07:00:00", set.Start.String())
	assert.Len(t, set.RDate, 1)
	assert.Len(t, set.ExDate, 1)
	assert.Len(t, set.ExDays, 1)
}

// Each fault points into the argument that has it.
func TestPlaces(t *testing.T) {
	good := Input{Rule: "FREQ=DAILY", Start: "2026-12-07T07:00", Zone: "Europe/Lisbon"}
	for _, c := range []struct {
		change          func(*Input)
		source, message string
		col, length     int
	}{
		{func(in *Input) { in.Rule = "FREQ=DAILY;BYHOUR=7,25" }, "rule", "BYHOUR=25 is outside 0 to 23", 21, 2},
		{func(in *Input) { in.Rule = "FREQ=DAILY;BYHOUR=7'\n[wheel]" }, "rule", "", 0, 0},
		{func(in *Input) { in.Start = "2026-02-30T07:00" }, "--dtstart", "2026-02-30T07:00:00 does not exist", 1, 19},
		{func(in *Input) { in.Start = "2026-12-07T07:00:00\nlate = 1" }, "--dtstart", "this is not a date or time", 1, 28},
		{func(in *Input) { in.Zone = "Lisbon time" }, "--zone", `"Lisbon time" is not an IANA time zone name`, 1, 11},
		{func(in *Input) { in.Zone = "Europe/Lisbon'\n" }, "--zone", "this is no IANA time zone name", 1, 15},
		{func(in *Input) { in.At = []string{"07:00", "7"} }, "--at", `"7" is not a time of day`, 10, 1},
		{func(in *Input) { in.At = []string{"07:00'"} }, "--at", "these are not times of day", 1, 6},
		{func(in *Input) { in.RDate = []string{"2026-12-25T10:00", "2026-02-30T10:00"} }, "--rdate", "2026-02-30T10:00:00 does not exist", 22, 19},
		{func(in *Input) { in.ExDate = []string{"Christmas"} }, "--exdate", "this is not a date or time", 1, 9},
		{func(in *Input) { in.Start = "" }, "", "there is no --dtstart, and nothing else says the time of day", 0, 0},
	} {
		in := good
		c.change(&in)
		p, ds := in.Parse(reader.Options{})
		require.Nil(t, p, c.message)
		require.NotEmpty(t, ds)
		d := ds[0]
		if c.source == "" {
			assert.Nil(t, d.Source)
		} else {
			require.NotNil(t, d.Source, c.message)
			assert.Equal(t, c.source, d.Source.Name)
		}
		if c.message != "" {
			assert.Equal(t, c.message, d.Message)
			assert.Equal(t, c.col, d.Pos.Col, c.message)
			assert.Equal(t, c.length, d.Pos.Len, c.message)
		}
	}
}

// Nothing that is typed escapes its argument: every place lies inside the text it belongs to, and nothing adds a meal.
func FuzzParse(f *testing.F) {
	f.Add("FREQ=DAILY", "2026-12-07T07:00", "Europe/Lisbon", "07:00", "2026-12-25T10:00", "2026-12-14")
	f.Add("FREQ=MONTHLY;BYMONTHDAY=31", "", "UTC", "", "", "")
	f.Add("'\n[[meal]]", "\"", "'", "'", "]", "#")
	f.Fuzz(func(t *testing.T, rule, start, zone, at, rdate, exdate string) {
		split := func(s string) []string {
			if s == "" {
				return nil
			}
			return strings.Split(s, ",")
		}
		p, ds := Input{Rule: rule, Start: start, Zone: zone, At: split(at), RDate: split(rdate), ExDate: split(exdate)}.Parse(reader.Options{})
		if p != nil && len(p.Meals) != 1 {
			t.Fatalf("%d meals", len(p.Meals))
		}
		for _, d := range ds {
			if d.Source == nil {
				continue
			}
			if d.Pos.Line < 1 || d.Pos.Line > len(d.Source.Lines) || d.Pos.Col < 1 || d.Pos.Col > utf8.RuneCountInString(d.Source.Lines[d.Pos.Line-1])+1 {
				t.Errorf("%s: %+v is outside %q", d.Message, d.Pos, d.Source.Lines)
			}
		}
	})
}
