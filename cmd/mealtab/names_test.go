package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/report/history"
)

// Meals are called by the names of the plan: on the computer that put it on the feeder at once, on another by --plan, and by numbers where
// nobody knows them. A plan that makes another table names nothing. The names that the journal gives are those of the table in force: what was
// served before it came has none.
func TestStatusAndJournalUseThePlansNames(t *testing.T) {
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	before, tab := planFile(t, planBefore)
	after := filepath.Join(t.TempDir(), "after.toml")
	require.NoError(t, os.WriteFile(after, []byte(planAfter), 0o644))
	h := newHome(t, tab, nil)
	h.feeder.Sleep(24 * time.Hour)
	out, _ := h.run(0, "", "journal", "--port", "desk")
	require.Contains(t, out, "18:30 WET    supper: served, 3 pockets\n")
	require.Contains(t, out, "07:00 WET    breakfast: served, 3 pockets\n")

	t.Setenv("XDG_CACHE_HOME", t.TempDir()) // another computer
	out, _ = h.run(0, "", "status", "--port", "desk")
	require.Contains(t, out, "meal 1 ")
	require.NotContains(t, out, "breakfast")
	out, _ = h.run(0, "", "journal", "--port", "desk")
	require.Contains(t, out, "18:30 UTC    served, 3 pockets\n")
	_, errs := h.run(1, "", "status", "--port", "desk", "--plan", after)
	require.Contains(t, flat(errs), "that plan makes another table than the one on the feeder")
	out, _ = h.run(0, "", "status", "--port", "desk", "--plan", before)
	require.Contains(t, out, "  plan     Juniper and Moss\n")
	require.Contains(t, out, "supper ")
	out, _ = h.run(0, "", "status", "--port", "desk")
	require.Contains(t, out, "breakfast ", "known from now on")

	h.run(0, "", "upload", after, "--port", "desk", "--yes", "--rehearse", "0")
	h.feeder.Sleep(24 * time.Hour)
	out, _ = h.run(0, "", "journal", "--port", "desk", "--plan", after)
	require.Contains(t, out, "18:30 WET    served, 3 pockets\n", "by the table before")
	require.Contains(t, out, "19:00 WET    supper: served, 3 pockets\n")
	require.Contains(t, out, "23:00 WET    night: served, 1 pocket\n")
	out, _ = h.run(0, "", "journal", "--port", "desk", "--format", "json")
	named := 0
	for line := range strings.Lines(out) {
		var e history.Entry
		require.NoError(t, json.Unmarshal([]byte(line), &e))
		if len(e.Meals) > 0 {
			named++
			require.Equal(t, "served", e.Event)
		}
	}
	require.Equal(t, 3, named)
}
