package page

import (
	"encoding/json"
	"errors"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/cmd/mealtab/internal/known"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/ports"
)

type proposal struct {
	ID       string
	Revision int
}

type confirmed struct {
	ID, Key  string
	Revision int
	SetClock bool
}

// A plan goes onto a feeder only as its file has it, and as the tab shows it.
func TestOnlyWhatIsSavedIsSent(t *testing.T) {
	s := newSite(t, cats)
	before := s.revision()
	s.change("edit", edited{"meal.0.portion", "30 g", ""})
	for way, ask := range map[string]func(revision int) any{
		"send/propose": func(n int) any { return proposal{emulatedID, n} },
		"send/upload":  func(n int) any { return confirmed{ID: emulatedID, Revision: n} },
	} {
		code, fault := s.post(way, ask(before), nil)
		assert.Equal(t, http.StatusConflict, code, way)
		assert.Equal(t, errStale.Error(), fault)
		_, fault = s.post(way, ask(s.revision()), nil)
		assert.Contains(t, fault, "changes that are not saved yet", way)
	}
	s.change("save", map[string]bool{"replace": false})
	other := strings.Replace(cats, "24 g", "12 g", 1)
	require.NoError(t, os.WriteFile(s.file, []byte(other), 0o644))
	_, fault := s.post("send/propose", proposal{emulatedID, s.revision()}, nil)
	assert.Contains(t, fault, "changed by another program")
	s.change("reload", struct{}{})
	_, fault = s.post("send/propose", proposal{emulatedID, s.revision()}, nil)
	assert.Empty(t, fault)
}

// A rehearsal that does not end as the table says keeps it out of force, and the page says at which step.
func TestRehearsalKeepsOut(t *testing.T) {
	s := newSite(t, cats)
	var p Proposed
	_, fault := s.post("send/look", boardRequest{emulatedID}, nil)
	require.Empty(t, fault)
	s.server.o.Firmware = func(string) (*avr.Image, error) { return nil, errors.New("none is built") }
	_, fault = s.post("send/propose", proposal{emulatedID, s.revision()}, &p)
	require.Empty(t, fault)
	_, fault = s.post("send/upload", confirmed{emulatedID, p.Key, s.revision(), false}, nil)
	assert.Equal(t, "the firmware for m328-mains to rehearse with: none is built", fault)
	_, body := s.get("/send/progress")
	assert.Contains(t, body, `"name":"`+stepRehearse+`","state":"failed"`)
	var b BoardState
	_, fault = s.post("send/look", boardRequest{emulatedID}, &b)
	require.Empty(t, fault)
	assert.Equal(t, "none: it serves nothing until a plan is put on it", b.Table)
}

// The emulated feeder takes the plan over its line, tells its next servings and, later, what it has served.
func TestSendToTheEmulatedFeeder(t *testing.T) {
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	s := newSite(t, cats)
	code, body := s.get("/send/boards")
	require.Equal(t, http.StatusOK, code)
	assert.Contains(t, body, `"id":"emulated"`)
	var b BoardState
	code, fault := s.post("send/look", boardRequest{emulatedID}, &b)
	require.Equal(t, http.StatusOK, code, fault)
	assert.Equal(t, "m328-mains", b.Board)
	assert.False(t, b.Same)
	var p Proposed
	code, fault = s.post("send/propose", proposal{emulatedID, s.revision()}, &p)
	require.Equal(t, http.StatusOK, code, fault)
	assert.Equal(t, "breakfast: new, 18 g, every weekday at 07:00, from 1 December 2026, but not on 25 December 2026 at 07:00", p.Changes[0])
	assert.Equal(t, "36.2 g a day; the feeder has no plan yet", p.Food)
	assert.Empty(t, p.Before)
	assert.Equal(t, "Thu 2026-12-03 18:30  4 pockets", p.After[0])
	code, fault = s.post("send/upload", confirmed{emulatedID, "guess", s.revision(), false}, &b)
	assert.Equal(t, http.StatusUnprocessableEntity, code, "nothing is put in force but what was shown")
	assert.Contains(t, fault, "nothing was written")
	code, fault = s.post("send/upload", confirmed{emulatedID, p.Key, s.revision(), false}, &b)
	require.Equal(t, http.StatusOK, code, fault)
	assert.Contains(t, b.Said, "The plan is on the feeder, read back and in force. Rehearsed on the firmware through 1 year")
	_, body = s.get("/send/progress")
	assert.Equal(t, 6, strings.Count(body, `"state":"done"`), body)
	assert.True(t, b.Same)
	assert.Equal(t, "right", b.Clock)
	require.NotEmpty(t, b.Next)
	assert.Equal(t, nextLine{Day: "Thu 3 Dec 2026", Time: "18:30", What: "supper", Pockets: "4 pockets"}, b.Next[0])
	other, err := serving.OfTable(s.server.s.c.Output.Bytes)
	require.NoError(t, err)
	var state BoardState
	held := s.server.holds(&state, s.server.s.c.Output.Bytes, flasher.Status{}, nil)
	assert.Regexp(t, `^another plan, \d+ bytes$`, state.Table, "of which nothing is known here")
	assert.Empty(t, held.Names)
	names := make([]string, len(other.Table.Meals))
	for i := range names {
		names[i] = "of the neighbour"
	}
	require.NoError(t, known.Keep(s.server.s.c.Output.Bytes, known.Names{Plan: "The neighbour's", Meals: names}))
	held = s.server.holds(&state, s.server.s.c.Output.Bytes, flasher.Status{}, nil)
	assert.Regexp(t, `^another plan, The neighbour's, \d+ bytes$`, state.Table)
	assert.Equal(t, "of the neighbour", held.MealWords(0, 1))

	code, fault = s.post("send/serve", boardRequest{emulatedID}, &b)
	require.Equal(t, http.StatusOK, code, fault)
	code, fault = s.post("send/look", boardRequest{"/etc/passwd"}, nil)
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	assert.Equal(t, `there is no port "/etc/passwd"`, fault)

	require.Equal(t, http.StatusOK, first(s.post("try/jump", struct{ To string }{"day"}, nil)))
	assert.Eventually(t, func() bool {
		var st tryState
		_, body := s.get("/try/state")
		require.NoError(t, json.Unmarshal([]byte(body), &st))
		return st.Hurrying == "" && st.Date == "2026-12-04"
	}, longest, 50*time.Millisecond)
	_, fault = s.post("send/look", boardRequest{emulatedID}, &b)
	require.Empty(t, fault)
	assert.Equal(t, "served, 3 pockets", b.Journal[0].What, "breakfast")
}

// A feeder on a port: the emulated board behind a pseudo-terminal, in real time, found as if it were on USB.
func TestSendOverAPort(t *testing.T) {
	c, err := board.ForBoard("m328-mains")
	require.NoError(t, err)
	c.Firmware, c.Start = flashertest.Image(t, "m328-mains"), present
	feeder, err := board.New(c)
	require.NoError(t, err)
	feeder.SetClock(present.Add(-90 * time.Second))
	port := flashertest.Terminal(t, flashertest.NewEmulated(feeder))

	s := newSite(t, cats)
	s.server.o.Boards = func() ([]FoundBoard, error) { return []FoundBoard{{port, port, "a bridge"}}, nil }
	s.server.o.Open = func(name string) (*flasher.Feeder, error) {
		l, err := ports.Open(name, flasher.DefaultBaud())
		if err != nil {
			return nil, err
		}
		return flasher.Connect(l)
	}
	_, body := s.get("/send/boards")
	assert.Contains(t, body, "a bridge")
	var b BoardState
	var p Proposed
	_, fault := s.post("send/propose", proposal{port, s.revision()}, &p)
	require.Empty(t, fault)
	assert.True(t, p.AskClock, "the emulated board lives at another time than the port")
	assert.Contains(t, p.Clock, "Either may be the wrong one")
	_, fault = s.post("send/clock", map[string]any{"id": port, "wanted": false}, &b)
	assert.Contains(t, fault, "nothing was changed")
	_, fault = s.post("send/upload", confirmed{port, p.Key, s.revision(), true}, &b)
	require.Empty(t, fault)
	assert.Contains(t, b.Said, "Clock: the feeder's clock is set.")
	assert.True(t, b.Same)
	assert.Equal(t, "m328-mains", b.Board)
	_, body = s.get("/send/progress")
	assert.Equal(t, 6, strings.Count(body, `"state":"done"`), body)
}

func first(code int, _ string) int { return code }

func TestTry(t *testing.T) {
	s := newSite(t, cats)
	_, body := s.get("/try/state")
	assert.Contains(t, body, `"running":false`)
	code, fault := s.post("try/do", struct{ What string }{"feed"}, nil)
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	assert.Contains(t, fault, "no feeder is running")
	var st tryState
	code, fault = s.post("try/start", struct{ Date, Time string }{"2027-03-27", "12:00"}, &st)
	require.Equal(t, http.StatusOK, code, fault)
	assert.Equal(t, "2027-03-27", st.Date)
	assert.Empty(t, st.Note)
	s.change("edit", edited{"meal.0.portion", "12 g", ""})
	_, body = s.get("/try/state")
	assert.Contains(t, body, "before the newest changes")
	s.change("undo", struct{}{})
	code, fault = s.post("try/jump", struct{ To string }{"night"}, &st)
	require.Equal(t, http.StatusOK, code, fault)
	assert.Equal(t, "28 March 2027 00:30", st.Hurrying)
	for what, want := range map[string]int{"cut power": 200, "feed": 200, "dance": 422} {
		code, _ = s.post("try/do", struct{ What string }{what}, nil)
		assert.Equal(t, want, code, what)
	}
	code, _ = s.post("try/speed", struct{ Speed float64 }{7}, nil)
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	code, fault = s.post("try/start", struct{ Date, Time string }{"soon", "12:00"}, nil)
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	assert.Contains(t, fault, "is not a time")
}

// Somebody is away until a date, which the feeder knows and the plan does not: a meal that is changed from the page leaves it so.
func TestSendKeepsTheEndOfAPreset(t *testing.T) {
	e := flashertest.New(t, "m328-mains", nil, func(c *board.Config) { c.Start = present })
	const presets = "presets = [\"home\", \"away\"]\n"
	plan := strings.ReplaceAll(cats, "portion", presets+"portion")
	s := newSite(t, plan)
	s.server.o.Boards = func() ([]FoundBoard, error) { return []FoundBoard{{ID: "desk"}}, nil }
	s.server.o.Open = func(name string) (*flasher.Feeder, error) { return flasher.Connect(e.Link(name)) }
	f, err := flasher.Connect(e.Link("desk"))
	require.NoError(t, err)
	until := table.Day(table.MinuteOf(present.Unix())/table.MinutesPerDay) + 9
	away, err := table.WithPresetUntil(s.server.compiled().Output.Bytes, until)
	require.NoError(t, err)
	p, err := f.Propose(away)
	require.NoError(t, err)
	staged, err := p.Stage(nil)
	require.NoError(t, err)
	require.NoError(t, staged.Commit(nil))
	_, _, err = f.Settings(1, -1)
	require.NoError(t, err)

	s.change("edit", edited{"meal.0.portion", "12 g", ""})
	s.change("save", map[string]bool{"replace": false})
	var proposed Proposed
	_, fault := s.post("send/propose", proposal{"desk", s.revision()}, &proposed)
	require.Empty(t, fault)
	assert.NotContains(t, strings.Join(proposed.Changes, "\n"), "by itself")
	_, fault = s.post("send/upload", confirmed{"desk", proposed.Key, s.revision(), false}, nil)
	require.Empty(t, fault)
	st, err := f.Status()
	require.NoError(t, err)
	held, err := f.Table(st)
	require.NoError(t, err)
	now, err := table.Decode(held)
	require.NoError(t, err)
	assert.Equal(t, until, now.PresetUntil)
	assert.Equal(t, 1, st.Preset)
	var b BoardState
	_, fault = s.post("send/look", map[string]any{"id": "desk"}, &b)
	require.Empty(t, fault)
	assert.True(t, b.Same, "it holds the present plan, and its own date")
}

// The page shows the name that a feeder keeps, carries it to the next plan, and says of each fault what to do.
func TestNameAndFaultsOnThePage(t *testing.T) {
	e := flashertest.New(t, "m328-mains", nil, func(c *board.Config) { c.Start = present })
	tab := flashertest.Table(t, "m328-mains", []uint16{7 * 60}, 0)
	f, err := flasher.Connect(e.Link("desk"))
	require.NoError(t, err)
	p, err := f.Propose(tab)
	require.NoError(t, err)
	p.Name = "kitchen"
	staged, err := p.Stage(nil)
	require.NoError(t, err)
	require.NoError(t, staged.Commit(nil))

	s := newSite(t, cats)
	s.server.o.Boards = func() ([]FoundBoard, error) { return []FoundBoard{{ID: "desk"}}, nil }
	s.server.o.Open = func(name string) (*flasher.Feeder, error) {
		return flasher.Connect(e.Link(name))
	}
	var b BoardState
	_, fault := s.post("send/look", map[string]any{"id": "desk"}, &b)
	require.Empty(t, fault)
	assert.Equal(t, "kitchen", b.Called)
	var proposed Proposed
	_, fault = s.post("send/propose", proposal{"desk", s.revision()}, &proposed)
	require.Empty(t, fault)
	_, fault = s.post("send/upload", confirmed{"desk", proposed.Key, s.revision(), false}, &b)
	require.Empty(t, fault)
	assert.True(t, b.Same)
	assert.Equal(t, "kitchen", b.Called)

	e.Board.Silence(true) // the clock module
	e.Board.Run(20 * time.Minute)
	_, fault = s.post("send/look", map[string]any{"id": "desk"}, &b)
	require.Empty(t, fault)
	require.NotEmpty(t, b.Faults)
	assert.Contains(t, strings.Join(b.Faults, "\n"), "check supply, ground, SDA and SCL of the clock module")
}

// An emulated board that runs beside the page is among the feeders, and can be sent to; another host that a request names is not opened.
func TestSendFindsRunningBoards(t *testing.T) {
	const port = "tcp:127.0.0.1:4161"
	e := flashertest.New(t, "m328-mains", nil, func(c *board.Config) { c.Start = present })
	s := newSite(t, cats)
	s.server.o.Boards = func() ([]FoundBoard, error) {
		return []FoundBoard{{port, port, "emulated board"}}, errors.New("no /dev")
	}
	var opened []string
	s.server.o.Open = func(name string) (*flasher.Feeder, error) {
		opened = append(opened, name)
		return flasher.Connect(e.Link(name))
	}
	_, body := s.get("/send/boards")
	assert.Contains(t, body, port)
	assert.Contains(t, body, "emulated board")
	var b BoardState
	_, fault := s.post("send/look", map[string]any{"id": port}, &b)
	require.Empty(t, fault)
	assert.Equal(t, "m328-mains", b.Board)
	for _, other := range []string{"tcp:192.0.2.1:4161", "tcp:127.0.0.1:22", "/dev/ttyS0"} {
		_, fault = s.post("send/look", map[string]any{"id": other}, nil)
		assert.Contains(t, fault, "there is no port")
	}
	assert.Equal(t, []string{port}, opened)
}
