package main

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/cmd/mealtab/internal/rehearsal"
	"mealtab/compiler/table"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
)

// desk is a feeder in its own time with an owner before it, and a table to be uploaded.
type desk struct {
	*session
	board *flashertest.Emulated
	cargo *cargo
	seen  bytes.Buffer
}

// answering is what the owner types, and what happens while he does.
type answering struct {
	*strings.Reader
	before func()
}

func (a *answering) Read(p []byte) (int, error) {
	a.before()
	return a.Reader.Read(p)
}

func newDesk(t *testing.T, owner *answering) *desk {
	t.Helper()
	d := &desk{board: flashertest.New(t, "m328-mains", flashertest.Table(t, "m328-mains", []uint16{420, 1110}, 0), nil)}
	a := newApp(owner, &d.seen, &d.seen)
	name := filepath.Join(t.TempDir(), "plan.toml")
	require.NoError(t, os.WriteFile(name, demoPlan, 0o644))
	var err error
	d.cargo, err = a.cargo(name, compileOptions{})
	require.NoError(t, err)
	f, err := flasher.Connect(d.board.Link("desk"))
	require.NoError(t, err)
	d.session = &session{Feeder: f, a: a}
	d.session.out.direct = &d.seen
	return d
}

func (d *desk) banks(t *testing.T) (inForce int, spare byte) {
	t.Helper()
	st, err := d.Status()
	require.NoError(t, err)
	return st.Bank, d.board.Board.MCU().EEPROM()[d.Map.Bank(1-st.Bank)]
}

// The rehearsal goes on while the owner reads what changes: it ends here only when the question has been asked. It had better end well,
// for if not the table that was written meanwhile stays void, and the old one in force.
func TestRehearsalDecidesOverTheCommit(t *testing.T) {
	for _, failed := range []error{nil, errors.New("a pocket too many")} {
		rehearsing, finish := rehearsal.Pending()
		d := newDesk(t, &answering{strings.NewReader("y\n"), sync.OnceFunc(func() { finish("rehearsed\n", failed) })})
		err := d.upload(d.cargo, &shownRehearsal{Running: rehearsing, bar: d.a.progress("rehearsing", 0)}, uploadFlags{})
		bank, spare := d.banks(t)
		if failed == nil {
			require.NoError(t, err)
			require.Equal(t, 1, bank)
			require.Regexp(t, `\[y/N\] \nrehearsed\n\d+ bytes written, read back and put in force`, d.seen.String())
			continue
		}
		require.ErrorIs(t, err, failed)
		require.Equal(t, 0, bank)
		require.NotEqual(t, byte(table.Committed), spare)
		require.NotContains(t, d.seen.String(), "put in force")
		room := d.board.Board.MCU().EEPROM()[d.Map.TableOffset(1):]
		require.True(t, flasher.Holds(room[:len(d.cargo.bytes)], d.cargo.bytes), "written meanwhile")
	}
}

// A bar on a terminal, half full when the first of two blocks (96 bytes each) is written, gone at the end; nothing in a pipe.
func TestUploadBarOnATerminalOnly(t *testing.T) {
	stage := func(errs io.Writer) {
		d := newDesk(t, nil)
		d.a.err = errs
		p, err := d.Propose(flashertest.Table(t, "m328-mains", []uint16{420, 1110}, 2*96))
		require.NoError(t, err)
		_, err = d.stage(p)
		require.NoError(t, err)
	}
	seen := onTerminal(t, func(tty *os.File) { stage(tty) })
	require.Regexp(t, `^\rdesk +50% [^\r]*\r +\r$`, seen)
	var piped bytes.Buffer
	stage(&piped)
	require.Empty(t, piped.String())
}
