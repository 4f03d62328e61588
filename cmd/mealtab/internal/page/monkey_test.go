package page

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// steps is how many a monkey makes: a few where every change is tried, as many as are asked for where there is time.
func steps(t *testing.T, few int, variable string) int {
	t.Helper()
	if v := os.Getenv(variable); v != "" {
		n, err := strconv.Atoi(v)
		require.NoError(t, err, variable)
		return n
	}
	return few
}

// dice fall the same way each time, so that a run says something of the change that it is run for; PAGE_SEED=2, 3, … are other ways.
func dice(t *testing.T) *rand.Rand {
	t.Helper()
	seed := uint64(1)
	if v := os.Getenv("PAGE_SEED"); v != "" {
		n, err := strconv.ParseUint(v, 10, 64)
		require.NoError(t, err, "PAGE_SEED")
		seed = n
	}
	t.Logf("PAGE_SEED=%d", seed)
	return rand.New(rand.NewPCG(seed, 0))
}

// client is a tab without a browser.
type client struct {
	name   string
	number int
	answered
}

func pick[T any](r *rand.Rand, list ...T) T { return list[r.IntN(len(list))] }

// draw makes a change of the client's view at random: how it is asked for, and what it does to the model.
func (c *client) draw(r *rand.Rand, m *model) (kind string, change map[string]any, do func()) {
	place := func(id int) int {
		for i, have := range m.ids {
			if have == id {
				return i
			}
		}
		return -1
	}
	switch r.IntN(12) {
	case 0:
		return "undo", nil, func() { m.travel(&m.undo, &m.redo) }
	case 1:
		return "redo", nil, func() { m.travel(&m.redo, &m.undo) }
	case 2:
		return "save", map[string]any{"replace": false}, func() { m.file = m.text }
	}
	if len(c.Meals) == 0 || len(c.Meals) < 12 && r.IntN(8) == 0 {
		return "meal", map[string]any{"action": "add", "meal": 0}, m.add
	}
	seen := pick(r, c.Meals...)
	id := seen.ID
	field := func(name, typed string, key, value string) (string, map[string]any, func()) {
		return "edit", map[string]any{"field": mealField(id, name), "value": typed, "group": ""}, func() { m.put(place(id), key, value) }
	}
	switch r.IntN(9) {
	case 0, 1:
		v := fmt.Sprintf("%s %d", pick(r, "brunch", "tea", "snack", "Ä “x”", "a = b", "# no"), r.IntN(1000))
		return field("name", v, "name", `"`+v+`"`)
	case 2, 3:
		v := fmt.Sprintf("%d g", 6+r.IntN(90))
		return field("portion", v, "portion", `"`+v+`"`)
	case 4:
		h := r.IntN(24)
		return field("times", fmt.Sprintf("%d", h), "at", fmt.Sprintf(`["%02d:00"]`, h))
	case 5:
		return "meal", map[string]any{"action": "remove", "meal": id}, func() { m.remove(place(id)) }
	case 6:
		if len(c.Meals) < 12 {
			return "meal", map[string]any{"action": "copy", "meal": id}, func() { m.copy(place(id)) }
		}
	}
	day := r.IntN(7)
	choice := seen.Choice
	choice.Kind, choice.Days = kindWeekly, nil
	for d := range 7 {
		has := false
		for _, have := range seen.Choice.Days {
			has = has || have == d
		}
		if has != (d == day) {
			choice.Days = append(choice.Days, d)
		}
	}
	return "choose", map[string]any{"meal": id, "group": "", "choice": choice}, func() { m.toggle(place(id), day) }
}

// Two clients change a plan at random, each by what it has seen last. A change of somebody who has not seen the newest plan is refused and does
// nothing; every other does what it says and leaves every other byte alone.
func TestMonkeyOverTheAPI(t *testing.T) {
	r := dice(t)
	s := newSite(t, zoo)
	s.server.s.o.Compile = func(string, []byte) *Compiled { return &Compiled{} }
	s.server.s.set([]byte(zoo), nil)
	m := newModel()
	m.revision = s.revision()
	clients := []*client{{name: "a"}, {name: "b"}}
	for _, c := range clients {
		_, fault := s.send("state", struct{}{}, &c.answered)
		require.Empty(t, fault)
	}
	counts := map[string]int{}
	for n := range steps(t, 2000, "PAGE_STEPS") {
		c := pick(r, clients...)
		stale := c.Revision != m.revision
		kind, change, do := c.draw(r, m)
		c.number++
		body := map[string]any{"tab": c.name, "number": c.number, "revision": c.Revision, "change": change}
		var got answered
		code, fault := s.send(kind, body, &got)
		what := fmt.Sprintf("step %d: %s asks for %s %v", n, c.name, kind, change)
		switch {
		case stale:
			counts["stale"]++
			require.Equal(t, http.StatusConflict, code, what)
			require.True(t, got.Stale, what)
		default:
			counts[kind]++
			require.Equal(t, http.StatusOK, code, "%s: %s", what, fault)
			do()
		}
		c.answered = got
		require.Equal(t, m.text, got.Source, what)
		require.Equal(t, m.revision, got.Revision, what)
		require.Equal(t, m.text != m.file, got.Dirty, what)
		require.Len(t, got.Meals, len(m.ids), what)
		for i, id := range m.ids {
			require.Equal(t, id, got.Meals[i].ID, what)
			require.Equal(t, m.value(i, "name"), got.Fields[mealField(id, "name")], what)
			require.Equal(t, m.value(i, "portion"), got.Fields[mealField(id, "portion")], what)
			if m.weekly(i) {
				require.Equal(t, kindWeekly, got.Meals[i].Choice.Kind, what)
				require.ElementsMatch(t, m.days(i), got.Meals[i].Choice.Days, what)
			}
		}
		if kind == "save" && !stale {
			file, err := os.ReadFile(s.file)
			require.NoError(t, err)
			require.Equal(t, m.file, string(file), what)
		}
	}
	t.Logf("made: %v", counts)
	require.Greater(t, counts["stale"], 100)
}

// FuzzRequests sends anything to anything: every answer is JSON with a word for people where something was wrong, and whatever a change does,
// the text before comes back by undo.
func FuzzRequests(f *testing.F) {
	for kind := range allKinds() {
		f.Add(kind, []byte(`{"tab":"a","number":1,"revision":1,"change":{"field":"meal.0.times","value":"7, 18:30","group":"","meal":1,"action":"copy","choice":{"kind":"weekly","days":[]},"text":"zone = 1","replace":true}}`))
	}
	f.Add("edit", []byte(`{"revision":1,"change":{"field":"meal.0.from","value":"","group":"x"}}`))
	f.Add("edit", []byte(`{"revision":1,"change":{"field":"button.portion","value":"1 pocket","group":""}}`))
	f.Add("choose", []byte(`{"revision":1,"change":{"meal":0,"group":"","choice":{"kind":"monthdays","interval":0,"monthDays":"1,x;y"}}}`))
	f.Add("choose", []byte(`{"revision":1,"change":{"meal":1,"group":"","choice":{"kind":"single"}}}`))
	f.Add("choose", []byte(`{"revision":1,"change":{"meal":1,"group":"","choice":{"kind":"nth","nth":-9,"weekday":-1,"months":[99]}}}`))
	f.Add("text", []byte(`{"revision":1,"change":{"text":"[[meal]]\n[[meal]]\nat=[","group":""}}`))
	f.Add("import", []byte(`{"revision":1,"change":{"name":"a.ics","text":"BEGIN:VCALENDAR\nBEGIN:VEVENT\nSUMMARY:x 1 g\nDTSTART:20261201T070000\nEND:VEVENT\nEND:VCALENDAR"}}`))
	f.Add("leave", []byte(`{"tab":"a","revision":1,"changes":[{"kind":"undo","number":1},{"kind":"x"}]}`))
	f.Add("send/propose", []byte(`{"id":"emulated2","revision":1}`))
	f.Add("try/jump", []byte(`{"to":"week"}`))
	f.Fuzz(func(t *testing.T, path string, body []byte) {
		if strings.ContainsAny(path, "?#%\\ \x00") || strings.HasPrefix(path, "try/start") || bytes.Contains(body, []byte(`"emulated"`)) {
			return // a path, not an address; and no emulated board for each input
		}
		s := newSite(t, cats)
		s.server.s.o.Compile = func(name string, src []byte) *Compiled { // as far as reading: proofs are slow, and tried elsewhere
			c := &Compiled{}
			c.Plan, c.Diagnostics = parseOnly(name, src)
			return c
		}
		var raw json.RawMessage = body
		if !json.Valid(body) {
			raw = json.RawMessage(fmt.Sprintf("%q", body))
		}
		if !json.Valid(raw) {
			return
		}
		var a answered
		code, fault := s.tryPost(path, raw, &a)
		switch code {
		case http.StatusOK, http.StatusNotFound, http.StatusMethodNotAllowed, http.StatusMovedPermanently, http.StatusTemporaryRedirect, http.StatusPermanentRedirect, http.StatusBadRequest:
		case http.StatusUnprocessableEntity, http.StatusConflict:
			require.NotEmpty(t, fault, "%s", path)
			require.NotContains(t, fault, "line 0")
		default:
			t.Fatalf("%s answers %d", path, code)
		}
		if path == "reload" || a.Source == "" || a.Source == cats {
			return
		}
		if _, known := allKinds()[path]; known || path == "import" {
			back := s.change("undo", struct{}{})
			require.Equal(t, cats, back.Source)
		}
	})
}
