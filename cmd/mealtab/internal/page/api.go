package page

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"strings"

	"mealtab/cmd/mealtab/internal/page/edit"
	"mealtab/compiler/plan"
)

// mostBody bounds a request: no plan comes near it.
const mostBody = 4 << 20

// apiRoutes are the changes, all of them by POST with JSON; the answer is the new [State], or what was wrong.
func (s *Server) apiRoutes() {
	post(s, "edit", func(r struct{ Field, Value, Group string }) error { return s.s.setField(r.Field, r.Value, r.Group) })
	post(s, "choose", func(r struct {
		Meal   int
		Group  string
		Choice Choice
	}) error {
		return s.s.choose(r.Meal, r.Choice, r.Group)
	})
	post(s, "meal", func(r mealRequest) error { return s.s.mealAction(r.Action, r.Meal) })
	post(s, "text", func(r struct{ Text, Group string }) error {
		s.s.change([]byte(r.Text), r.Group, true)
		return nil
	})
	post(s, "import", func(r struct{ Name, Text string }) error { return s.s.take(r.Name, []byte(r.Text)) })
	post(s, "state", func(struct{}) error { return nil })
	post(s, "undo", func(struct{}) error { s.s.back(); return nil })
	post(s, "redo", func(struct{}) error { s.s.forth(); return nil })
	post(s, "save", func(r struct{ Replace bool }) error { return s.s.save(r.Replace) })
	post(s, "reload", func(struct{}) error { return s.s.reload() })
	s.mux.HandleFunc("POST /api/stop", func(w http.ResponseWriter, _ *http.Request) {
		send(w, "application/json", []byte("{}"))
		if s.o.Stop != nil {
			s.o.Stop()
		}
	})
}

// post adds a request whose body is a T.
func post[T any](s *Server, name string, f func(T) error) {
	s.mux.HandleFunc("POST /api/"+name, func(w http.ResponseWriter, r *http.Request) {
		var body T
		err := decodeRequest(w, r, &body)
		s.mu.Lock()
		defer s.mu.Unlock()
		if err == nil {
			err = f(body)
		}
		if err != nil {
			fail(w, err)
			return
		}
		s.answer(w)
	})
}

func (s *Server) answer(w http.ResponseWriter) {
	data, err := json.Marshal(s.s.state())
	if err != nil {
		fail(w, err)
		return
	}
	send(w, "application/json", data)
}

// fail answers with a message for the owner. A file that another program has changed is told apart, because it leaves a choice.
func fail(w http.ResponseWriter, err error) {
	code := http.StatusUnprocessableEntity
	if errors.Is(err, errChangedOutside) {
		code = http.StatusConflict
	}
	data, _ := json.Marshal(map[string]string{"error": err.Error()})
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(code)
	_, _ = w.Write(data)
}

type mealRequest struct {
	Action string
	Meal   int
}

func (s *session) mealAction(action string, n int) error {
	if s.doc == nil {
		return s.docErr
	}
	if action != "add" && (n < 0 || n >= s.doc.Meals()) {
		return fmt.Errorf("there is no meal %d", n+1)
	}
	switch action {
	case "add":
		s.addMeal()
	case "copy":
		s.copyMeal(n)
	case "remove":
		s.change(s.doc.RemoveMeal(n), "", true)
	default:
		return fmt.Errorf("there is no action %q", action)
	}
	return nil
}

// take replaces the meals by those of a calendar file, or the whole text by that of a plan.
func (s *session) take(name string, text []byte) error {
	if s.calendar() {
		return errors.New("this plan is a calendar file: nothing can be put into it here")
	}
	c := s.o.Compile(filepath.Base(name), text)
	if c.Plan == nil {
		var first plan.Diagnostic
		for _, d := range c.Diagnostics {
			if d.Severity == plan.Error {
				first = d
				break
			}
		}
		return fmt.Errorf("%s cannot be taken over: line %d: %s", filepath.Base(name), first.Pos.Line, first.Message)
	}
	if !strings.EqualFold(filepath.Ext(name), ".ics") {
		s.change(text, "", true)
		return nil
	}
	if s.doc == nil {
		return s.docErr
	}
	d := s.doc
	for d.Meals() > 0 {
		d = reparse(d, d.RemoveMeal(0))
	}
	if c.Plan.Zone != s.doc.Text(planFields["plan.zone"]) {
		d = reparse(d, d.Set(planFields["plan.zone"], edit.Quote(c.Plan.Zone)))
	}
	if w := c.Plan.Wheel; w != nil && w.PocketMilligrams > 0 && !d.Has(planFields["wheel.pocket"]) {
		d = reparse(d, d.Set(planFields["wheel.pocket"], edit.Quote(plan.Portion{Milligrams: w.PocketMilligrams}.String())))
	}
	for i := range c.Plan.Meals {
		d = reparse(d, d.AddMeal(pairs(c.Plan, &c.Plan.Meals[i])))
	}
	s.change(d.Source(), "", true)
	return nil
}

// pairs writes a meal as keys and values of TOML.
func pairs(p *plan.Plan, m *plan.Meal) [][2]string {
	list := [][2]string{{"name", edit.Quote(m.Name)}, {"portion", edit.Quote(m.Portion.String())}}
	add := func(key, value string) { list = append(list, [2]string{key, value}) }
	r := m.Set
	single := r.Rule == nil
	switch start := moments(r.Form, r.Start)[0]; {
	case single:
	case r.Form == plan.Date:
		add("dtstart", start[:10])
	default:
		add("dtstart", start)
	}
	if !single {
		add("rrule", edit.Quote(r.Rule.String()))
	}
	if len(r.At) > 0 {
		words := make([]string, len(r.At))
		for i, t := range r.At {
			words[i] = fmt.Sprintf("%02d:%02d", t/60, t%60)
		}
		add("at", edit.Strings(words))
	}
	if out := append(moments(r.Form, r.ExDate...), days(r.ExDays)...); len(out) > 0 {
		add("exdate", edit.Moments(out))
	}
	extra := r.RDate
	if single {
		extra = append([]plan.Local{r.Start}, extra...)
	}
	if len(extra) > 0 {
		add("rdate", edit.Moments(moments(r.Form, extra...)))
	}
	if names := presetNames(p, m); len(names) > 0 {
		add("presets", edit.Strings(names))
	}
	return list
}

// moments writes times of a form; only UTC has a mark.
func moments(f plan.Form, list ...plan.Local) (words []string) {
	for _, l := range list {
		w := l.String()
		if f == plan.UTC {
			w += "Z"
		}
		words = append(words, w)
	}
	return words
}

func days(list []plan.Local) (words []string) {
	for _, l := range list {
		words = append(words, l.String()[:10])
	}
	return words
}

func presetNames(p *plan.Plan, m *plan.Meal) (names []string) {
	for i, name := range p.Presets {
		if m.Presets>>i&1 != 0 {
			names = append(names, name)
		}
	}
	return names
}

// export writes the plan as iCalendar, for calendar programs.
func (s *Server) export(w http.ResponseWriter, _ *http.Request) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.s.c.Plan == nil {
		http.Error(w, "the plan has errors; there is nothing to write", http.StatusConflict)
		return
	}
	var b bytes.Buffer
	if err := plan.WriteICS(&b, s.s.c.Plan, s.o.Convert); err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Disposition", `attachment; filename="meals.ics"`)
	send(w, "text/calendar; charset=utf-8", b.Bytes())
}

// download gives the text as it stands, saved or not.
func (s *Server) download(w http.ResponseWriter, _ *http.Request) {
	s.mu.Lock()
	defer s.mu.Unlock()
	w.Header().Set("Content-Disposition", `attachment; filename="plan.toml"`)
	send(w, "application/toml; charset=utf-8", s.s.text)
}

// decodeRequest reads the body of a request. Only JSON is taken, which no form of another site can send.
func decodeRequest(w http.ResponseWriter, r *http.Request, v any) error {
	if kind, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";"); kind != "application/json" {
		return errors.New("the request is no JSON")
	}
	return decode(http.MaxBytesReader(w, r.Body, mostBody), v)
}

// decode reads one JSON value and nothing after it.
func decode(r io.Reader, v any) error {
	d := json.NewDecoder(r)
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return fmt.Errorf("the request is no JSON of the right form: %w", err)
	}
	if d.More() {
		return errors.New("the request has more than one value")
	}
	return nil
}
