package main

import (
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/report/history/saved"
)

// What was recorded, from two readings, is set against the plan; every word of it is what the emulated feeder was made to do.
func TestFedAsAnOwnerReads(t *testing.T) {
	_, tab := planFile(t, planBefore)
	h := newHome(t, tab, nil)
	file := filepath.Join(t.TempDir(), "desk.history")
	h.feeder.Sleep(20 * time.Hour)
	out, _ := h.run(0, "", "journal", "--port", "desk", "--save", file)
	require.Equal(t, file+": 3 new records, 3 in all, from Fri 2026-12-04 12:00 UTC on\n", out)
	first, err := os.ReadFile(file)
	require.NoError(t, err)
	h.feeder.Board.PowerOff()
	h.feeder.Repower(11 * time.Hour) // from 08:00 to 19:00: the supper of 18:30 comes late
	h.feeder.Sleep(20 * time.Hour)   // to 15:00
	h.feeder.Board.PowerOff()
	h.feeder.Repower(7 * time.Hour) // to 22:00: the supper is too late
	h.feeder.Sleep(10 * time.Hour)
	h.run(0, "", "serve", "--port", "desk", "--portion", "12 g")
	h.feeder.Sleep(time.Hour)

	out, _ = h.run(0, "", "fed", "--saved", file, "--port", "desk")
	require.Contains(t, out, `Fri 2026-12-04  18 g turned of 18 g
  18:30 supper: 3 pockets turned
  00:00 to 12:00 not known: there is no record from before
  12:00 the feeder started: power came on

Sat 2026-12-05  36 g turned of 36 g
  07:00 breakfast: 3 pockets turned
  18:30 supper: 3 pockets turned, at least 30 min late, after a loss of power
  19:00 the feeder started: power came on

Sun 2026-12-06  18 g turned of 36 g
  07:00 breakfast: 3 pockets turned
  18:30 supper: left out, after a loss of power
`)
	require.Contains(t, flat(out), "Mon 7 Dec to Mon 7 Dec 2026.")
	require.Contains(t, flat(out), "Juniper and Moss: the feeder turned 80 % of what the plan says, as far as is known; Saturday's supper came at least "+
		"30 min late, after a loss of power; Sunday's supper was left out, after a loss of power.")
	require.Contains(t, flat(out), "by hand, 2 pockets turned")
	after, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, first, after, "comparing writes nothing")

	h.run(0, "", "journal", "--port", "desk", "--save", file)
	same, _ := h.run(0, "", "fed", "--saved", file)
	require.Equal(t, out, same)
	out, _ = h.run(0, "", "journal", "--port", "desk", "--save", file)
	require.Contains(t, out, ": 0 new records, ")

	plan, _ := planFile(t, planBefore)
	picture := filepath.Join(t.TempDir(), "fed.svg")
	h.run(0, "", "chart", plan, "--kind", "fed", "--saved", file, "-o", picture)
	svg, err := os.ReadFile(picture)
	require.NoError(t, err)
	require.Contains(t, string(svg), "Sun 6 Dec 2026; 18 g turned of 36 g; supper left out, after a loss of power")
	h.run(2, "", "chart", plan, "--saved", file, "-o", picture)
	_, errs := h.run(1, "", "chart", plan, "--kind", "fed", "--saved", file, "--from", "2027-01-01", "-o", picture)
	require.Contains(t, errs, "there is no record of a serving in these days")
	out, _ = h.run(0, "", "fed", "--saved", file, "--format", "json")
	require.Contains(t, out, `"text": "3 pockets turned, at least 30 min late, after a loss of power"`)
	out, _ = h.run(0, "", "fed", "--saved", file, "--format", "csv")
	require.Contains(t, out, "\n2026-12-05,2026-12-05T18:30:00Z,supper,late,1,3,3,18000,18000,30,after a loss of power,\n")
}

// A file of another feeder, of another kind, edited, or that may not be written is refused, and is left as it was.
func TestSaveRefuses(t *testing.T) {
	_, tab := planFile(t, planBefore)
	h := newHome(t, tab, nil)
	h.feeder.Sleep(30 * time.Hour)
	dir := t.TempDir()
	file := filepath.Join(dir, "desk.history")
	h.run(0, "", "journal", "--port", "desk", "--save", file)
	text, err := os.ReadFile(file)
	require.NoError(t, err)

	refused := func(h *home, name, content, want string, more ...string) {
		t.Helper()
		if content != "" {
			require.NoError(t, os.WriteFile(name, []byte(content), 0o644))
		}
		before, _ := os.ReadFile(name)
		_, errs := h.run(1, "", append([]string{"journal", "--port", "desk", "--save", name}, more...)...)
		require.Contains(t, flat(errs), want)
		after, _ := os.ReadFile(name)
		require.Equal(t, before, after)
		require.NoFileExists(t, name+".lock")
	}
	other := newHome(t, tab, nil)
	other.feeder.Sleep(26 * time.Hour)
	other.feeder.Board.StepClock(time.Minute)
	other.run(0, "", "serve", "--port", "desk")
	other.feeder.Sleep(12 * time.Hour)
	h.feeder.Sleep(12 * time.Hour)
	h.run(0, "", "journal", "--port", "desk", "--save", file)
	refused(h, filepath.Join(dir, "plan.toml"), planBefore, "line 1: this is no history of a feeder")
	refused(h, filepath.Join(dir, "note"), "do not lose me", "line 1: this is no history of a feeder")
	refused(h, filepath.Join(dir, "edited"), strings.Replace(string(text), "served 3 pockets", "served 9 pockets", 1), "one of the two was edited")
	refused(h, filepath.Join(dir, "later"), strings.Replace(string(text), "history 1", "history 2", 1), "a newer mealtab is needed")
	refused(h, filepath.Join(dir, "nowhere", "x"), "", "cannot write "+filepath.Join(dir, "nowhere", "x"))
	if os.Getuid() != 0 {
		require.NoError(t, os.Chmod(file, 0o444))
		refused(h, file, "", "it may not be written to")
	}
	h.run(2, "", "journal", "--all", "--save", file)
	h.run(2, "", "journal", "--save", file, "--since", "yesterday")
	h.run(2, "", "journal", "--same-feeder")
}

// Commands at once, and one that was stopped while it held the lock, lose nothing.
func TestSaveAtOnce(t *testing.T) {
	_, tab := planFile(t, planBefore)
	h := newHome(t, tab, nil)
	h.feeder.Sleep(30 * time.Hour)
	file := filepath.Join(t.TempDir(), "desk.history")
	f := h.talk()
	s := &session{Feeder: f, a: newApp(nil, &strings.Builder{}, &strings.Builder{})}
	reading, err := s.reading("")
	require.NoError(t, err)
	all := reading.Runs[0].Records
	require.NoError(t, os.WriteFile(file+".lock", nil, 0o644))
	long := time.Now().Add(-time.Hour)
	require.NoError(t, os.Chtimes(file+".lock", long, long))
	var wait sync.WaitGroup
	failed := make([]error, len(all)-1)
	for i := range failed {
		wait.Go(func() {
			part := *reading
			part.Runs = []saved.Run{{Records: all[i : i+2]}} // two neighbours: only together they are all
			s := &session{Feeder: f, a: newApp(nil, &strings.Builder{}, &strings.Builder{})}
			failed[i] = s.addTo(file, &part, true)
		})
	}
	wait.Wait()
	for _, err := range failed {
		require.NoError(t, err)
	}
	l, err := readSaved(file)
	require.NoError(t, err)
	require.Len(t, l.Runs, 1)
	require.Equal(t, all, l.Runs[0].Records)
	require.NoFileExists(t, file+".lock")
}
