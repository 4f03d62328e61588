package page

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/preview"
	"mealtab/cmd/mealtab/internal/rehearsal"
	"mealtab/compiler/table"
	"mealtab/flasher"
)

// Proposed is what putting the plan on a feeder would mean; nothing has been written.
type Proposed struct {
	Key     string   `json:"key"` // names all that is shown here; the answer to the question brings it back
	Same    bool     `json:"same"`
	Changes []string `json:"changes"`
	Food    string   `json:"food"`
	Before  []string `json:"before"` // next servings of the table in force
	After   []string `json:"after"`  // and of the plan
	Clock   string   `json:"clock"`  // how the clocks compare, and what will be done about it
	// AskClock: the clocks are so far apart that the feeder's is set only if that is wanted.
	AskClock bool `json:"askClock"`
}

// sendable is the plan of a revision, if it can go onto a feeder: right, and what its file says.
func (s *Server) sendable(revision int) (*Compiled, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case revision != s.s.revision:
		return nil, errStale
	case !s.s.c.ok():
		return nil, errors.New("the plan has errors: put them right under Change first; nothing was written")
	case s.s.dirty() && s.o.Name == "":
		return nil, errors.New("the built-in example has been changed, and there is no file that could keep it: start mealtab page with the name of a file; nothing was written")
	case s.s.dirty():
		return nil, errors.New("the plan has changes that are not saved yet: save it under Change first, so that the feeder gets what the file says; nothing was written")
	}
	if s.o.Name != "" {
		now, err := s.o.ReadFile()
		if err != nil {
			return nil, err
		}
		if !bytes.Equal(now, s.s.saved) {
			return nil, errors.New("the file has been changed by another program since it was read here: load it or save over it under Change first; nothing was written")
		}
	}
	return s.s.c, nil
}

// setOut is the saved plan, on its way to a feeder: its rehearsal begins, or goes on.
func (s *Server) setOut(revision int) (*Compiled, *way, error) {
	c, err := s.sendable(revision)
	if err != nil {
		return nil, nil, err
	}
	w := &s.boards.way
	s.rehearse(c.Output.Bytes)
	return c, w, nil
}

// rehearse begins the way of a table; its rehearsal begins too, or goes on.
func (s *Server) rehearse(tab []byte) {
	s.boards.way.begin(tab, func() *rehearsal.Running { return rehearsal.Start(tab, s.o.Years, s.o.Firmware) })
}

// propose looks at a feeder and says what the plan would change on it. The rehearsal begins meanwhile.
func (s *Server) propose(r struct {
	ID       string
	Revision int
}) (any, error) {
	c, w, err := s.setOut(r.Revision)
	if err != nil {
		return nil, err
	}
	var out Proposed
	err = s.talk(r.ID, func(f *flasher.Feeder) error {
		p, c, err := s.proposal(f, c)
		if err == nil {
			out = s.proposed(p, c)
		}
		return err
	})
	w.set(func(w *way) {
		w.looked = err == nil
		switch {
		case err != nil:
			w.failed = stepLook
		case out.Same:
			w.rehearsing = nil // there is no way to go
		}
	})
	return out, err
}

// proposal looks at a feeder for which a plan is meant. Where the feeder ends its preset by itself and the plan says no date, the
// feeder's is kept, as mealtab upload does; what is proposed, rehearsed and shown then has it.
func (s *Server) proposal(f *flasher.Feeder, c *Compiled) (*flasher.Proposal, *Compiled, error) {
	p, err := f.Propose(c.Output.Bytes)
	if err != nil {
		return nil, nil, err
	}
	tab, _, ok := preview.KeptDate(p)
	if !ok {
		return p, c, nil
	}
	kept, output := *c, *c.Output
	if output.Table, err = table.Decode(tab); err != nil {
		return nil, nil, err
	}
	output.Bytes, kept.Output = tab, &output
	s.rehearse(tab)
	p, err = f.Propose(tab)
	return p, &kept, err
}

// proposed says a proposal in words.
func (s *Server) proposed(p *flasher.Proposal, c *Compiled) Proposed {
	now := s.o.Now()
	if p.Clock.Need() == flasher.ClockDistrusted {
		now = p.Clock.At.Add(p.Clock.Offset)
	}
	change := s.o.Preview(preview.Feeder{Held: p.Held, Status: p.Status, Now: moment.Minute(now)}, c)
	out := Proposed{Key: p.Key(), Same: p.Same, Changes: []string{}, Before: change.Before, After: change.After, AskClock: p.Clock.Need() == flasher.ClockLarge}
	for _, m := range change.Meals {
		out.Changes = append(out.Changes, fmt.Sprintf("%s: %s, %s", m.Meal().Name, m.Kind, m.Words()))
	}
	out.Changes = append(out.Changes, change.Others...)
	if change.Unsaid != "" {
		out.Changes = append(out.Changes, change.Unsaid)
	}
	switch change.FoodBefore {
	case "":
		out.Food = change.FoodAfter + " a day; the feeder has no plan yet"
	case change.FoodAfter:
		out.Food = change.FoodAfter + " a day, as before"
	default:
		out.Food = fmt.Sprintf("%s a day, was %s (over the next %d days)", change.FoodAfter, change.FoodBefore, preview.FoodDays)
	}
	out.Clock = preview.ClockNeed(p.Clock)
	if p.Same {
		out.Changes = []string{}
	}
	return out
}

// errOther is an answer to a question that is not the newest any more.
var errOther = errors.New("the feeder holds something else than when the change was shown: look at it again; nothing was written")

// upload puts the plan on a feeder: what was shown under the key, and nothing else.
func (s *Server) upload(r struct {
	ID, Key  string
	Revision int
	SetClock bool
}) (any, error) {
	c, w, err := s.setOut(r.Revision)
	if err != nil {
		return nil, err
	}
	var out BoardState
	err = s.talk(r.ID, func(f *flasher.Feeder) error {
		p, _, err := s.proposal(f, c)
		if err != nil {
			return w.fails(stepLook, err)
		}
		if p.Key() != r.Key {
			return w.fails(stepLook, errOther)
		}
		w.set(func(w *way) { w.looked = true })
		said, err := s.carry(p, r.SetClock)
		if err != nil {
			return err
		}
		out, err = s.look(r.ID, f)
		if err != nil {
			out = BoardState{ID: r.ID, Name: f.Port(), Faults: []string{}, Next: []nextLine{}, Journal: []nextLine{}}
			said = append(said, "The plan is in force, but the feeder could not be asked what comes next: "+err.Error()+".")
		}
		out.Said = strings.Join(said, " ")
		return nil
	})
	return out, err
}

func (w *way) fails(step string, err error) error {
	w.set(func(w *way) { w.failed = step })
	return err
}

// carry writes, rehearses and puts in force; then it sets the clock, where that is small or wanted.
func (s *Server) carry(p *flasher.Proposal, setClock bool) (said []string, err error) {
	w := &s.boards.way
	if p.Same {
		w.set(func(w *way) { w.staged, w.inForce = [2]int{len(p.Table), len(p.Table)}, true })
		said = append(said, "The feeder holds this plan already.")
	} else {
		staged, err := p.Stage(w.report)
		if err != nil {
			return nil, w.fails(stepWrite, err)
		}
		at := stepCommit
		err = staged.Commit(func() error {
			text, err := w.rehearsed()
			if err != nil {
				at = stepRehearse
			} else if text != "" {
				said = append(said, sentence(strings.TrimSpace(text)))
			}
			return err
		})
		if err != nil {
			return nil, w.fails(at, err)
		}
		said = append([]string{"The plan is on the feeder, read back and in force."}, said...)
	}
	note := preview.ClockNeed(p.Clock)
	_, set, err := p.SetClock(setClock)
	switch {
	case err != nil:
		note = "could not be set: " + err.Error()
		_ = w.fails(stepClock, err)
	case set:
		note = "the feeder's clock is set"
	case p.Clock.Need() == flasher.ClockLarge:
		note = "left as it is, " + clockWords(p.Clock.Reading)
	}
	w.set(func(w *way) { w.clock = note })
	return append(said, "Clock: "+note+"."), nil
}

// setClock sets a feeder's clock; a large step only if it is wanted.
func (s *Server) setClock(r struct {
	ID     string
	Wanted bool
}) (any, error) {
	var out BoardState
	err := s.talk(r.ID, func(f *flasher.Feeder) error {
		now, err := f.ReadClock()
		if err != nil {
			return err
		}
		if !r.Wanted && !now.Stopped && now.Offset.Abs() > flasher.MostUnasked {
			return fmt.Errorf("the feeder's clock is %s, and either may be the wrong one: nothing was changed", clockWords(now))
		}
		if _, err := f.SetClock(); err != nil {
			return err
		}
		out, err = s.look(r.ID, f)
		return err
	})
	return out, err
}
