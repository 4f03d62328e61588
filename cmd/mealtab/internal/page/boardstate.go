package page

import (
	"errors"
	"fmt"
	"time"

	"mealtab/cmd/mealtab/internal/known"
	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/preview"
	"mealtab/compiler/report/history"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/flasher"
)

// BoardState is what a board says, as the page shows it.
type BoardState struct {
	ID       string     `json:"id"`
	Name     string     `json:"name"`   // of its port
	Called   string     `json:"called"` // the name that the feeder keeps
	Board    string     `json:"board"`
	Firmware int        `json:"firmware"`
	Table    string     `json:"table"`
	Same     bool       `json:"same"`    // it holds the present plan
	Refused  string     `json:"refused"` // why the present plan cannot be put on it; "": it can
	Clock    string     `json:"clock"`
	Apart    bool       `json:"apart"` // the clocks are so far apart that a setting must be wanted
	Said     string     `json:"said"`  // what has been done
	Supply   string     `json:"supply"`
	SetTo    string     `json:"setTo"`
	Faults   []string   `json:"faults"`
	Next     []nextLine `json:"next"`    // by its own reckoning
	Journal  []nextLine `json:"journal"` // newest first; Day and What only
}

const (
	shownOwn     = 6
	shownJournal = 20
)

// look asks a board everything.
func (s *Server) look(id string, f *flasher.Feeder) (BoardState, error) {
	c := s.compiled()
	st, err := f.Status()
	if err != nil {
		return BoardState{}, err
	}
	out := BoardState{ID: id, Name: f.Port(), Board: f.BoardName(), Firmware: f.ID.Firmware, Supply: fmt.Sprintf("%.2f V", float64(st.SupplyMV)/1000),
		Faults: []string{}, Next: []nextLine{}, Journal: []nextLine{}}
	if out.Called, err = f.Name(st); err != nil {
		return out, err
	}
	tab, err := f.Table(st)
	if err != nil && !errors.Is(err, flasher.ErrNoTable) {
		return out, err
	}
	if id == emulatedID {
		s.boards.hold(tab)
	}
	held := s.holds(&out, tab, st, c)
	if c != nil && !out.Same {
		if err := f.Check(c.Output.Bytes); err != nil {
			out.Refused = err.Error()
		}
	}
	if c == nil {
		out.Refused = "the plan has errors"
	}
	for i, bit := range table.FaultBits() {
		if st.Faults&bit.Value != 0 {
			out.Faults = append(out.Faults, bit.Meaning+" – "+table.Remedy(i))
		}
	}
	return out, s.times(&out, f, st, held)
}

// holds says what table a board has; nil: none that can be read here.
func (s *Server) holds(out *BoardState, tab []byte, st flasher.Status, c *Compiled) *serving.Schedule {
	if tab == nil {
		out.Table = "none: it serves nothing until a plan is put on it"
		return nil
	}
	out.SetTo = fmt.Sprintf("portions at %d %%", 10*st.Adjust)
	out.Same = c != nil && holdsPlan(tab, c.Output.Bytes)
	if out.Same {
		out.Table = "this plan"
		return c.Schedule()
	}
	held, err := serving.OfTable(tab)
	if err != nil {
		out.Table = "not readable here: " + err.Error()
		return nil
	}
	out.Table = fmt.Sprintf("another plan, %d bytes", len(tab))
	if n, ok := known.Of(tab); ok {
		held.Names = n.Meals
		if n.Plan != "" {
			out.Table = fmt.Sprintf("another plan, %s, %d bytes", n.Plan, len(tab))
		}
	}
	return held
}

// times asks for what has to do with time: the clock, the next servings, the journal.
func (s *Server) times(out *BoardState, f *flasher.Feeder, st flasher.Status, held *serving.Schedule) error {
	r, err := f.ReadClock()
	switch {
	case errors.Is(err, flasher.ErrNoClock):
		out.Clock = err.Error()
	case err != nil:
		return err
	default:
		out.Clock = clockWords(r)
		out.Apart = !r.Stopped && r.Offset.Abs() > flasher.MostUnasked
	}
	local := func(at table.Minute) time.Time { return at.Time() }
	if held != nil {
		local = func(at table.Minute) time.Time { return serving.Local(held.Clock, at.Time()) }
		after := moment.Minute(st.Now)
		due, err := f.Next(after, min(after+62*table.MinutesPerDay, serving.End(held.Table)), shownOwn)
		if err != nil {
			return err
		}
		for _, d := range due {
			t := local(d.At)
			out.Next = append(out.Next, nextLine{Day: t.Format("Mon 2 Jan 2006"), Time: t.Format("15:04"), What: held.MealWords(d.Meal, d.Meals), Pockets: units.Count(d.Pockets, "pocket")})
		}
	}
	past, err := f.History(0)
	if err != nil {
		return err
	}
	for i, h := range past {
		if i == shownJournal {
			break
		}
		t := local(h.At)
		out.Journal = append(out.Journal, nextLine{Day: t.Format("Mon 2 Jan 2006"), Time: t.Format("15:04"), What: history.Event(h)})
	}
	return nil
}

func clockWords(r flasher.Reading) string {
	off := r.Offset.Round(time.Millisecond)
	switch {
	case r.Stopped:
		return "has stood still: its time means nothing until it is set"
	case off.Abs() < 10*time.Millisecond:
		return "right"
	}
	return preview.Apart(off)
}

// holdsPlan reports whether a feeder's table is that of a plan; the feeder may end its preset by itself where the plan says no date.
func holdsPlan(held, next []byte) bool {
	if flasher.Holds(held, next) {
		return true
	}
	h, err := table.Decode(held)
	n, err2 := table.Decode(next)
	if err != nil || err2 != nil || h.PresetUntil == 0 || n.PresetUntil != 0 {
		return false
	}
	with, err := table.WithPresetUntil(next, h.PresetUntil)
	return err == nil && flasher.Holds(held, with)
}
