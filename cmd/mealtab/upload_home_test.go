package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/emulator/board"
	"mealtab/flasher"
)

// The whole path as an owner goes it.
func TestUploadAsAnOwnerDoes(t *testing.T) {
	_, before := planFile(t, planBefore)
	after, _ := planFile(t, planAfter)
	h := newHome(t, before, nil)

	out, _ := h.run(0, "y\n", "upload", after, "--port", "desk", "--rehearse", rehearsedYears)
	if rehearsedYears != "0" {
		require.Regexp(t, regexp.MustCompile(`rehearsed on the firmware through 1 year: [\d,]+ servings as replayed`), out)
	}
	for _, want := range []string{
		`plan\.toml: \d+ bytes for m328-mains; [\d,]+ servings proved through 2099-12-31`,
		`  amount     breakfast     24 g, was 18 g; every day at 07:00`,
		`  moved      supper        18 g, every day at 19:00; was every day at 18:30`,
		`  new        night         6 g, every day at 23:00`,
		`  food       48 g a day, was 36 g \(the next 28 days\)`,
		`    next servings now                      and with the new table\n    Fri 2026-12-04 18:30  3 pockets        Fri 2026-12-04 19:00  3 pockets\n`,
		`  clock      the feeder's .* this computer's`,
		`Put the new table on the feeder on desk\? \[y/N\]`,
		`\d+ bytes written, read back and put in force in \d\.\d s`,
		`Next servings, as the feeder itself computes them\n  Fri 2026-12-04 19:00 WET    supper +3 pockets\n  Fri 2026-12-04 23:00 WET    night +1 pocket\n  Sat 2026-12-05 07:00 WET    breakfast +4 pockets\n`,
	} {
		require.Regexp(t, regexp.MustCompile(want), out)
	}

	out, _ = h.run(0, "", "status", "--port", "desk")
	for _, want := range []string{`board    m328-mains on desk, firmware \d+, 1024 bytes`, `number 1 in bank 1; 3 meals`, `faults   none`,
		`zone     as in the time zone data at hand \(\w+\): that of Europe/Lisbon`, ` +night +1 pocket`} {
		require.Regexp(t, regexp.MustCompile(want), out)
	}

	// pull: a plan that compiles to the same bytes.
	dir := t.TempDir()
	pulled, held, compiled := filepath.Join(dir, "pulled.toml"), filepath.Join(dir, "held.table"), filepath.Join(dir, "compiled.table")
	out, _ = h.run(0, "", "pull", "--port", "desk", "-o", pulled)
	require.Contains(t, out, "the plan compiles to the bytes on the feeder")
	h.run(0, "", "pull", "--port", "desk", "--table", "-o", held)
	h.run(0, "", "compile", pulled, "-o", compiled)
	onBoard, err := os.ReadFile(held)
	require.NoError(t, err)
	again, err := os.ReadFile(compiled)
	require.NoError(t, err)
	require.Equal(t, onBoard, again)

	out, _ = h.run(0, "", "upload", held, "--port", "desk", "--rehearse", "0", "--yes")
	require.Contains(t, out, "holds this table already")

	out, _ = h.run(0, "", "serve", "--port", "desk", "--portion", "12 g")
	require.Contains(t, out, "serving 12 g (2 pockets) on")
	h.feeder.Sleep(5 * time.Second)
	_, errs := h.run(1, "", "pull", "--port", "desk", "--zone", "America/New_York")
	require.Contains(t, errs, "the table does not keep the clock of America/New_York, but that of Europe/Lisbon")
	out, _ = h.run(0, "", "journal", "--port", "desk")
	require.Regexp(t, regexp.MustCompile(`started after power-on\n.*a new table came in force, number 1\n(.*the clock was set.*\n)*.*served by hand, 2 pockets\n`), out)
	out, _ = h.run(0, "", "journal", "--port", "desk", "--format", "csv")
	require.Regexp(t, regexp.MustCompile(`(?m)^port,time,event,value,unit,text,meals\n.*,started,1,MCUSR,started after power-on,$`), out)
	out, _ = h.run(0, "", "journal", "--port", "desk", "--since", "tomorrow")
	require.Equal(t, "nothing happened\n", out)
	h.run(0, "", "serve", "--port", "desk")
	h.feeder.Sleep(5 * time.Second)
	_, errs = h.run(1, "", "serve", "--port", "desk")
	require.Contains(t, errs, "the feeder refuses: it has given what its table allows by hand in an hour (2 servings)")
	out, _ = h.run(0, "", "clock", "--port", "desk", "--set")
	require.Regexp(t, regexp.MustCompile(`clock    .* this computer's.*\n  drift    not known: .*\n  set      `), out)
}

// How far a feeder's clock is from the computer's is said before anything is written; beyond two minutes it is asked, and --yes, which answers
// about the table, is no answer. A clock that stood still is set: it shows nothing that could be lost.
func TestUploadAsksBeforeALargeStepOfTheClock(t *testing.T) {
	_, before := planFile(t, planBefore)
	after, tab := planFile(t, planAfter)
	const hours = time.Hour
	for name, c := range map[string]struct {
		off         time.Duration
		input, flag string
		set         bool
		said        []string
	}{
		"a little":            {3 * time.Second, "", "--yes", true, []string{`clock the feeder's is [23]\.\d s ahead of this computer's: it will be set `, `clock set: `}},
		"two minutes":         {-119 * time.Second, "y\n", "", true, []string{`1 min 59 s behind this computer's: it will be set`, `clock set: `}},
		"just beyond, no":     {-122 * time.Second, "y\nn\n", "", false, []string{`2 min 2 s behind`, `Set the feeder's clock to this computer's\? \[y/N\]`, `the clock was left as it is, 2 min 2 s behind`}},
		"just beyond, yes":    {122 * time.Second, "y\ny\n", "", true, []string{`clock set: `}},
		"weeks ahead, --yes":  {561 * hours, "", "--yes", false, []string{`the feeder's is 23 days 9 h ahead of this computer's: it shows 2026-12-27 21:00 UTC, the computer 2026-12-04 12:00 UTC\. Either may be the wrong one `, `the clock was left as it is, 23 days 9 h ahead of this computer's: where the computer's is right, mealtab clock --set`}},
		"weeks ahead, wanted": {561 * hours, "y\n", "--set-clock", true, []string{`23 days 9 h ahead`, `clock set: `}},
		"years behind, no":    {-4 * 8766 * hours, "y\n\n", "", false, []string{`1461 days behind`}},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHome(t, before, nil)
			h.feeder.Board.SetClock(h.feeder.Now().Add(c.off))
			h.feeder.Sleep(time.Second)
			args := []string{"upload", after, "--port", "desk", "--rehearse", "0"}
			if c.flag != "" {
				args = append(args, c.flag)
			}
			out, _ := h.run(0, c.input, args...)
			for _, want := range c.said {
				require.Regexp(t, want, flat(out))
			}
			require.Less(t, strings.Index(out, "  clock  "), strings.Index(out, "bytes written, read back"))
			off := h.feeder.ChipTime().Sub(h.feeder.Now())
			if c.set {
				require.Less(t, off.Abs(), 2*time.Second)
			} else {
				require.InDelta(t, c.off.Seconds(), off.Seconds(), 2)
			}
			h.inForce(tab)
		})
	}
}

// flat is a text without its line breaks.
func flat(text string) string { return strings.Join(strings.Fields(text), " ") + " " }

// inForce wants the feeder to hold this table.
func (h *home) inForce(tab []byte) {
	h.t.Helper()
	f := h.talk()
	st, err := f.Status()
	require.NoError(h.t, err)
	held, err := f.Table(st)
	require.NoError(h.t, err)
	require.True(h.t, flasher.Holds(held, tab))
}

// A computer whose date lies before its own time zone data sets no clock, neither unasked nor asked.
func TestComputerOlderThanItsDataSetsNoClock(t *testing.T) {
	_, before := planFile(t, planBefore)
	after, tab := planFile(t, planAfter)
	h := newHome(t, before, func(c *board.Config) { c.Start = time.Date(2019, 12, 4, 12, 0, 0, 0, time.UTC) }) // the computer's time too
	right := time.Date(2026, 12, 4, 12, 0, 0, 0, time.UTC)
	h.feeder.Board.SetClock(right)
	h.feeder.Sleep(time.Second)
	for _, args := range [][]string{{"--yes"}, {"--yes", "--set-clock"}} {
		h.feeder.Sleep(time.Second)
		out, _ := h.run(0, "", append([]string{"upload", after, "--port", "desk", "--rehearse", "0"}, args...)...)
		require.Regexp(t, `clock this computer's clock shows 2019-12-04, though its time zone data are of 20\d\d: set the computer's clock first; the feeder's clock is left as it is `, flat(out))
		require.NotContains(t, out, "food       0 g")
	}
	h.inForce(tab)
	_, errs := h.run(1, "", "clock", "--port", "desk", "--set")
	require.Contains(t, errs, "this computer's clock shows 2019-12-04, though its time zone data are of 20")
	require.Less(t, h.feeder.ChipTime().Sub(right), time.Minute)
	require.GreaterOrEqual(t, table.Minute(h.feeder.ChipTime().Unix()-table.Epoch), table.Minute(right.Unix()-table.Epoch))
}
