package page

import (
	"net/http"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ofText are words that mean something in the text of a plan and nothing in a field.
var ofText = regexp.MustCompile(`\b(dtstart|exdate|rdate|rrule|TOML|string|key|list of at|integer|per-hour)\b|[a-z] = |\[\[|^table:|\[wheel\]|\[button\]`)

// What is said at a field is said in words of the page. Every mistake that can be made in a field is made, and all that is said is printed.
func TestFieldsSpeakPlainly(t *testing.T) {
	mistakes := map[string][]string{
		"plan.plan": {strings.Repeat("x", 80)}, "plan.zone": {"", "Lisbon", "W. Europe Standard Time"}, "plan.late": {"2", "3 weeks", "soon", "30h", "0"}, "plan.board": {"m999", "", "x/y"},
		"wheel.pocket": {"", "6", "6 stone", "0 g", "900 kg", "3 pockets", "-1 g"}, "wheel.turn": {"310", "5 ms", "9 min", "soon", "1 g"}, "hopper.holds": {"1", "1 l", "0 g", "9999 kg"},
		"button.portion": {"1", "x", "6 g", "99 pockets"}, "button.per-hour": {"3", "x", "99", "-1", "1.5"}, "button.per-day": {"3", "x", "0", "99", "1.5"},
		"meal.0.name": {"", "supper", strings.Repeat("x", 80)}, "meal.0.portion": {"", "18", "18 stone", "0 g", "0.5 pockets", "900 kg", "99999 pockets"},
		"meal.0.times": {"", "25:00", "7 o'clock", "07:00, 07:00", "07:00:30"}, "meal.0.from": {"", "2026-13-01", "soon", "1999-12-31", "2026-02-30", "2026-12-01 07:00:30"},
		"meal.0.exdate": {"Christmas", "2026-13-01", "2026-12-24 25:00", "1999-01-01", "2026-12-24 07:00Z"}, "meal.0.rdate": {"Christmas", "2026-12-25", "2026-12-25 10:00:30", "25.12.2026"},
		"meal.0.rrule":   {"", "daily", "FREQ=DAILY;BYHOUR=99", "FREQ=WEEKLY;BYDAY=XX", "FREQ=DAILY;COUNT=0", "RRULE:FREQ=DAILY", "FREQ=HOURLY", "FREQ=DAILY;BYHOUR=7;BYMINUTE=0"},
		"meal.0.presets": {strings.Repeat("x", 80), "away, away"}, "meal.1.from": {"2026-13-01", "x"}, "meal.1.rrule": {"FREQ=WEEKLY", "FREQ=DAILY;INTERVAL=2", "FREQ=HOURLY", "FREQ=MONTHLY", "FREQ=DAILY;BYHOUR=7"},
	}
	said := 0
	for field, values := range mistakes {
		s := newSite(t, cats)
		for _, v := range values {
			st := s.change("edit", edited{field, v, ""})
			all := map[string][]Issue{"": st.General}
			for at, list := range st.Issues {
				all[at] = list
			}
			for at, list := range all {
				for _, i := range list {
					said++
					t.Logf("%s = %.30q: at %q: %s: %s (%s)", field, v, at, i.Severity, i.Message, i.Hint)
					for _, words := range []string{i.Message, i.Hint} {
						assert.False(t, ofText.MatchString(words), "%s = %.30q says: %s", field, v, words)
						assert.NotContains(t, words, "line 0")
					}
				}
			}
			s.change("undo", struct{}{})
		}
	}
	t.Logf("%d messages", said)
	assert.Greater(t, said, 60)
}

// What the page calls right is right: with warnings it asks, with errors it says so, and a meal that is never served is no plan that is right.
func TestVerdicts(t *testing.T) {
	s := newSite(t, cats)
	st := s.change("undo", struct{}{})
	assert.Equal(t, "good", st.Verdict)
	st = s.change("edit", edited{"meal.0.rrule", "FREQ=MONTHLY;BYDAY=6MO", ""})
	assert.NotContains(t, st.Summary+st.Brief, "is right")
	st = s.change("edit", edited{"meal.0.rrule", "FREQ=DAILY;UNTIL=20200101", ""})
	assert.Equal(t, "look", st.Verdict)
	assert.Contains(t, st.Summary, "No errors, but ")
	assert.NotContains(t, st.Summary+st.Brief, "is right")
	st = s.change("edit", edited{"meal.0.portion", "x", ""})
	assert.Equal(t, "bad", st.Verdict)
}

// The button's table goes when both its fields are empty.
func TestButtonCanGo(t *testing.T) {
	s := newSite(t, cats)
	s.change("edit", edited{"button.portion", "2 pockets", ""})
	s.change("edit", edited{"button.per-hour", "3", ""})
	st := s.change("edit", edited{"button.portion", "", ""})
	assert.Equal(t, "nothing is said about what the button gives", st.Issues["button.portion"][0].Message)
	st = s.change("edit", edited{"button.per-hour", "", ""})
	assert.Zero(t, st.Errors)
	assert.Equal(t, cats, st.Source)
}

// A text with more meals than a table holds is not looked at: nothing is compiled, and nothing is lost.
func TestTooManyMeals(t *testing.T) {
	s := newSite(t, cats)
	compiled := 0
	c := s.server.o.Compile
	s.server.s.o.Compile = func(name string, src []byte) *Compiled { compiled++; return c(name, src) }
	text := cats + strings.Repeat("\n[[meal]]\nname = \"x\"\nportion = \"6 g\"\nat = [\"07:00\"]\n", 20000)
	st := s.change("text", struct{ Text, Group string }{text, ""})
	assert.Equal(t, text, st.Source)
	assert.Equal(t, "A plan has at most 64 meals, this text has 20002.", st.NoCards)
	assert.Equal(t, 1, st.Errors)
	assert.Zero(t, compiled)
	st = s.change("undo", struct{}{})
	assert.Equal(t, cats, st.Source)
	assert.Len(t, st.Meals, 2)
	assert.Equal(t, 0, st.Meals[0].ID, "the meals are those of before")
	s.server.s.o.Compile = func(string, []byte) *Compiled { return &Compiled{} }
	for range 62 {
		st = s.change("meal", map[string]any{"action": "copy", "meal": 1})
	}
	code, fault := s.post("meal", map[string]any{"action": "copy", "meal": 1}, nil)
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	assert.Equal(t, "the plan has 64 meals, and no more go into a table", fault)
	assert.Len(t, st.Meals, 64)
}

// family is a calendar as people have it: two meals among other things.
const family = `BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//invented//family//EN
BEGIN:VEVENT
UID:1
SUMMARY:breakfast 18 g
DTSTART:20261201T070000
RRULE:FREQ=DAILY
END:VEVENT
BEGIN:VEVENT
UID:2
SUMMARY:Moss's birthday 12 g
DTSTART;VALUE=DATE:20270314
END:VEVENT
BEGIN:VEVENT
UID:3
SUMMARY:Dentist
DTSTART:20261203T150000
END:VEVENT
BEGIN:VEVENT
UID:4
SUMMARY:supper 24 g
DTSTART:20261201T183000
RRULE:FREQ=DAILY
END:VEVENT
BEGIN:VEVENT
UID:4
RECURRENCE-ID:20261224T183000
SUMMARY:supper 24 g
DTSTART:20261224T203000
END:VEVENT
BEGIN:VEVENT
UID:5
SUMMARY:lunch 6 g
DTSTART;TZID=Europe/Berlin:20261201T120000
END:VEVENT
END:VCALENDAR
`

// A calendar's meals take wheel, zone and board from the plan; what is no meal is left out, with its place and why, and keeps nothing else out.
func TestImportGoesOn(t *testing.T) {
	s := newSite(t, cats)
	var a answered
	code, fault := s.post("import", struct{ Name, Text string }{"family.ics", strings.ReplaceAll(family, "\n", "\r\n")}, &a)
	require.Equal(t, http.StatusOK, code, fault)
	assert.Equal(t, "2 meals taken over from family.ics. 3 events left out: see In and out.", a.Said)
	t.Log(strings.Join(a.Left, "\n"))
	require.Len(t, a.Left, 3)
	assert.Regexp(t, `^“Moss's birthday 12 g” \(line 10\): line 13: `, a.Left[0])
	assert.Regexp(t, `^“Dentist” \(line 15\): line 17: SUMMARY does not end with the portion`, a.Left[1])
	assert.Equal(t, "“lunch 6 g” (line 32): its times are those of Europe/Berlin, the plan's of Europe/Lisbon", a.Left[2])
	assert.Zero(t, a.Errors, "%v %v", a.Issues, a.General)
	assert.True(t, strings.HasPrefix(a.Source, cats[:strings.Index(cats, "# Mornings.")]), "all that is no meal stays: %s", a.Source)
	assert.Contains(t, a.Meals[1].Words, "24 December 2026")

	code, fault = s.post("import", struct{ Name, Text string }{"all-day.ics", "BEGIN:VCALENDAR\nBEGIN:VEVENT\nSUMMARY:x\nDTSTART;VALUE=DATE:20270314\nEND:VEVENT\nEND:VCALENDAR\n"}, &a)
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	assert.Equal(t, "all-day.ics has no event that can be a meal here, so that nothing is changed", fault)
	for _, text := range []string{"", "BEGIN:VCALENDAR", "BEGIN:VEVENT", "BEGIN:VCALENDAR\nBEGIN:VEVENT\n", "x"} {
		for _, name := range []string{"a.ics", "a.toml"} {
			_, fault = s.post("import", struct{ Name, Text string }{name, text}, nil)
			assert.Contains(t, fault, "cannot be taken over", "%q", text)
			assert.NotContains(t, fault, "line 0")
		}
	}
}

// A change that is sent again is made once; one of a closed tab comes through, in order, and after what was on its way.
func TestNothingTwice(t *testing.T) {
	s := newSite(t, cats)
	ask := func(path string, body any) (st answered, code int) {
		code, _ = s.send(path, body, &st)
		return st, code
	}
	add := map[string]any{"tab": "a", "number": 1, "revision": 1, "change": map[string]any{"action": "copy", "meal": 0}}
	for range 3 {
		st, code := ask("meal", add)
		assert.Equal(t, http.StatusOK, code)
		assert.Len(t, st.Meals, 3)
	}
	type change = map[string]any
	st, code := ask("leave", map[string]any{"tab": "a", "revision": 1, "changes": []change{
		{"kind": "meal", "number": 1, "change": change{"action": "copy", "meal": 0}},
		{"kind": "edit", "number": 2, "change": change{"field": "meal.2.portion", "value": "6 g", "group": ""}},
		{"kind": "save", "number": 3, "change": change{"replace": false}},
	}})
	assert.Equal(t, http.StatusOK, code, st.Error)
	assert.Len(t, st.Meals, 3)
	assert.Equal(t, "6 g", st.Fields["meal.2.portion"])
	assert.False(t, st.Dirty)
	got, err := os.ReadFile(s.file)
	require.NoError(t, err)
	assert.Equal(t, st.Source, string(got))
	_, code = ask("leave", map[string]any{"tab": "b", "revision": 1, "changes": []change{{"kind": "undo", "number": 1}}})
	assert.Equal(t, http.StatusConflict, code, "another tab does not know these changes")
}

// A text of many megabytes, a field that is one: the answer comes, and says what is wrong.
func TestLongValues(t *testing.T) {
	s := newSite(t, cats)
	began := time.Now()
	for _, field := range []string{"plan.zone", "meal.0.name", "meal.0.rrule", "meal.0.exdate", "wheel.pocket"} {
		st := s.change("edit", edited{field, strings.Repeat("ab;,", 50_000), ""})
		assert.NotZero(t, st.Errors, field)
		s.change("undo", struct{}{})
	}
	t.Logf("%v", time.Since(began).Round(time.Millisecond))
}
