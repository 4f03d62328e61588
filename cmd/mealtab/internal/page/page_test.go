package page

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/cmd/mealtab/internal/preview"
	"mealtab/compiler"
	"mealtab/compiler/ical/calendar"
	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/report/review"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
	"mealtab/emulator/avr"
	"mealtab/firmware-template/image"
	"mealtab/flasher"
)

// cats is the plan of the tests.
const cats = `# Juniper and Moss, two cats in Lisbon (invented).
plan = "Juniper and Moss"
zone = "Europe/Lisbon"

[wheel]
pocket = "6 g"   # weighed

[hopper]
holds = "1.4 kg"

# Mornings.
[[meal]]
name    = "breakfast"
portion = "18 g"
dtstart = 2026-12-01T07:00:00
rrule   = "FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR"
exdate  = [2026-12-25T07:00:00]

[[meal]]
name    = "supper"
portion = "24 g"
at      = ["18:30"]
`

// present is the time of the tests, a Thursday.
var present = time.Date(2026, 12, 3, 10, 20, 0, 0, time.UTC)

// compile is what the command does, without its zone data.
func compile(name string, src []byte) *Compiled {
	c := &Compiled{ZoneData: "test"}
	db := zone.Embedded()
	p, ds := reader.With(db).Parse(name, src)
	c.Plan, c.Diagnostics = p, ds
	if p == nil {
		return c
	}
	bad := func(err error) *Compiled {
		c.Diagnostics = append(c.Diagnostics, plan.Diagnostic{Severity: plan.Error, Message: err.Error()})
		return c
	}
	var err error
	if c.Zone, err = db.Load(p.Zone); err != nil {
		return bad(err)
	}
	if c.Board, err = profile.Load(p.Board); err != nil {
		return bad(err)
	}
	from := table.Day((time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).Unix() - table.Epoch) / 86400)
	if c.Output, err = compiler.Compile(p, c.Zone, compiler.Options{Board: c.Board, From: from}); err != nil {
		return bad(err)
	}
	now := table.MinuteOf(present.Unix())
	c.Diagnostics = append(ds, review.Warnings(review.Input{Plan: p, Zone: c.Zone, Table: c.Output.Table, MealOf: c.Output.MealOf, Now: now})...)
	return c
}

// parseOnly reads a plan without compiling it.
func parseOnly(name string, src []byte) (*plan.Plan, plan.Diagnostics) {
	return reader.With(zone.Embedded()).Parse(name, src)
}

// options are those of a page for a file; the file is made if it has a text.
func options(t testing.TB, text string) (Options, string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "plan.toml")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
	return Options{
		Name: file, Text: []byte(text), Compile: compile,
		ReadFile:  func() ([]byte, error) { return os.ReadFile(file) },
		WriteFile: func(b []byte) error { return os.WriteFile(file, b, 0o644) },
		Firmware: func(board string) (*avr.Image, error) {
			hex, ok := image.Hex(board)
			if !ok {
				return nil, fmt.Errorf("no firmware for %s", board)
			}
			return avr.ReadImage(hex)
		},
		UTC:    zone.UTC(),
		Boards: func() ([]FoundBoard, error) { return nil, nil },
		Open:   func(string) (*flasher.Feeder, error) { return nil, fmt.Errorf("no port") },
		Years:  1,
		Preview: func(f preview.Feeder, c *Compiled) preview.Change {
			return preview.Of(zone.Embedded(), f, preview.Next{Bytes: c.Output.Bytes, Schedule: c.Schedule(), Zones: []string{c.Plan.Zone}})
		},
		Export: func(w io.Writer, p *plan.Plan) error {
			z, err := zone.Embedded().Load(p.Zone)
			if err != nil {
				return err
			}
			return calendar.Write(w, p, z, present)
		},
		Now: func() time.Time { return present },
	}, file
}

// site is a page that a client is let in to.
type site struct {
	t      testing.TB
	server *Server
	http   *httptest.Server
	client *http.Client
	file   string
	url    string // of the page
	number int    // of changes asked for
}

func newSite(t testing.TB, text string) *site {
	t.Helper()
	o, file := options(t, text)
	s, err := New(o)
	require.NoError(t, err)
	h := httptest.NewServer(s.Handler())
	t.Cleanup(func() { h.Close(); s.Close() })
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	// Names under .localhost are this computer's; not every resolver of a test machine knows.
	there := &http.Transport{DialContext: func(ctx context.Context, network, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, network, h.Listener.Addr().String())
	}}
	t.Cleanup(there.CloseIdleConnections)
	out := &site{t: t, server: s, http: h, client: &http.Client{Jar: jar, Transport: there}, file: file}
	_, port, err := net.SplitHostPort(h.Listener.Addr().String())
	require.NoError(t, err)
	out.url = "http://" + s.guard.name + ":" + port
	r, err := out.client.Get(s.Link(h.Listener.Addr().String()))
	require.NoError(t, err)
	defer r.Body.Close()
	require.Equal(t, http.StatusOK, r.StatusCode)
	return out
}

func (s *site) get(path string) (code int, body string) {
	s.t.Helper()
	r, err := s.client.Get(s.url + path)
	require.NoError(s.t, err)
	defer r.Body.Close()
	data, err := io.ReadAll(r.Body)
	require.NoError(s.t, err)
	return r.StatusCode, string(data)
}

// post sends JSON as the page's script does.
func (s *site) post(path string, body any, out any) (code int, fault string) {
	s.t.Helper()
	if asksForPlan(path) {
		s.number++
		body = map[string]any{"tab": "tests", "number": s.number, "revision": s.revision(), "change": body}
	}
	return s.send(path, body, out)
}

// asksForPlan reports whether a request is a change of the plan, which names the plan's revision.
func asksForPlan(path string) bool {
	_, ok := allKinds()[path]
	return ok || path == "import"
}

// revision is that of the plan now.
func (s *site) revision() int {
	s.t.Helper()
	var p struct{ Revision int }
	_, body := s.get("/change/pulse")
	require.NoError(s.t, json.Unmarshal([]byte(body), &p))
	return p.Revision
}

// send posts JSON as it is.
func (s *site) send(path string, body any, out any) (code int, fault string) {
	s.t.Helper()
	data, err := json.Marshal(body)
	require.NoError(s.t, err)
	r, err := http.NewRequest(http.MethodPost, s.url+"/api/"+path, bytes.NewReader(data))
	require.NoError(s.t, err)
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Origin", s.url)
	answer, err := s.client.Do(r)
	require.NoError(s.t, err)
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	require.NoError(s.t, err)
	var e struct{ Error string }
	_ = json.Unmarshal(text, &e)
	if out != nil {
		require.NoError(s.t, json.Unmarshal(text, out))
	}
	return answer.StatusCode, e.Error
}

// tryPost is send to any path, which may be none.
func (s *site) tryPost(path string, body json.RawMessage, out any) (code int, fault string) {
	r := httptest.NewRequest(http.MethodPost, "/", bytes.NewReader(body))
	r.URL.Path, r.Host = "/api/"+path, strings.TrimPrefix(s.url, "http://")
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Origin", s.url)
	for _, c := range s.client.Jar.Cookies(mustURL(s.t, s.url)) {
		r.AddCookie(c)
	}
	w := httptest.NewRecorder()
	s.server.Handler().ServeHTTP(w, r)
	var e struct{ Error string }
	_ = json.Unmarshal(w.Body.Bytes(), &e)
	_ = json.Unmarshal(w.Body.Bytes(), out)
	return w.Code, e.Error
}

// change posts and wants the new state.
func (s *site) change(path string, body any) (st State) {
	s.t.Helper()
	code, fault := s.post(path, body, &st)
	require.Equal(s.t, http.StatusOK, code, fault)
	return st
}

type edited struct{ Field, Value, Group string }

func TestSee(t *testing.T) {
	s := newSite(t, cats)
	code, body := s.get("/")
	assert.Equal(t, http.StatusOK, code)
	for _, want := range []string{"Juniper and Moss", "The plan is right.", "<svg class=\"chart\"", "today</span> <span class=\"time\">18:30", "A full hopper", "Sun 2027-03-28", "looks at the bowl"} {
		assert.Contains(t, body, want)
	}
	_, body = s.get("/?from=2027-03-25")
	assert.Contains(t, body, "Seven days from 25 March 2027")
	assert.Contains(t, body, "Sunday: the clocks go forward, from 01:00 to 02:00")
}

// The page with all it loads stays under 200 KB, whichever view is opened first.
func TestWeight(t *testing.T) {
	s := newSite(t, cats)
	for view, files := range map[string][]string{"/": nil, "/change": {"/queue.js", "/cards.js", "/change.js"}, "/send": {"/page.js", "/send.js"}, "/try": {"/page.js", "/try.js"}} {
		sum := 0
		for _, f := range append(files, view, "/style.css", "/icon.svg") {
			code, body := s.get(f)
			require.Equal(t, http.StatusOK, code, f)
			sum += len(body)
		}
		assert.Less(t, sum, 200<<10, view)
		t.Logf("%s: %d bytes", view, sum)
	}
}

func TestEditKeepsComments(t *testing.T) {
	s := newSite(t, cats)
	st := s.change("edit", edited{"meal.0.portion", "22 g", "a"})
	assert.Zero(t, st.Errors)
	assert.True(t, st.Dirty)
	assert.Contains(t, string(st.Week), "22 g")
	s.change("save", map[string]bool{"replace": false})
	got, err := os.ReadFile(s.file)
	require.NoError(t, err)
	assert.Equal(t, strings.Replace(cats, `"18 g"`, `"22 g"`, 1), string(got))
}

// What is wrong is said at its field, in the compiler's words, and the picture stays that of the plan before.
func TestFaultsAtTheirField(t *testing.T) {
	s := newSite(t, cats)
	for _, c := range []struct{ field, value, at, want string }{
		{"meal.0.portion", "18 stone", "meal.0.portion", "is not a unit"},
		{"meal.0.rrule", "FREQ=WEEKLY;BYDAY=XX", "meal.0.rrule", "XX"},
		{"meal.1.times", "25:00", "meal.1.times", "25:00"},
		{"meal.0.exdate", "Christmas", "meal.0.exdate", "“Christmas” is not a date"},
		{"meal.0.from", "2026-13-01", "meal.0.from", "2026-13-01"},
		{"meal.1.name", "breakfast", "meal.1.name", "already the name"},
		{"plan.zone", "Europe/Lisboa", "plan.zone", "Europe/Lisboa"},
		{"hopper.holds", "much", "hopper.holds", "not a number with a unit"},
		{"plan.late", "3 weeks", "plan.late", "weeks"},
		{"meal.0.name", "", "meal.0.name", "empty"},
	} {
		st := s.change("edit", edited{c.field, c.value, ""})
		require.NotZero(t, st.Errors, c.field)
		require.NotEmpty(t, st.Issues[c.at], "%s: %v %v", c.field, st.Issues, st.General)
		assert.Contains(t, st.Issues[c.at][0].Message, c.want)
		assert.Contains(t, string(st.Week), "18 g")
		assert.Equal(t, c.value, st.Fields[c.field], "what was typed stays")
		st = s.change("undo", struct{}{})
		assert.Zero(t, st.Errors, c.field)
		assert.Equal(t, cats, st.Source)
	}
}

// A wrong time of day is said once, where it was typed, though the exceptions of the meal move with its time; one of their own is theirs.
func TestWrongTimeIsSaidAtTheTime(t *testing.T) {
	s := newSite(t, "zone = \"Europe/Lisbon\"\n[[meal]]\nname = \"supper\"\nportion = \"3 pockets\"\ndtstart = 2026-12-01T07:00:00\nexdate = [2026-12-25, 2026-12-26T07:00:00]\n")
	for _, wrong := range []string{"25:00", "07:61"} {
		st := s.change("edit", edited{"meal.0.times", wrong, ""})
		assert.Equal(t, 1, len(st.Issues["meal.0.times"]), "%v", st.Issues)
		assert.Empty(t, st.Issues["meal.0.exdate"])
		assert.Empty(t, st.General)
		assert.Equal(t, 1, st.Errors)
	}
	st := s.change("edit", edited{"meal.0.times", "08:30", ""})
	assert.Zero(t, st.Errors)
	assert.Equal(t, "2026-12-25, 2026-12-26 08:30", st.Fields["meal.0.exdate"])
	st = s.change("edit", edited{"meal.0.exdate", "2026-12-24 25:00", ""})
	assert.NotEmpty(t, st.Issues["meal.0.exdate"])
	assert.Empty(t, st.Issues["meal.0.times"])
}

func TestUndoAndRedo(t *testing.T) {
	s := newSite(t, cats)
	s.change("edit", edited{"meal.0.name", "m", "typing"})
	s.change("edit", edited{"meal.0.name", "mo", "typing"})
	st := s.change("edit", edited{"meal.0.name", "morning", "typing"})
	assert.Equal(t, "morning", st.Fields["meal.0.name"])
	st = s.change("undo", struct{}{})
	assert.Equal(t, "breakfast", st.Fields["meal.0.name"], "one word typed is one step")
	assert.False(t, st.CanUndo)
	st = s.change("redo", struct{}{})
	assert.Equal(t, "morning", st.Fields["meal.0.name"])
	assert.False(t, st.CanRedo)
}

func TestMealsComeAndGo(t *testing.T) {
	s := newSite(t, cats)
	type act struct {
		Action string
		Meal   int
	}
	st := s.change("meal", act{"add", 0})
	assert.Len(t, st.Meals, 3)
	assert.NotEmpty(t, st.Issues["meal.2.portion"], "how much and when is for the owner to say")
	assert.NotEmpty(t, st.Issues["meal.2.times"])
	assert.Equal(t, 2, st.Errors, "%v %v", st.Issues, st.General)
	s.change("edit", edited{"meal.2.portion", "6 g", ""})
	st = s.change("edit", edited{"meal.2.times", "12", ""})
	assert.Zero(t, st.Errors)
	st = s.change("meal", act{"copy", 0})
	assert.Zero(t, st.Errors)
	assert.Equal(t, "breakfast 2", st.Fields["meal.3.name"])
	st = s.change("meal", act{"remove", 0})
	assert.Len(t, st.Meals, 3)
	assert.NotContains(t, st.Source, "Mornings")
	code, fault := s.post("meal", act{"remove", 9}, nil)
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	assert.Equal(t, "this meal is not in the plan any more", fault)
	code, body := s.get("/change")
	assert.Equal(t, http.StatusOK, code)
	for _, id := range []string{"1", "2", "3", "NEW"} {
		assert.Equal(t, 1, strings.Count(body, `data-meal="`+id+`"`), id)
	}
}

// Times of day and first date are two views of dtstart and at.
func TestTimesAndDates(t *testing.T) {
	s := newSite(t, cats)
	st := s.change("edit", edited{"meal.0.times", "7:15", ""})
	assert.Contains(t, st.Source, "dtstart = 2026-12-01T07:15:00")
	assert.Contains(t, st.Source, "exdate  = [2026-12-25T07:15:00]", "the exception goes with the meal")
	assert.Zero(t, st.Errors)
	st = s.change("edit", edited{"meal.0.times", "7, 12:30", ""})
	assert.Contains(t, st.Source, "dtstart = 2026-12-01\n")
	assert.Contains(t, st.Source, `at      = ["07:00", "12:30"]`)
	assert.Zero(t, st.Errors)
	st = s.change("edit", edited{"meal.0.from", "2026-12-08", ""})
	assert.Contains(t, st.Source, "dtstart = 2026-12-08\n")
	st = s.change("edit", edited{"meal.0.from", "", ""})
	assert.NotContains(t, st.Source, "dtstart")
	assert.Zero(t, st.Errors)
	assert.Equal(t, "every weekday at 07:00 and 12:30, but not on 25 December 2026 at 07:15", st.Meals[0].Words)
}

func TestChoose(t *testing.T) {
	s := newSite(t, cats)
	type choose struct {
		Meal   int
		Group  string
		Choice Choice
	}
	for _, c := range []struct {
		choice Choice
		want   string
	}{
		{Choice{Kind: kindDaily, Interval: 1}, `"FREQ=DAILY"`},
		{Choice{Kind: kindDaily, Interval: 3}, `"FREQ=DAILY;INTERVAL=3"`},
		{Choice{Kind: kindWeekly, Interval: 2, Days: []int{0, 6}}, `"FREQ=WEEKLY;INTERVAL=2;BYDAY=MO,SU"`},
		{Choice{Kind: kindDates, Interval: 1, MonthDays: "1, 15 last"}, `"FREQ=MONTHLY;BYMONTHDAY=1,15,-1"`},
		{Choice{Kind: kindNth, Interval: 1, Nth: -1, Weekday: 4, Months: []int{1, 2}}, `"FREQ=MONTHLY;BYMONTH=1,2;BYDAY=-1FR"`},
		{Choice{Kind: kindHours, Interval: 5, Until: "2027-05-01"}, `"FREQ=HOURLY;INTERVAL=5;UNTIL=20270501"`},
		{Choice{Kind: kindDaily, Interval: 1, Count: 9}, `"FREQ=DAILY;COUNT=9"`},
		{Choice{Kind: kindSingle}, "rdate   = ["},
		{Choice{Kind: kindWeekly, Interval: 1, Days: []int{2}}, `"FREQ=WEEKLY;BYDAY=WE"`},
	} {
		for meal := range 2 {
			st := s.change("choose", choose{meal, "", c.choice})
			assert.Contains(t, st.Source, c.want)
			if c.choice.Kind != kindSingle { // the dates are still to be said
				st = s.change("edit", edited{mealField(meal, "times"), "07:00", ""})
				assert.Zero(t, st.Errors, "%v %v\n%s", st.Issues, st.General, st.Source)
			} else {
				assert.Equal(t, "no date is given", st.Issues[mealField(meal, "rdate")][0].Message)
				st = s.change("edit", edited{mealField(meal, "rdate"), "2026-12-25 10:00", ""})
				assert.Zero(t, st.Errors, "%v %v\n%s", st.Issues, st.General, st.Source)
			}
			assert.Equal(t, c.choice.Kind, st.Meals[meal].Choice.Kind, "what was chosen is shown as chosen")
		}
	}
	code, fault := s.post("choose", choose{0, "", Choice{Kind: "sometimes"}}, nil)
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	assert.Equal(t, `there is no repetition "sometimes"`, fault)
}

func TestSaveDoesNotOverwriteOthers(t *testing.T) {
	s := newSite(t, cats)
	s.change("edit", edited{"meal.0.portion", "22 g", ""})
	other := strings.Replace(cats, "24 g", "30 g", 1)
	require.NoError(t, os.WriteFile(s.file, []byte(other), 0o644))
	code, fault := s.post("save", map[string]bool{"replace": false}, nil)
	assert.Equal(t, http.StatusConflict, code)
	assert.Contains(t, fault, "changed by another program")
	got, _ := os.ReadFile(s.file)
	assert.Equal(t, other, string(got), "nothing was written")
	st := s.change("reload", struct{}{})
	assert.Equal(t, other, st.Source)
	assert.False(t, st.Dirty)
	st = s.change("undo", struct{}{})
	assert.Contains(t, st.Source, "22 g", "what was here comes back")
	s.change("save", map[string]bool{"replace": true})
	got, _ = os.ReadFile(s.file)
	assert.Equal(t, st.Source, string(got))
}

// Texts of the plan stay texts, wherever they are shown.
func TestNothingLeavesItsPlace(t *testing.T) {
	const evil = `</title><script>alert(1)</script><img src=x onerror=alert(1)>"'`
	s := newSite(t, cats)
	s.change("edit", edited{"plan.plan", evil[:58], ""})
	st := s.change("edit", edited{"meal.0.name", evil[18:60], ""})
	assert.NotContains(t, string(st.Week), "<img")
	for _, path := range []string{"/", "/change", "/send", "/try"} {
		_, body := s.get(path)
		assert.NotContains(t, body, "<script>alert", path)
		assert.NotContains(t, body, "<img src=x", path)
	}
	s.change("text", struct{ Text, Group string }{"zone = '" + evil + "'", ""})
	for _, path := range []string{"/", "/change"} {
		_, body := s.get(path)
		assert.NotContains(t, body, "<script>alert", path)
	}
}

// Whatever is typed into whatever field, the text stays one that can be shown as cards, what was typed is in it, and undo brings the
// text before back to the byte.
func TestAnythingMayBeTyped(t *testing.T) {
	o, _ := options(t, cats)
	o.Compile = func(string, []byte) *Compiled { return &Compiled{} }
	var ids []string
	for id := range planFields {
		ids = append(ids, id)
	}
	for n := range 2 {
		for _, name := range mealFields {
			ids = append(ids, mealField(n, name))
		}
	}
	slices.Sort(ids)
	rapid.Check(t, func(r *rapid.T) {
		s := newSession(o)
		for range rapid.IntRange(1, 6).Draw(r, "edits") {
			id := rapid.SampledFrom(ids).Draw(r, "field")
			value := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "07:00", "7, 18:30", "2026-12-24", "2026-12-24 07:00", "18 g", "FREQ=HOURLY", "]", "\"", "# x"})).Draw(r, "value")
			before := string(s.text)
			if err := s.setField(id, value, ""); err != nil {
				require.Equal(r, before, string(s.text), "refused, and yet changed: %v", err)
				continue
			}
			require.NoError(r, s.docErr, "%s = %q makes\n%s", id, value, s.text)
			require.Equal(r, 2, s.doc.Meals())
			if strings.HasSuffix(id, "name") || strings.HasSuffix(id, "portion") {
				require.Equal(r, strings.ToValidUTF8(strings.TrimSpace(value), "\uFFFD"), s.fields()[id])
			}
			if string(s.text) != before {
				after := string(s.text)
				s.back()
				require.Equal(r, before, string(s.text))
				s.forth()
				require.Equal(r, after, string(s.text))
			}
		}
	})
}

// A plan that is not there yet can be saved as it stands; then it is there.
func TestNewPlan(t *testing.T) {
	o, file := options(t, cats)
	require.NoError(t, os.Remove(file))
	o.New = true
	o.ReadFile = func() ([]byte, error) { return nil, nil }
	s := newSession(o)
	assert.True(t, s.dirty())
	require.NoError(t, s.save(false))
	assert.False(t, s.dirty())
	got, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, cats, string(got))
}

// A calendar file is shown, not changed.
func TestCalendarPlan(t *testing.T) {
	s := newSite(t, cats)
	_, ics := s.get("/export.ics")
	cal := newSite(t, ics)
	_, body := cal.get("/")
	assert.Contains(t, body, "The plan is right.")
	_, body = cal.get("/change")
	assert.Contains(t, body, "This plan is a calendar")
	for _, path := range []string{"import", "edit", "meal"} {
		code, fault := cal.post(path, map[string]string{}, nil)
		assert.Equal(t, http.StatusUnprocessableEntity, code, path)
		assert.Contains(t, fault, "calendar file", path)
	}
}

// The plan goes out as a calendar and comes back with the same meals.
func TestExportAndImport(t *testing.T) {
	s := newSite(t, cats)
	code, ics := s.get("/export.ics")
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, ics, "BEGIN:VCALENDAR")
	s.change("meal", struct {
		Action string
		Meal   int
	}{"remove", 1})
	st := s.change("import", struct{ Name, Text string }{"family.ics", ics})
	assert.Zero(t, st.Errors, "%v", st.General)
	require.Len(t, st.Meals, 2)
	assert.Equal(t, "every weekday at 07:00, from 1 December 2026, but not on 25 December 2026 at 07:00", st.Meals[0].Words)
	assert.Equal(t, "18 g", st.Fields[mealField(st.Meals[0].ID, "portion")])
	assert.Contains(t, st.Source, "# weighed", "the rest stays")
	code, fault := s.post("import", struct{ Name, Text string }{"a/../b.ics", "BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n"}, nil)
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	assert.Contains(t, fault, "b.ics cannot be taken over")
}

// A plan that is no TOML is shown as text, with what is wrong, and can be put right there.
func TestBrokenPlan(t *testing.T) {
	s := newSite(t, "zone = \n[[meal]]\n")
	_, body := s.get("/")
	assert.Contains(t, body, "nothing to show yet")
	_, body = s.get("/change")
	assert.Contains(t, body, "cannot be shown as cards")
	st := s.change("text", struct{ Text, Group string }{cats, ""})
	assert.Zero(t, st.Errors)
	assert.Len(t, st.Meals, 2)
}

// BenchmarkSee is what the server needs before the first byte of the heaviest view.
func BenchmarkSee(b *testing.B) {
	s := newSite(b, cats)
	for b.Loop() {
		if code, _ := s.get("/"); code != http.StatusOK {
			b.Fatal(code)
		}
	}
}

// BenchmarkEdit is from a key to the answer: text, compile, proof through 2099, pictures.
func BenchmarkEdit(b *testing.B) {
	s := newSite(b, cats)
	for n := 0; b.Loop(); n++ {
		s.change("edit", edited{"meal.0.portion", fmt.Sprintf("%d g", 10+n%50), "typing"})
	}
}
