package page

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
)

// mostBody bounds a request: no plan comes near it.
const mostBody = 4 << 20

// request is a change as a tab asks for it. A tab numbers its changes, so that one that is sent again (an answer was lost, the tab was closed
// meanwhile) is not made twice.
type request struct {
	Tab      string          `json:"tab"`
	Number   int             `json:"number"`   // from 1; 0: not numbered
	Revision int             `json:"revision"` // that the tab shows
	Change   json.RawMessage `json:"change"`
}

// kinds are the changes by name: "edit", "meal", …
type kinds map[string]func(s *session, tab string, change json.RawMessage) error

// kind adds a change whose body is a T.
func kind[T any](k kinds, name string, f func(s *session, tab string, change T) error) {
	k[name] = func(s *session, tab string, raw json.RawMessage) error {
		var change T
		if len(raw) > 0 {
			if err := decode(bytes.NewReader(raw), &change); err != nil {
				return err
			}
		}
		return f(s, tab, change)
	}
}

// allKinds are the changes that the page knows.
func allKinds() kinds {
	k := kinds{}
	kind(k, "edit", func(s *session, tab string, c struct{ Field, Value, Group string }) error {
		return s.setField(c.Field, c.Value, groupOf(tab, c.Group))
	})
	kind(k, "choose", func(s *session, tab string, c struct {
		Meal   int
		Group  string
		Choice Choice
	}) error {
		return s.choose(c.Meal, c.Choice, groupOf(tab, c.Group))
	})
	kind(k, "meal", func(s *session, _ string, c struct {
		Action string
		Meal   int
	}) error {
		return s.mealAction(c.Action, c.Meal)
	})
	kind(k, "text", func(s *session, tab string, c struct{ Text, Group string }) error {
		if s.calendar() {
			return s.docErr
		}
		s.change([]byte(c.Text), groupOf(tab, c.Group), nil)
		return nil
	})
	kind(k, "undo", func(s *session, _ string, _ struct{}) error { s.back(); return nil })
	kind(k, "redo", func(s *session, _ string, _ struct{}) error { s.forth(); return nil })
	kind(k, "save", func(s *session, _ string, c struct{ Replace bool }) error { return s.save(c.Replace) })
	kind(k, "reload", func(s *session, _ string, _ struct{}) error { return s.reload() })
	return k
}

// groupOf keeps the groups of tabs apart.
func groupOf(tab, group string) string {
	if group == "" {
		return ""
	}
	return tab + " " + group
}

// apiRoutes are the changes, all of them by POST with JSON; the answer is the new [State], or what was wrong.
func (s *Server) apiRoutes() {
	for name, do := range allKinds() {
		s.mux.HandleFunc("POST /api/"+name, func(w http.ResponseWriter, r *http.Request) {
			var q request
			err := decodeRequest(w, r, &q)
			s.mu.Lock()
			defer s.mu.Unlock()
			if err == nil {
				err = s.s.ask(q, do)
			}
			s.answer(w, answered{}, err)
		})
	}
	ask(s, "state", func(struct{}) (any, error) {
		s.mu.Lock()
		defer s.mu.Unlock()
		return s.s.state(), nil
	})
	s.mux.HandleFunc("GET /change/pulse", s.pulse)
	s.mux.HandleFunc("POST /api/import", s.importFile)
	s.mux.HandleFunc("POST /api/leave", s.leave)
	s.mux.HandleFunc("POST /api/stop", func(w http.ResponseWriter, _ *http.Request) {
		send(w, "application/json", []byte("{}"))
		if s.o.Stop != nil {
			s.o.Stop()
		}
	})
}

// errStale is a change of a plan that is not the newest any more.
var errStale = errors.New("the plan has been changed in another tab meanwhile; this is how it is now")

// mostTabs bounds what is remembered of tabs.
const mostTabs = 1000

// ask makes a change, if the tab knows the plan as it is and the change has not been made before.
func (s *session) ask(q request, do func(*session, string, json.RawMessage) error) error {
	if q.Number > 0 && q.Number <= s.done[q.Tab] {
		return nil
	}
	if len(q.Tab) > 64 {
		return errors.New("the name of the tab is too long")
	}
	if len(s.done) > mostTabs {
		clear(s.done)
	}
	if q.Number > 0 {
		s.done[q.Tab] = q.Number
	}
	if s.stale(q.Tab, q.Revision) {
		return errStale
	}
	s.tab = q.Tab
	return do(s, q.Tab, q.Change)
}

// stale reports whether somebody else has changed the plan since the revision that a tab names. What the tab itself has changed it knows of: it
// asks for one change after the other, and may have been closed before the newest answer came.
func (s *session) stale(tab string, revision int) bool {
	if revision < 1 || revision > s.revision {
		return true
	}
	for _, maker := range s.makers[revision+1:] {
		if maker != tab || tab == "" {
			return true
		}
	}
	return false
}

// leave takes the changes that a tab had not sent yet when it was closed or loaded anew, in order. Nobody reads the answer.
func (s *Server) leave(w http.ResponseWriter, r *http.Request) {
	var q struct {
		Tab      string
		Revision int
		Changes  []struct {
			Kind   string
			Number int
			Change json.RawMessage
		}
	}
	err := decodeRequest(w, r, &q)
	s.mu.Lock()
	defer s.mu.Unlock()
	kinds := allKinds()
	for _, c := range q.Changes {
		do, ok := kinds[c.Kind]
		if !ok && err == nil {
			err = fmt.Errorf("there is no change %q", c.Kind)
		}
		if err != nil {
			break
		}
		err = s.s.ask(request{q.Tab, c.Number, q.Revision, c.Change}, do)
	}
	s.answer(w, answered{}, err)
}

// pulse tells whether the program is there and which revision it has: a tab asks now and then.
func (s *Server) pulse(w http.ResponseWriter, _ *http.Request) {
	s.mu.Lock()
	defer s.mu.Unlock()
	reply(w, map[string]any{"revision": s.s.revision, "dirty": s.s.dirty()}, nil)
}

// answered is what a change is answered with: the plan as it is then, and what was wrong or is to be said.
type answered struct {
	State
	Said  string   `json:"said,omitempty"`
	Left  []string `json:"left,omitempty"` // what an import left out, and why
	Error string   `json:"error,omitempty"`
	Stale bool     `json:"stale,omitempty"` // refused: somebody else has changed the plan
	File  bool     `json:"file,omitempty"`  // refused: another program has changed the file, which leaves a choice
}

func (s *Server) answer(w http.ResponseWriter, a answered, err error) {
	a = answered{State: s.s.state(), Said: a.Said, Left: a.Left, Stale: errors.Is(err, errStale), File: errors.Is(err, errChangedOutside)}
	code := http.StatusOK
	if err != nil {
		a.Error, code = err.Error(), http.StatusUnprocessableEntity
	}
	if a.Stale || a.File {
		code = http.StatusConflict
	}
	data, err := json.Marshal(a)
	if err != nil {
		fail(w, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(code)
	_, _ = w.Write(data)
}

// fail answers with a message for the owner.
func fail(w http.ResponseWriter, err error) {
	code := http.StatusUnprocessableEntity
	if errors.Is(err, errStale) {
		code = http.StatusConflict
	}
	data, _ := json.Marshal(map[string]string{"error": err.Error()})
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(code)
	_, _ = w.Write(data)
}

// mealAction adds, copies or removes a meal.
func (s *session) mealAction(action string, meal int) error {
	if s.doc == nil {
		return s.docErr
	}
	if action == "add" {
		return s.addMeal()
	}
	n, err := s.placeOf(meal)
	if err != nil {
		return err
	}
	switch action {
	case "copy":
		return s.copyMeal(n)
	case "remove":
		s.change(s.doc.RemoveMeal(n), "", s.meals.without(n))
	default:
		return fmt.Errorf("there is no action %q", action)
	}
	return nil
}
