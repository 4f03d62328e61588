package main

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/table"
	"mealtab/flasher/flashertest"
)

// What a feeder is told besides its plan: that its faults were seen, that its hopper was filled, how often a day it may serve by hand.

// events are what a feeder's own memory says of one kind of event, newest first.
func (h *home) events(kind int) (values []int) {
	h.t.Helper()
	f := h.talk()
	history, err := f.History(moment.Minute(flashertest.Start) - table.MinutesPerDay)
	require.NoError(h.t, err)
	for _, e := range history {
		if e.Event == kind {
			values = append(values, int(e.Value))
		}
	}
	return values
}

// A supper that a power cut made too late stays shown until it is acknowledged, and is not shown again. Without --clear nothing changes, and where
// nothing is shown that is said. A fault that has a cause, here the want of a table, stays.
func TestStatusClearAcknowledges(t *testing.T) {
	_, tab := planFile(t, planBefore)
	h := newHome(t, tab, nil)
	h.feeder.Sleep(time.Second)
	out, _ := h.run(0, "", "status", "--port", "desk", "--clear")
	require.Contains(t, out, "There was nothing to acknowledge: no fault is shown\n")
	require.Empty(t, h.events(table.EventCleared))

	h.feeder.Board.PowerOff()
	h.feeder.Repower(11 * time.Hour) // to 23:00: the supper of 18:30 is more than two hours late
	h.feeder.Sleep(20 * time.Second)
	for range 2 {
		out, _ = h.run(0, "", "status", "--port", "desk")
		require.Regexp(t, `faults +a serving was missed, or a part of one \(the light shows 7 flashes\)`, out)
		require.NotContains(t, out, "cknowledge")
	}
	require.Empty(t, h.events(table.EventCleared))

	out, _ = h.run(0, "", "status", "--port", "desk", "--clear")
	require.Contains(t, out, "a serving was missed")
	require.Contains(t, out, "Acknowledged: no fault is shown now\n")
	require.Equal(t, []int{table.FaultBitMissed}, h.events(table.EventCleared))
	h.feeder.Board.PowerOff()
	h.feeder.Repower(time.Second)
	h.feeder.Sleep(20 * time.Second)
	out, _ = h.run(0, "", "status", "--port", "desk")
	require.Contains(t, out, "  faults   none\n")
	out, _ = h.run(0, "", "journal", "--port", "desk")
	require.Contains(t, out, "acknowledged: a serving was missed, or a part of one\n")

	bare := newHome(t, nil, nil)
	bare.feeder.Sleep(time.Second)
	out, _ = bare.run(0, "", "status", "--port", "desk", "--clear")
	require.Contains(t, out, "There was nothing to acknowledge; still shown, because it has a cause: no valid table\n")
}

// The feeder counts down from what it was told, and what it served in the minute of the filling is not counted twice. The light shows when an
// eighth is left, 2 of 16 pockets, or less than two servings, here 6 pockets.
func TestHopperFilledNowTellsTheFeeder(t *testing.T) {
	plan, tab := planFile(t, planBefore)
	h := newHome(t, tab, nil)
	h.feeder.Sleep(time.Second)
	serve := func(portion string) {
		h.run(0, "", "serve", "--port", "desk", "--portion", portion)
		h.feeder.Sleep(10 * time.Second)
	}
	hopper := func() string {
		out, _ := h.run(0, "", "status", "--port", "desk")
		for line := range strings.Lines(out) {
			if strings.HasPrefix(line, "  hopper ") {
				return strings.Join(strings.Fields(line), " ")
			}
		}
		return ""
	}
	serve("3 pockets")
	require.Empty(t, hopper(), "nobody has said what it holds")

	out, _ := h.run(0, "", "hopper", plan, "--port", "desk", "--filled", "now", "--holds", "100 g")
	require.NotContains(t, out, "really served")
	require.Regexp(t, `left now +100 g\n`, out)
	require.Contains(t, flat(out), "on the feeder counts down from 16 pockets; its light will show when an eighth, or less than two servings, is left ")
	require.Equal(t, "hopper 16 pockets left, by what was turned since it was filled", hopper())
	require.Equal(t, []int{16}, h.events(table.EventRefilled))

	// Supper and breakfast are three pockets each.
	h.feeder.Sleep(24 * time.Hour)
	require.Contains(t, hopper(), "hopper 10 pockets left")
	out, _ = h.run(0, "", "status", "--port", "desk")
	require.Contains(t, out, "faults   none")
	h.feeder.Sleep(24 * time.Hour)
	require.Contains(t, hopper(), "hopper 4 pockets left")
	out, _ = h.run(0, "", "status", "--port", "desk", "--clear")
	require.Contains(t, flat(out), "the hopper is nearly empty (the light shows a long flash and 5 short ones)")
	require.Contains(t, flat(out), "There was nothing to acknowledge; still shown, because it has a cause: by what was turned since it was filled, the hopper is nearly empty")

	out, _ = h.run(0, "", "hopper", plan, "--port", "desk", "--filled", "now", "--holds", "1.4 kg")
	require.Regexp(t, `counts down from 233 pockets;`, out)
	out, _ = h.run(0, "", "status", "--port", "desk")
	require.Contains(t, out, "faults   none")
	require.Equal(t, []int{233, 16}, h.events(table.EventRefilled))

	// An earlier filling is none that the feeder is told of.
	h.run(0, "", "hopper", plan, "--port", "desk", "--filled", "2026-12-04T13:00", "--holds", "100 g")
	require.Equal(t, []int{233, 16}, h.events(table.EventRefilled))
	require.Contains(t, hopper(), "hopper 233 pockets left")
}

// per-day is counted by the feeder over 24 hours from the first serving by hand; per-hour goes on holding. What fell is what was allowed.
func TestServeWithinPerDay(t *testing.T) {
	plan, tab := planFile(t, planBefore+"\n[button]\nportion = \"1 pocket\"\nper-hour = 2\nper-day = 3\n")
	h := newHome(t, tab, nil)
	h.feeder.Sleep(time.Second)
	serve := func(code int) string {
		out, errs := h.run(code, "", "serve", "--port", "desk")
		h.feeder.Sleep(5 * time.Second)
		return out + errs
	}
	serve(0)
	serve(0)
	require.Contains(t, serve(1), "the feeder refuses: it has given what its table allows by hand in an hour (2 servings); the next from Fri 2026-12-04 13:01 WET on, if there is none before")
	h.feeder.Sleep(62 * time.Minute)
	serve(0)
	require.Contains(t, serve(1), "the feeder refuses: it has given what its table allows by hand in a day (3 servings in 24 hours from the first); more from Sat 2026-12-05 12:01 WET on")
	require.EqualValues(t, 3, h.feeder.Board.Pockets())
	h.feeder.Sleep(20 * time.Hour) // 21 hours from the first; two meals of three pockets on the way
	require.Contains(t, serve(1), "in a day (3 servings")
	require.EqualValues(t, 3+6, h.feeder.Board.Pockets())
	h.feeder.Sleep(3 * time.Hour)
	serve(0)
	require.EqualValues(t, 3+6+1, h.feeder.Board.Pockets())
	require.Equal(t, []int{1, 1, 1, 1}, h.events(table.EventManual))

	out, _ := h.run(0, "", "listing", plan)
	require.Contains(t, flat(out), "at most 2 an hour and 3 a day")
	out, _ = h.run(0, "", "pull", "--port", "desk")
	require.Contains(t, out, "per-day = 3\n")
}

// Whatever the table allows, no more than 40 pockets are given by hand in 24 hours, and the sentence says so.
func TestServeWithinFortyPocketsADay(t *testing.T) {
	_, tab := planFile(t, planBefore+"\n[button]\nportion = \"1 pocket\"\nper-hour = 8\nper-day = 15\n")
	h := newHome(t, tab, nil)
	h.feeder.Sleep(time.Second)
	for range 2 {
		h.run(0, "", "serve", "--port", "desk", "--portion", "19 pockets")
		h.feeder.Sleep(20 * time.Second)
	}
	_, errs := h.run(1, "", "serve", "--port", "desk", "--portion", "3 pockets")
	require.Contains(t, errs, "that would be more than 40 pockets by hand in 24 hours from the first (38 have been given); 2 pockets now, more from Sat 2026-12-05 12:01 WET on")
	h.run(0, "", "serve", "--port", "desk", "--portion", "2 pockets")
	h.feeder.Sleep(5 * time.Second)
	_, errs = h.run(1, "", "serve", "--port", "desk")
	require.Contains(t, errs, "the feeder refuses: it has given the 40 pockets that are allowed by hand in 24 hours from the first; more from Sat 2026-12-05 12:01 WET on")
	require.EqualValues(t, 40, h.feeder.Board.Pockets())
}

// The other reasons, each named alone: a button that is switched off, less than half a pocket, a supply that is
// too low. And the hour named is the one at which the feeder serves again.
func TestRefusalsNameTheirReason(t *testing.T) {
	refused := func(h *home, portion string) string {
		_, errs := h.run(1, "", "serve", "--port", "desk", "--portion", portion)
		_, why, found := strings.Cut(errs, "the feeder refuses: ")
		require.True(t, found, errs)
		return strings.TrimSpace(why)
	}
	_, off := planFile(t, planBefore+"\n[button]\nportion = \"0 pockets\"\n")
	h := newHome(t, off, nil)
	h.feeder.Sleep(time.Second)
	require.Equal(t, "its table switches servings by hand off", refused(h, "1 pocket"))

	_, tab := planFile(t, strings.ReplaceAll(planBefore, "6 g", "6.2 g"))
	h = newHome(t, tab, nil)
	h.feeder.Sleep(time.Second)
	require.Equal(t, "with what is left over from servings before, that is less than half a pocket, and the wheel turns whole ones", refused(h, "1 g"))
	h.feeder.Board.SetSource(4450, -1)
	h.feeder.Sleep(time.Minute)
	require.Regexp(t, `^its supply is too low \(4\.\d\d V\), until that is better$`, refused(h, "1 pocket"))
	h.feeder.Board.SetSource(5000, -1)
	h.feeder.Sleep(time.Minute)

	for range 2 {
		h.run(0, "", "serve", "--port", "desk")
		h.feeder.Sleep(time.Minute)
	}
	why := refused(h, "1 pocket")
	named := regexp.MustCompile(`the next from (.*) WET on`).FindStringSubmatch(why)
	require.NotNil(t, named, why)
	at, err := time.Parse("Mon 2006-01-02 15:04", named[1])
	require.NoError(t, err)
	h.feeder.Sleep(at.Sub(h.feeder.Board.ClockTime()) - time.Minute)
	refused(h, "1 pocket")
	h.feeder.Sleep(time.Minute)
	h.run(0, "", "serve", "--port", "desk")
}
