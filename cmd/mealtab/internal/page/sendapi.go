package page

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/page/trial"
	"mealtab/compiler/report/history"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/flasher"
)

// boardRequest names a board.
type boardRequest struct{ ID string }

// boardRoutes are the requests about boards, real and emulated. They do not hold up changes of the plan.
func (s *Server) boardRoutes() {
	s.mux.HandleFunc("GET /send/boards", func(w http.ResponseWriter, _ *http.Request) { reply(w, s.found(), nil) })
	s.mux.HandleFunc("GET /send/progress", func(w http.ResponseWriter, _ *http.Request) { reply(w, s.boards.way.steps(), nil) })
	s.mux.HandleFunc("GET /try/state", func(w http.ResponseWriter, _ *http.Request) { reply(w, s.trialState(), nil) })
	about(s, "look", func(*flasher.Feeder) error { return nil })
	ask(s, "send/propose", s.propose)
	ask(s, "send/upload", s.upload)
	ask(s, "send/clock", s.setClock)
	about(s, "serve", func(f *flasher.Feeder) error {
		st, err := f.Status()
		if err == nil {
			_, err = f.Serve(st, 0)
		}
		return err
	})
	ask(s, "try/start", s.tryStart)
	ask(s, "try/speed", func(r struct{ Speed float64 }) (any, error) {
		return s.withTrial(func(t *trial.Feeder) error { return t.SetSpeed(r.Speed) })
	})
	ask(s, "try/do", func(r struct{ What string }) (any, error) {
		return s.withTrial(func(t *trial.Feeder) error { return t.Do(r.What) })
	})
	ask(s, "try/jump", func(r struct{ To string }) (any, error) {
		return s.withTrial(func(t *trial.Feeder) error { return s.jump(t, r.To) })
	})
}

// about adds a request that does something with a board and answers with what the board says then.
func about(s *Server, name string, do func(*flasher.Feeder) error) {
	ask(s, "send/"+name, func(r boardRequest) (any, error) {
		var out BoardState
		err := s.talk(r.ID, func(f *flasher.Feeder) (err error) {
			if err = do(f); err != nil {
				return err
			}
			out, err = s.look(r.ID, f)
			return err
		})
		return out, err
	})
}

// ask adds a request that does not change the plan.
func ask[T any](s *Server, name string, f func(T) (any, error)) {
	s.mux.HandleFunc("POST /api/"+name, func(w http.ResponseWriter, r *http.Request) {
		var body T
		if err := decodeRequest(w, r, &body); err != nil {
			fail(w, err)
			return
		}
		v, err := f(body)
		reply(w, v, err)
	})
}

func reply(w http.ResponseWriter, v any, err error) {
	if err == nil {
		var data []byte
		if data, err = json.Marshal(v); err == nil {
			send(w, "application/json", data)
			return
		}
	}
	fail(w, err)
}

// tryState is the emulated feeder, or that there is none yet.
type tryState struct {
	Running bool   `json:"running"`
	Note    string `json:"note"` // about its plan, where that is not the present one
	trial.State
}

func (s *Server) trialState() tryState {
	t, held := s.boards.emulated()
	if t == nil {
		return tryState{}
	}
	st := t.State()
	for i := range st.Journal {
		st.Journal[i].Text = s.recordWords(st.Journal[i])
	}
	return tryState{true, s.trialNote(held), st}
}

// recordWords says a record of the emulated feeder as those of other boards are said.
func (s *Server) recordWords(r trial.Record) string {
	for _, e := range table.Events() {
		if strings.EqualFold(strings.ReplaceAll(e.Name, "_", " "), r.Event) {
			return history.Event(table.History{Event: e.Value, Value: uint16(r.Value)})
		}
	}
	return fmt.Sprintf("%s: %d", r.Event, r.Value)
}

// trialNote says what plan the emulated feeder has, if it is not the present one.
func (s *Server) trialNote(held []byte) string {
	c := s.compiled()
	switch {
	case held == nil:
		return "The feeder has no plan: start it with this plan, or put the plan on it under Send."
	case c != nil && !flasher.Holds(held, c.Output.Bytes):
		return "The feeder has the plan as it was before the newest changes: start it anew, or put the plan on it under Send."
	}
	return ""
}

// withTrial does something to the emulated feeder that is running.
func (s *Server) withTrial(do func(*trial.Feeder) error) (any, error) {
	t, _ := s.boards.emulated()
	if t == nil {
		return nil, errors.New("no feeder is running: start one first")
	}
	if err := do(t); err != nil {
		return nil, err
	}
	return s.trialState(), nil
}

// tryStart begins anew with the present plan, on a date at a local time.
func (s *Server) tryStart(r struct{ Date, Time string }) (any, error) {
	c := s.compiled()
	if c == nil {
		return nil, errors.New("the plan has errors: put them right first")
	}
	m, err := moment.Parse(r.Date+"T"+r.Time, c.Zone, s.o.Now())
	if err != nil {
		return nil, err
	}
	if _, err := s.startTrial(m.At.Time(), true); err != nil {
		return nil, err
	}
	return s.trialState(), nil
}

// Before what one jumps to.
const (
	beforeNight   = 30 * time.Minute
	beforeServing = 10 * time.Second
)

// jump runs ahead: to the night the clocks change, to the next serving, to the next day or week.
func (s *Server) jump(t *trial.Feeder, to string) error {
	now := t.Now()
	switch to {
	case "halt":
		t.Halt()
		return nil
	case "day":
		return t.RunTo(now.AddDate(0, 0, 1))
	case "week":
		return t.RunTo(now.AddDate(0, 0, 7))
	}
	c := s.compiled()
	if c == nil {
		return errors.New("the plan has errors: put them right first")
	}
	switch to {
	case "night":
		list := c.Zone.Transitions(now.Add(beforeNight+time.Minute).Unix(), now.AddDate(3, 0, 0).Unix())
		if len(list) == 0 {
			return fmt.Errorf("the clocks of %s do not change in the next three years", c.Plan.Zone)
		}
		return t.RunTo(time.Unix(list[0].At, 0).UTC().Add(-beforeNight))
	case "serving":
		sched := c.Schedule()
		from := moment.Minute(now.Add(beforeServing)) + 1
		next, ok := sched.Walk(serving.Range{From: from, To: serving.End(sched.Table)}, presetOf(c, "")).Next()
		if !ok {
			return errors.New("no serving comes any more")
		}
		return t.RunTo(next.At.Time().Add(-beforeServing))
	}
	return fmt.Errorf("there is nothing to jump to called %q", to)
}
