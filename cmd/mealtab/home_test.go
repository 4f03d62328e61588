package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/board"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
	"mealtab/flasher/ports"
)

// home is a computer with emulated feeders at its ports. Commands run in this process and in the feeders' own time: nothing waits for the clock
// on the wall.
type home struct {
	t      testing.TB
	boards map[string]link.Transport
	feeder *flashertest.Emulated // at the port desk
}

// newHome has one feeder with a table, nil: none, at the port desk.
func newHome(t testing.TB, tab []byte, change func(*board.Config)) *home {
	t.Helper()
	e := flashertest.New(t, "m328-mains", tab, change)
	t.Setenv("TZ", "Europe/Lisbon")
	return &home{t, map[string]link.Transport{"desk": e}, e}
}

// start runs a command; input is what its owner types.
func (h *home) start(input string, args ...string) (code int, stdout, stderr string) {
	h.t.Helper()
	var out, errs bytes.Buffer
	a := newApp(strings.NewReader(input), &out, &errs)
	a.now = h.feeder.Now()
	a.openPort = func(name string, baud int) (*link.Link, error) {
		b, ok := h.boards[name]
		if !ok {
			return ports.Open(name, baud)
		}
		return link.New(b, name, baud), b.SetBaud(baud)
	}
	code = a.execute(args)
	return code, out.String(), errs.String()
}

// run is start that wants an exit code.
func (h *home) run(code int, input string, args ...string) (stdout, stderr string) {
	h.t.Helper()
	got, stdout, stderr := h.start(input, args...)
	require.Equal(h.t, code, got, "mealtab %s\n%s\n%s", strings.Join(args, " "), stdout, stderr)
	return stdout, stderr
}

// talk is a conversation with the feeder at the port desk.
func (h *home) talk() *flasher.Feeder {
	h.t.Helper()
	f, err := flasher.Connect(h.feeder.Link("desk"))
	require.NoError(h.t, err)
	return f
}

// planFile writes a plan into a new directory and returns its name and its table.
func planFile(t testing.TB, text string) (name string, tab []byte) {
	t.Helper()
	name = filepath.Join(t.TempDir(), "plan.toml")
	require.NoError(t, os.WriteFile(name, []byte(text), 0o644))
	a := newApp(nil, &bytes.Buffer{}, &bytes.Buffer{})
	c, err := a.cargo(name, compileOptions{})
	require.NoError(t, err)
	return name, c.bytes
}

// Two plans of an invented household.
const (
	planBefore = `plan = "Juniper and Moss"
zone = "Europe/Lisbon"

[wheel]
pocket = "6 g"

[[meal]]
name = "breakfast"
portion = "18 g"
at = ["07:00"]

[[meal]]
name = "supper"
portion = "18 g"
at = ["18:30"]
`
	planAfter = `plan = "Juniper and Moss"
zone = "Europe/Lisbon"

[wheel]
pocket = "6 g"

[[meal]]
name = "breakfast"
portion = "24 g"
at = ["07:00"]

[[meal]]
name = "supper"
portion = "18 g"
at = ["19:00"]

[[meal]]
name = "night"
portion = "6 g"
at = ["23:00"]
`
)
