package page

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"

	"mealtab/compiler/edit"
	"mealtab/compiler/plan"
)

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
	if err := s.o.Export(&b, s.s.c.Plan); err != nil {
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
		return errors.New("the request is not JSON")
	}
	return decode(http.MaxBytesReader(w, r.Body, mostBody), v)
}

// decode reads one JSON value and nothing after it.
func decode(r io.Reader, v any) error {
	d := json.NewDecoder(r)
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return fmt.Errorf("the request is not JSON of the right form: %w", err)
	}
	if d.More() {
		return errors.New("the request has more than one value")
	}
	return nil
}
