package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/flasher/link"
)

// What a helper needs is in a report, and nothing that names a person, a pet, a place on this computer or a feeder.
func TestReportIsWholeAndPrivate(t *testing.T) {
	plan, _ := planFile(t, planBefore)
	h := newHome(t, nil, nil)
	h.feeder.Sleep(time.Second)
	h.run(0, "y\n", "upload", plan, "--port", "desk", "--name", "Kitchen-Moss", "--yes")
	h.feeder.Board.CutInt(true)
	h.feeder.Sleep(24 * time.Hour)
	out, errs := h.run(0, "", "report", "--port", "desk")
	require.Empty(t, errs)
	for _, want := range []string{"mealtab report\n", "firmware ", "board         m328-mains", "supply        5.", "clock         ", "faults        0000: none",
		"table         ", "served, 3 pockets", "a new table came in force", "57600 baud", "zone data", "system        linux/"} {
		require.Contains(t, out, want)
	}
	home, err := os.UserHomeDir()
	require.NoError(t, err)
	host, err := os.Hostname()
	require.NoError(t, err)
	for _, private := range []string{"Juniper", "Moss", "Kitchen", "breakfast", "supper", "desk", home, filepath.Dir(plan), "Lisbon"} {
		require.NotContains(t, out, private)
	}
	require.NotRegexp(t, `\b`+host+`\b`, out)
}

// A port that does not answer is part of a report, without its name; so is that there is none.
func TestReportWithoutABoard(t *testing.T) {
	h := newHome(t, nil, nil)
	h.feeder.Crossed = true
	h.boards = map[string]link.Transport{"/dev/ttyMoss7": h.feeder}
	out, _ := h.run(0, "", "report", "--port", "/dev/ttyMoss7")
	require.Contains(t, out, "nothing answers")
	require.NotContains(t, out, "Moss")
	out, _ = h.run(0, "", "report", "--no-board")
	require.NotContains(t, out, "Feeder")
	h.run(2, "", "report", "--no-board", "--port", "desk")
}

// It is shown before it is written, and written only then; over another file never.
func TestReportIsShownBeforeItIsWritten(t *testing.T) {
	h := newHome(t, nil, nil)
	h.feeder.Sleep(time.Second)
	file := filepath.Join(t.TempDir(), "report.txt")
	out, _ := h.run(1, "n\n", "report", "--port", "desk", "-o", file)
	require.Contains(t, out, "board         m328-mains")
	require.NoFileExists(t, file)
	out, _ = h.run(0, "y\n", "report", "--port", "desk", "-o", file)
	written, err := os.ReadFile(file)
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(out, string(written)))
	h.run(0, "y\n", "report", "--port", "desk", "-o", file)
	require.NoError(t, os.WriteFile(file, []byte("a letter"), 0o644))
	h.run(1, "y\n", "report", "--port", "desk", "-o", file)
}
