package page

import (
	"encoding/json"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/emulator/board"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
)

// The emulated feeder takes the plan over its line, tells its next servings and, later, what it has served.
func TestSendToTheEmulatedFeeder(t *testing.T) {
	s := newSite(t, cats)
	code, body := s.get("/send/boards")
	require.Equal(t, http.StatusOK, code)
	assert.Contains(t, body, `"id":"emulated"`)
	var b BoardState
	code, fault := s.post("send/look", boardRequest{emulatedID}, &b)
	require.Equal(t, http.StatusOK, code, fault)
	assert.Equal(t, "m328-mains", b.Board)
	assert.False(t, b.Same)
	assert.Equal(t, []string{"0 bytes held"}, b.Changes)
	code, fault = s.post("send/upload", boardRequest{emulatedID}, &b)
	require.Equal(t, http.StatusOK, code, fault)
	assert.True(t, b.Same)
	assert.Equal(t, "right", b.Clock)
	require.NotEmpty(t, b.Next)
	assert.Equal(t, nextLine{Day: "Thu 3 Dec 2026", Time: "18:30", What: "supper", Pockets: "4 pockets"}, b.Next[0])
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
	}, 30*time.Second, 50*time.Millisecond)
	_, fault = s.post("send/look", boardRequest{emulatedID}, &b)
	require.Empty(t, fault)
	assert.Equal(t, "served, 3", b.Journal[0].What, "breakfast")
}

// A feeder on a port: the emulated board behind a pseudo-terminal, in real time, found as if it were on USB.
func TestSendOverAPort(t *testing.T) {
	c, err := board.ForBoard("m328-mains")
	require.NoError(t, err)
	c.Firmware, c.Start = flashertest.Image(t, "m328-mains"), present
	feeder, err := board.New(c)
	require.NoError(t, err)
	feeder.SetClock(present.Add(-90 * time.Second))
	port := flashertest.Terminal(t, flashertest.NewEmulated(feeder, flasher.DefaultBaud()))

	s := newSite(t, cats)
	s.server.o.Ports = func() ([]link.Port, error) { return []link.Port{{Name: port, USB: true, Product: "a bridge"}}, nil }
	s.server.o.Open = func(name string) (*flasher.Feeder, error) {
		l, err := link.Open(name, flasher.DefaultBaud())
		if err != nil {
			return nil, err
		}
		return flasher.Connect(l)
	}
	_, body := s.get("/send/boards")
	assert.Contains(t, body, "a bridge")
	var b BoardState
	_, fault := s.post("send/upload", boardRequest{port}, &b)
	require.Empty(t, fault)
	assert.True(t, b.Same)
	assert.Equal(t, "m328-mains", b.Board)
	_, body = s.get("/send/progress")
	assert.Contains(t, body, `"step":"done"`)
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
	assert.Contains(t, fault, "is no time")
}
