package main

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const planPresets = `plan = "Juniper and Moss"
zone = "Europe/Lisbon"

[wheel]
pocket = "6 g"

[[meal]]
name = "breakfast"
portion = "18 g"
at = ["07:00"]
presets = ["home", "away"]

[[meal]]
name = "supper"
portion = "12 g"
at = ["18:30"]
presets = ["home"]

[[meal]]
name = "big supper"
portion = "24 g"
at = ["19:00"]
presets = ["away"]
`

// A household goes away for two days, changes a meal from afar, and is home again without touching anything.
func TestAwayAsAnOwnerGoes(t *testing.T) {
	plan, tab := planFile(t, planPresets)
	h := newHome(t, tab, nil)
	on := func(day int) string { return h.feeder.Now().AddDate(0, 0, day).Format(time.DateOnly) }

	out, _ := h.run(0, "", "preset", "--port", "desk")
	require.Contains(t, out, "in force: home (preset 1)\n  others: away (preset 2)\n")
	_, errs := h.run(2, "", "preset", "away", "--until", on(0), "--port", "desk")
	require.Contains(t, errs, "that day has begun already by the feeder's clock")
	_, errs = h.run(2, "", "preset", "home", "--until", on(2), "--port", "desk")
	require.Contains(t, errs, "home (preset 1) is the first preset")
	_, errs = h.run(2, "", "preset", "holiday", "--port", "desk")
	require.Contains(t, errs, `"holiday" is no preset of the feeder; it has home, away`)

	out, _ = h.run(0, "", "preset", "Away", "--until", on(2), "--port", "desk", "--rehearse", "0")
	require.Contains(t, out, "bytes written, read back and put in force")
	require.Contains(t, out, "in force: away (preset 2) until")
	require.Contains(t, out, "home (preset 1) from here on")
	before, after, _ := strings.Cut(out, "from here on")
	require.Contains(t, before, "big supper")
	require.NotContains(t, after, "big supper")
	require.Contains(t, after, "supper")

	// The same again writes nothing; nor does the plan, which has no date, for the feeder's is kept.
	out, _ = h.run(0, "", "preset", "2", "--until", on(2), "--port", "desk")
	require.NotContains(t, out, "written")
	out, _ = h.run(0, "", "upload", plan, "--port", "desk", "--yes", "--rehearse", "0")
	require.Contains(t, strings.Join(strings.Fields(out), " "), "preset 2, which is in force, still ends by itself on "+on(2)+": the plan says no date, the feeder does")
	require.Contains(t, out, "desk holds this table already")
	require.NoError(t, os.WriteFile(plan, []byte(strings.Replace(planPresets, `"24 g"`, `"30 g"`, 1)), 0o644))
	h.run(0, "", "upload", plan, "--port", "desk", "--yes", "--rehearse", "0")
	out, _ = h.run(0, "", "status", "--port", "desk")
	require.Contains(t, strings.Join(strings.Fields(out), " "), "preset away (preset 2) until")
	require.Contains(t, out, "big supper")

	h.feeder.Sleep(48 * time.Hour)
	out, _ = h.run(0, "", "status", "--port", "desk")
	require.Contains(t, out, "preset   home (preset 1)\n")
	require.NotContains(t, out, "big supper")
	out, _ = h.run(0, "", "journal", "--port", "desk")
	require.Contains(t, out, "00:00 WET    preset 1 from here on")
	// A date that has passed is not brought back.
	out, _ = h.run(0, "", "upload", plan, "--port", "desk", "--yes", "--rehearse", "0")
	require.NotContains(t, out, "still ends by itself")
	require.Contains(t, strings.Join(strings.Fields(out), " "), "no preset ends by itself any more")

	out, _ = h.run(0, "", "preset", "away", "--port", "desk")
	require.Contains(t, out, "in force: away (preset 2) until somebody changes it")
	out, _ = h.run(0, "", "serve", "--portion", "10 g", "--port", "desk")
	require.Contains(t, out, "serving 12 g (2 pockets) on desk\n  10 g was asked for, and the wheel turns whole pockets of 6 g")
}
