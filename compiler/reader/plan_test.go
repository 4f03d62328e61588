package reader_test

import (
	_ "embed"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
	"mealtab/compiler/reader"
)

// TestHouseholdPlans reads every plan of testdata/plans: no errors, no warnings, many zones.
func TestHouseholdPlans(t *testing.T) {
	zones := map[string]bool{}
	files := inputs(t, filepath.Join("..", "..", "testdata", "plans"))
	for _, file := range files {
		p := mustRead(t, file)
		zones[p.Zone] = true
		assert.NotEmpty(t, p.Name, file)
		for _, m := range p.Meals {
			assert.NotZero(t, m.Pos, "%s %s", file, m.Name)
			assert.NotZero(t, m.Portion, "%s %s", file, m.Name)
		}
	}
	assert.GreaterOrEqual(t, len(files), 24)
	assert.GreaterOrEqual(t, len(zones), 12)
}

// mustRead parses a file that has nothing wrong.
func mustRead(t *testing.T, file string) *plan.Plan {
	t.Helper()
	src, err := os.ReadFile(file)
	require.NoError(t, err)
	return mustParse(t, filepath.Base(file), string(src))
}

func mustParse(t *testing.T, name, src string) *plan.Plan {
	t.Helper()
	p, ds := checked.Parse(name, []byte(src))
	var picture strings.Builder
	require.NoError(t, plan.Render(&picture, ds, false))
	require.Empty(t, ds, picture.String())
	return p
}

// designPlan says something with every key that there is.
//
//go:embed testdata/every-key.toml
var designPlan string

func TestParseEveryKey(t *testing.T) {
	p := mustParse(t, "plan.toml", designPlan)
	assert.Equal(t, "Juniper and Moss", p.Name)
	assert.Equal(t, "Europe/Lisbon", p.Zone)
	assert.Equal(t, 90, p.Late)
	assert.Equal(t, "m328-mains", p.Board)
	assert.Equal(t, plan.GapOmit, p.Gap)
	assert.Equal(t, &plan.Wheel{PocketMilligrams: 6200, TurnMillis: 310, TrimMicros: -12}, p.Wheel)
	assert.EqualValues(t, 1_400_000, p.Hopper)
	assert.Equal(t, &plan.Button{Portion: plan.Portion{Pockets: 1}, PerHour: 3}, p.Button)
	assert.Equal(t, []string{"everyday", "away"}, p.Presets)
	require.Len(t, p.Meals, 2)

	m := p.Meals[0]
	assert.Equal(t, "breakfast", m.Name)
	assert.Equal(t, plan.Portion{Milligrams: 18000}, m.Portion)
	assert.EqualValues(t, 0b11, m.Presets)
	assert.Equal(t, plan.Recurrence{
		Form:   plan.Zoned,
		Start:  plan.Local{Year: 2026, Month: 12, Day: 1, Hour: 7},
		Rule:   &plan.Rule{Text: "FREQ=DAILY", Freq: plan.Daily, Interval: 1},
		At:     []int{420, 1110},
		RDate:  []plan.Local{{Year: 2026, Month: 12, Day: 25, Hour: 10}, {Year: 2026, Month: 12, Day: 26, Hour: 10}},
		ExDate: []plan.Local{{Year: 2026, Month: 12, Day: 24, Hour: 7}},
		ExDays: []plan.Local{{Year: 2026, Month: 12, Day: 31}},
	}, m.Set)
	assert.Equal(t, plan.Pos{Line: 19, Col: 3, Len: 4}, m.Pos)
	assert.Equal(t, plan.MealPlaces{
		Name: plan.Pos{Line: 20, Col: 12, Len: 9}, Portion: plan.Pos{Line: 21, Col: 11, Len: 6},
		Start: plan.Pos{Line: 22, Col: 11, Len: 19}, Rule: plan.Pos{Line: 23, Col: 12, Len: 10}, At: plan.Pos{Line: 24, Col: 11, Len: 18},
		RDate:  []plan.Pos{{Line: 26, Col: 30, Len: 19}, {Line: 26, Col: 12, Len: 16}},
		ExDate: []plan.Pos{{Line: 25, Col: 24, Len: 19}}, ExDays: []plan.Pos{{Line: 25, Col: 12, Len: 10}},
	}, m.Where)

	treat := p.Meals[1].Set
	assert.Equal(t, plan.UTC, treat.Form)
	assert.Equal(t, "FREQ=DAILY", treat.Rule.Text, "without rrule a meal is daily")
	assert.EqualValues(t, 0b10, p.Meals[1].Presets)
}

// The same plan with CRLF line ends, with a byte order mark, and with its keys dotted gives the same meals.
func TestParseOtherSpellings(t *testing.T) {
	want := mustParse(t, "plan.toml", designPlan)
	dotted := strings.NewReplacer("[wheel]\npocket ", "wheel.pocket ", "\nturn ", "\nwheel.turn ", "\ntrim ", "\nwheel.trim ",
		"[hopper]\nholds ", "hopper.holds ", "[button]\nportion ", "button.portion ", "\nper-hour ", "\nbutton.per-hour ").Replace(designPlan)
	require.NotEqual(t, designPlan, dotted)
	for name, src := range map[string]string{
		"CRLF":   strings.ReplaceAll(designPlan, "\n", "\r\n"),
		"BOM":    "\xEF\xBB\xBF" + designPlan,
		"dotted": dotted,
	} {
		got := mustParse(t, "plan.toml", src)
		assert.Equal(t, settings(want), settings(got), name)
		if name != "dotted" {
			assert.Equal(t, want.Meals, got.Meals, name)
		}
	}
}

// settings is a plan without its meals and places.
func settings(p *plan.Plan) plan.Plan {
	out := *p
	out.Meals, out.Source, out.Where = nil, nil, plan.Places{}
	return out
}

// Weights and durations are exact. The pound is 453.59237 g and the ounce a sixteenth of it (international yard and
// pound agreement of 1959).
func TestUnits(t *testing.T) {
	masses := map[string]int64{
		"6.2 g": 6200, "6.2g": 6200, "0.001 g": 1, "18 g": 18000, "1.4 kg": 1_400_000, "250 mg": 250,
		"1 oz": 28350, "16 oz": 453592, "1 lb": 453592, "2.5 oz": 70874, "007 g": 7000,
	}
	for s, want := range masses {
		anyPockets := checked
		anyPockets.Limits.MealPockets = 0
		p, ds := anyPockets.Parse("p.toml", []byte("zone = \"Etc/UTC\"\nwheel.pocket = \"1 mg\"\nmeal = [{name = \"x\", portion = \""+s+"\", at = [\"07:00\"]}]\n"))
		require.NotNil(t, p, ds)
		assert.Equal(t, want, p.Meals[0].Portion.Milligrams, s)
	}
	lates := map[string]int{"2h": 120, "90 min": 90, "1.5 h": 90, "1h 30min": 90, "1h30min": 90, "0 min": 0, "1 d": 1440, " 2 h ": 120, "0.5d": 720}
	for s, want := range lates {
		p := mustParse(t, "p.toml", "zone = \"Etc/UTC\"\nlate = \""+s+"\"\nmeal = [{name = \"x\", portion = \"1 pocket\", at = [\"07:00\"]}]\n")
		assert.Equal(t, want, p.Late, s)
	}
}

// What a meal may leave out: see the package's documentation of dtstart.
func TestStartMayBeLeftOut(t *testing.T) {
	always := plan.Local{Year: 2000, Month: 1, Day: 1}
	for _, rule := range []string{
		"FREQ=DAILY", "FREQ=WEEKLY;BYDAY=MO,FR", "FREQ=MONTHLY;BYDAY=-1FR", "FREQ=MONTHLY;BYMONTHDAY=15",
		"FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=1", "FREQ=YEARLY;BYYEARDAY=-1", "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO",
		"FREQ=DAILY;UNTIL=20301231",
	} {
		p := mustParse(t, "p.toml", meal("rrule = \""+rule+"\"\nat = [\"07:00\"]"))
		assert.Equal(t, always, p.Meals[0].Set.Start, rule)
		assert.Zero(t, p.Meals[0].Where.Start)
		mustParse(t, "p.toml", meal("rrule = \""+rule+";BYHOUR=7\""))
	}
	for _, rule := range []string{
		"FREQ=DAILY;INTERVAL=2", "FREQ=DAILY;COUNT=3", "FREQ=WEEKLY", "FREQ=MONTHLY", "FREQ=YEARLY", "FREQ=YEARLY;BYMONTH=2",
		"FREQ=YEARLY;BYWEEKNO=20",
	} {
		_, ds := checked.Parse("p.toml", []byte(meal("rrule = \""+rule+"\"\nat = [\"07:00\"]")))
		require.Len(t, ds, 1, rule)
		assert.Equal(t, plan.CodeMissing, ds[0].Code, rule)
	}
	only := mustParse(t, "p.toml", meal("rdate = [2026-12-31T20:00:00, 2026-12-25T10:00:00]")).Meals[0].Set
	assert.Nil(t, only.Rule, "single dates only")
	assert.Equal(t, plan.Local{Year: 2026, Month: 12, Day: 25, Hour: 10}, only.Start)
	assert.Equal(t, []plan.Local{only.Start, {Year: 2026, Month: 12, Day: 31, Hour: 20}}, only.RDate)
}

func meal(lines string) string {
	return "zone = \"Europe/Lisbon\"\n\n[[meal]]\nname = \"meal\"\nportion = \"3 pockets\"\n" + lines + "\n"
}

// Rules that step in seconds are accepted exactly when they stay on second 0: INTERVAL=k reaches the start's second
// plus multiples of gcd(k, 60).
func TestWholeMinutes(t *testing.T) {
	cases := []struct {
		start, rule string
		ok          bool
	}{
		{"07:00:00", "FREQ=SECONDLY;INTERVAL=60", true},
		{"07:00:00", "FREQ=SECONDLY;INTERVAL=5400", true},
		{"07:00:00", "FREQ=SECONDLY;INTERVAL=90", false},
		{"07:00:00", "FREQ=SECONDLY;INTERVAL=90;BYSECOND=0", true},
		{"07:00:00", "FREQ=SECONDLY;BYSECOND=0", true},
		{"07:00:00", "FREQ=SECONDLY;BYSECOND=0,15", false},
		{"07:00:00", "FREQ=SECONDLY;INTERVAL=20;BYSECOND=0,15", true},
		{"07:00:30", "FREQ=SECONDLY;INTERVAL=60", false},
		{"07:00:30", "FREQ=SECONDLY;INTERVAL=30;BYSECOND=0", true},
		{"07:00:30", "FREQ=DAILY", false},
		{"07:00:30", "FREQ=DAILY;BYSECOND=0", true},
		{"07:00:00", "FREQ=DAILY;BYSECOND=0,60", false},
		{"07:00:30", "FREQ=MINUTELY;INTERVAL=90", false},
		{"07:00:30", "FREQ=MINUTELY;INTERVAL=90;BYSECOND=0", true},
	}
	for _, c := range cases {
		_, ds := checked.Parse("p.toml", []byte(meal("dtstart = 2026-12-01T"+c.start+"\nrrule = \""+c.rule+"\"")))
		assert.Equal(t, c.ok, !ds.HasErrors(), "%s %s: %v", c.start, c.rule, ds)
		for _, d := range ds {
			assert.Equal(t, plan.CodeSeconds, d.Code)
		}
	}
}

// EXDATE and RDATE of another form than DTSTART are converted where the caller knows the zone.
func TestConvertedDates(t *testing.T) {
	o := checked
	src := strings.Replace(meal("dtstart = 2027-07-01T07:00:00\nexdate = [2027-07-05T06:00:00Z, 2027-12-05T07:00:00Z]"), "3 pockets", "1 pocket", 1)
	p, ds := o.Parse("p.toml", []byte(src))
	require.Empty(t, ds)
	assert.Equal(t, []plan.Local{{Year: 2027, Month: 7, Day: 5, Hour: 7}, {Year: 2027, Month: 12, Day: 5, Hour: 7}}, p.Meals[0].Set.ExDate,
		"Lisbon is at +01:00 in July and at +00:00 in December")
}

// Without a zone check, names are judged by their spelling.
func TestZoneSpelling(t *testing.T) {
	for name, ok := range map[string]bool{"Europe/Lisbon": true, "America/Argentina/Ushuaia": true, "Etc/GMT+12": true, "EST5EDT": true, "../etc": false, "": false, "W. Europe": false} {
		_, ds := reader.Parse("p.toml", []byte(strings.Replace(meal("at = [\"07:00\"]"), "Europe/Lisbon", name, 1)))
		assert.Equal(t, ok, len(ds) == 0, name)
	}
}

// A wide character takes two columns of a terminal, a tab stays a tab: carets stand under the value all the same.
func TestRenderColorAndWhole(t *testing.T) {
	src := plan.NewSource("p.toml", []byte("a = 1\nb = 2\n"))
	ds := plan.Diagnostics{
		{Severity: plan.Error, Source: src, Pos: plan.Pos{Line: 2, Col: 5, Len: 1}, Message: "bad", Hint: "good"},
		{Severity: plan.Warning, Source: src, Message: "whole"},
		{Severity: plan.Warning, Message: "nowhere"},
		{Severity: plan.Error, Source: src, Pos: plan.Pos{Line: 9, Col: 90, Len: 3}, Message: "beyond"},
	}
	var b strings.Builder
	require.NoError(t, plan.Render(&b, ds, false))
	assert.Equal(t, "p.toml:2:5: error: bad\n    2 | b = 2\n      |     ^\n      hint: good\n"+
		"p.toml: warning: whole\nwarning: nowhere\np.toml:9:90: error: beyond\n", b.String())
	b.Reset()
	require.NoError(t, plan.Render(&b, ds[:1], true))
	assert.Equal(t, "\x1b[1mp.toml:2:5: \x1b[0m\x1b[1;31merror\x1b[0m: \x1b[1mbad\x1b[0m\n\x1b[36m    2 |\x1b[0m b = 2\n"+
		"\x1b[36m      |\x1b[0m \x1b[1;31m    ^\x1b[0m\n      \x1b[36mhint: \x1b[0mgood\n", b.String())
	assert.Equal(t, 2, ds.Count(plan.Warning))
	sorted := append(plan.Diagnostics{}, ds...).Sort()
	assert.Equal(t, []string{"nowhere", "whole", "bad", "beyond"}, []string{sorted[0].Message, sorted[1].Message, sorted[2].Message, sorted[3].Message})
}

// Long texts go on in indented lines of at most 100 columns; the first keeps place, severity and the beginning of the message,
// as grep and editors read them, even where a word or the file's name is longer than a line.
func TestRenderWraps(t *testing.T) {
	path := strings.Repeat("long/", 19) + "p.toml"
	for _, name := range []string{"p.toml", path} {
		src := plan.NewSource(name, []byte("a = 1\n"))
		message, hint := strings.Repeat("words of a message ", 12)+"end", strings.Repeat("what is right ", 11)+strings.Repeat("w", 120)
		var b strings.Builder
		require.NoError(t, plan.Render(&b, plan.Diagnostics{{Severity: plan.Error, Source: src, Pos: plan.Pos{Line: 1, Col: 5, Len: 1}, Message: message, Hint: hint}}, false))
		lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
		assert.True(t, strings.HasPrefix(lines[0], name+":1:5: error: words"), lines[0])
		for i, line := range lines[1:] {
			assert.True(t, strings.HasPrefix(line, "    "), line)
			assert.True(t, len(line) <= 100 || i == len(lines)-2, "%d columns: %s", len(line), line)
		}
		assert.Equal(t, message+" 1 | a = 1 | ^ hint: "+hint, strings.Join(strings.Fields(strings.TrimPrefix(b.String(), name+":1:5: error: ")), " "), "no word is lost")
	}
}

// A file that is no plan at all gets a hundred diagnostics and a word that there are more, quickly, however long its lines.
func TestFaultsWithoutEnd(t *testing.T) {
	hours := strings.Repeat("99,", 100_000)
	_, ds := checked.Parse("p.toml", []byte(meal("rrule = \"FREQ=DAILY;BYHOUR="+hours+"1\"\n"+strings.Repeat("x.y = 1\n", 3))))
	require.Len(t, ds, 101)
	assert.Equal(t, "there is more to say; only 100 diagnostics are shown", ds[100].Message)
	assert.Equal(t, plan.Error, ds[100].Severity)
	var dates []string
	for i := range 55_000 {
		dates = append(dates, time.Date(2099, 12, 31, 7, 0, 0, 0, time.UTC).AddDate(0, 0, -i%30_000).Format("20060102T150405Z"))
	}
	p := mustParse(t, "p.ics", "BEGIN:VCALENDAR\nBEGIN:VEVENT\nSUMMARY:x 1 pocket\nDTSTART:20261201T070000Z\nEXDATE:"+strings.Join(dates, ",")+"\nEND:VEVENT\nEND:VCALENDAR\n")
	assert.Len(t, p.Meals[0].Set.ExDate, 30_000)
}

// FuzzParseTOML wants: no panic; a plan or an error; every place inside the text; a picture that can be drawn.
func FuzzParseTOML(f *testing.F) { fuzzParse(f, "plan.toml", "*.toml") }

// FuzzParseICS is the same for iCalendar.
func FuzzParseICS(f *testing.F) { fuzzParse(f, "plan.ics", "*.ics") }

func fuzzParse(f *testing.F, name, pattern string) {
	options := reader.Options{Zones: checked.Zones}
	for _, dir := range []string{"plans", "plans-bad", "ics"} {
		files, err := filepath.Glob(filepath.Join("..", "..", "testdata", dir, pattern))
		require.NoError(f, err)
		for _, file := range files {
			src, err := os.ReadFile(file)
			require.NoError(f, err)
			f.Add(src)
		}
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		p, ds := options.Parse(name, src)
		if (p == nil) != ds.HasErrors() {
			t.Fatalf("plan %v with %v", p, ds)
		}
		lines := len(plan.NewSource(name, src).Lines)
		for _, d := range ds {
			if d.Pos != (plan.Pos{}) && (d.Pos.Line < 1 || d.Pos.Line > lines || d.Pos.Col < 1 || d.Pos.Len < 1) || d.Message == "" {
				t.Fatalf("bad place or message: %+v", d)
			}
		}
		if err := plan.Render(&strings.Builder{}, ds, true); err != nil {
			t.Fatal(err)
		}
	})
}
