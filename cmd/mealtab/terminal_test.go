package main

import (
	"bytes"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/prose"
	"mealtab/compiler/table"
)

// onTerminal runs f with the far end of a pseudo-terminal and returns what a person would see.
func onTerminal(t *testing.T, f func(tty *os.File)) string {
	t.Helper()
	screen, tty, err := pty.Open()
	require.NoError(t, err)
	defer screen.Close()
	seen := make(chan string)
	go func() {
		var b bytes.Buffer
		_, _ = b.ReadFrom(screen) // ends with an error when the far end is closed
		seen <- b.String()
	}()
	f(tty)
	require.NoError(t, tty.Close())
	return <-seen
}

const wrongPlan = "zone = \"Europe/Lisbon\"\n[[meal]]\nname = \"x\"\nportion = \"18\"\nat = [\"07:00\"]\n"

func TestColourOnATerminalOnly(t *testing.T) {
	check := func(tty *os.File) {
		a := newApp(strings.NewReader(wrongPlan), tty, tty)
		assert.Equal(t, exitFailed, a.execute([]string{"check", "-"}))
	}
	t.Setenv("TERM", "xterm")
	t.Setenv("NO_COLOR", "")
	assert.Contains(t, onTerminal(t, check), "\x1b[1;31merror\x1b[0m")
	t.Setenv("NO_COLOR", "1")
	assert.NotContains(t, onTerminal(t, check), "\x1b")
	t.Setenv("NO_COLOR", "")
	t.Setenv("TERM", "dumb")
	assert.NotContains(t, onTerminal(t, check), "\x1b")

	var out, errs bytes.Buffer
	t.Setenv("TERM", "xterm")
	assert.Equal(t, exitFailed, newApp(strings.NewReader(wrongPlan), &out, &errs).execute([]string{"check", "-"}))
	assert.Contains(t, errs.String(), "error: \"18\" has no unit")
	assert.NotContains(t, errs.String(), "\x1b")
}

// The bar appears after a second, on a terminal, and goes when the work is done.
func TestProgress(t *testing.T) {
	work := func(begun time.Time) func(*os.File) {
		return func(tty *os.File) {
			b := newApp(nil, tty, tty).progress("proving", 9496)
			b.begun = begun
			for day := table.Minute(9496); day < 36525; day += 1000 {
				b.at(day * table.MinutesPerDay)
			}
			b.done()
		}
	}
	assert.Empty(t, onTerminal(t, work(time.Now().Add(time.Hour))), "quick work needs no bar")
	assert.Contains(t, onTerminal(t, work(time.Now().Add(-2*patience))), "proving")

	var errs bytes.Buffer
	b := newApp(nil, &errs, &errs).progress("proving", 9496)
	b.begun = time.Now().Add(-2 * patience)
	b.at(10000 * table.MinutesPerDay)
	b.done()
	assert.Empty(t, errs.String(), "no bar where there is no terminal")
}

func TestWrap(t *testing.T) {
	text := strings.Repeat("seven77 ", 40)
	for line := range strings.Lines(prose.Wrap("  head  ", text)) {
		assert.LessOrEqual(t, len(strings.TrimRight(line, "\n")), prose.Width)
		assert.True(t, strings.HasPrefix(line, "  head  ") || strings.HasPrefix(line, strings.Repeat(" ", 8)))
	}
	assert.Equal(t, "a: b\n", prose.Wrap("a: ", "b"))
	assert.Equal(t, "a: "+strings.Repeat("x", 200)+"\n", prose.Wrap("a: ", strings.Repeat("x", 200)))
}

// A whole file or none: a failed write leaves the old one, and no litter.
func TestWriteIsWhole(t *testing.T) {
	dir := t.TempDir()
	name := dir + "/plan.table"
	a := newApp(nil, &bytes.Buffer{}, &bytes.Buffer{})
	require.NoError(t, a.write(name, []byte("old")))
	require.NoError(t, a.write(name, []byte("new")))
	got, err := os.ReadFile(name)
	require.NoError(t, err)
	assert.Equal(t, "new", string(got))
	assert.ErrorContains(t, a.write(dir+"/nowhere/plan.table", []byte("x")), "no such file or directory")
	require.NoError(t, os.Mkdir(dir+"/dir", 0o755))
	assert.Error(t, a.write(dir+"/dir", []byte("x")))
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, entries, 2)
}

// seenUntil shows a terminal to f and returns what has been seen when the text is there; f is told then.
func seenUntil(t *testing.T, text string, f func(tty *os.File, seen <-chan struct{})) string {
	t.Helper()
	screen, tty, err := pty.Open()
	require.NoError(t, err)
	defer screen.Close()
	there, all := make(chan struct{}), make(chan string)
	go func() {
		var b bytes.Buffer
		chunk, found := make([]byte, 4096), false
		for {
			n, err := screen.Read(chunk)
			b.Write(chunk[:n])
			if !found && strings.Contains(b.String(), text) {
				found = true
				close(there)
			}
			if err != nil {
				all <- b.String()
				return
			}
		}
	}()
	f(tty, there)
	require.NoError(t, tty.Close())
	return <-all
}

// What is waited for is shown after a second, on a terminal, and taken away; ending it twice does no harm.
func TestWaiting(t *testing.T) {
	seen := seenUntil(t, "reading what the feeder holds", func(tty *os.File, seen <-chan struct{}) {
		end := newApp(nil, tty, tty).waitingSince("reading what the feeder holds", time.Now().Add(-2*patience))
		<-seen
		end()
		end()
	})
	assert.Regexp(t, "\r *\r$|\x1b\\[2K\r?$", seen, "it is gone at the end")
	assert.Empty(t, onTerminal(t, func(tty *os.File) {
		newApp(nil, tty, tty).waitingSince("quick", time.Now().Add(time.Hour))()
	}))
	var errs bytes.Buffer
	newApp(nil, &errs, &errs).waitingSince("no terminal", time.Now().Add(-2*patience))()
	assert.Empty(t, errs.String())
}

// The sweep of power cuts shows how many have been made.
func TestCutsShowABar(t *testing.T) {
	var code int
	seen := onTerminal(t, func(tty *os.File) {
		code = newApp(bytes.NewReader(demoPlan), tty, tty).execute([]string{"rehearse", "-", "--cuts", "3"})
	})
	assert.Equal(t, exitGood, code, seen)
	assert.Contains(t, seen, "cutting the power: meal")
	assert.Contains(t, seen, "cutting the power: upload")
}
