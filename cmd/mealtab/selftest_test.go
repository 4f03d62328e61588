package main

import (
	"bytes"
	"encoding/json"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/board"
	"mealtab/flasher/bench"
)

// A right board with prepared answers: nothing is wrong, exit code 0, the report alone on standard output.
func TestSelftestOfARightBoard(t *testing.T) {
	h := newHome(t, nil, nil)
	h.feeder.Sleep(time.Second)
	out, errs := h.run(0, "", "selftest", "--port", "desk", "--format", "json", "--answers",
		"blinks=yes,wheel-ready=yes,creeps=no,went-back=backward,went-forward=forward,coin-cell=no")
	var r bench.Report
	require.NoError(t, json.Unmarshal([]byte(out), &r))
	require.Equal(t, "m328-mains", r.Board)
	require.Contains(t, errs, "Keep fingers, paws and tongues away")
	require.Empty(t, r.Problems)
	require.Positive(t, r.Count(bench.LeftOut))
}

// An open interrupt wire is named first, with another cause behind it, and the exit code is 1.
func TestSelftestNamesAWrongWire(t *testing.T) {
	h := newHome(t, nil, nil)
	h.feeder.Board.CutInt(true)
	h.feeder.Sleep(time.Second)
	out, errs := h.run(1, "", "selftest", "--port", "desk", "--answers", "blinks=no")
	require.Empty(t, errs)
	require.Contains(t, out, "likeliest: the interrupt wire is open")
	require.Contains(t, out, "perhaps: the interrupt wire goes to another pin")
	require.Contains(t, out, "likeliest: the LED is missing")
}

// A trim at which the wheel stands is written into the plan, and every other byte stays.
func TestSelftestWritesTheTrim(t *testing.T) {
	plan, _ := planFile(t, planBefore)
	h := newHome(t, nil, func(c *board.Config) { c.Wheel.Stop -= 20 })
	h.feeder.Sleep(time.Second)
	out, errs := h.run(1, "y\nn\ny\nforward\nback\nforw\nno\nno\n", "selftest", plan, "--port", "desk", "--write")
	require.Empty(t, errs)
	require.Contains(t, out, "The wheel stands still with a trim of -24 us")
	edited, err := os.ReadFile(plan)
	require.NoError(t, err)
	require.Contains(t, string(edited), "trim   = \"-24 us\"")
	require.Equal(t, planBefore, strings.Replace(string(edited), "trim   = \"-24 us\"\n", "", 1))
}

// So is the time of a pocket, where it was counted.
func TestSelftestWritesTheTimeOfAPocket(t *testing.T) {
	plan, _ := planFile(t, planBefore)
	h := newHome(t, nil, nil)
	h.feeder.Sleep(time.Second)
	out, _ := h.run(0, "y\nn\ny\nn\nback\nforw\ny\n8.4\nno\n", "selftest", plan, "--port", "desk", "--write")
	require.Contains(t, out, "295 ms by 8.4 pockets counted, where it reckons with 310")
	edited, err := os.ReadFile(plan)
	require.NoError(t, err)
	require.Contains(t, string(edited), "turn   = \"295 ms\"")
}

// What is typed wrong is wrong usage, and no board is touched.
func TestSelftestUsage(t *testing.T) {
	h := newHome(t, nil, nil)
	for arg, want := range map[string]string{
		"--answers=blink=yes": "no question is called \"blink\"",
		"--answers=blinks=oh": "its answers are yes, no",
		"--answers=blinks":    "is wanted",
		"--format=xml":        "text, json",
		"--write":             "--write needs the PLAN",
	} {
		_, errs := h.run(2, "", "selftest", "--port", "desk", arg)
		require.Contains(t, errs, want)
	}
}

// A program that answers everything with y is asked five times, not for ever; answers count by their beginnings.
func TestSelftestAsksNoProgramForEver(t *testing.T) {
	var out bytes.Buffer
	q := bench.Question{Key: "creeps", Text: "Did it creep?", Answers: []string{"no", "forward", "backward"}}
	b := &builder{strings.NewReader(strings.Repeat("y\n", 100)), &out}
	require.Empty(t, b.Ask(q))
	require.Equal(t, asked, strings.Count(out.String(), "Did it creep?"))
	for typed, want := range map[string]string{"n\n": "no", "x\nBack\n": "backward", "\n": "", "": ""} {
		require.Equal(t, want, (&builder{strings.NewReader(typed), &out}).Ask(q), typed)
	}
}
