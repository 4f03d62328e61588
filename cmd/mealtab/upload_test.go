//go:build !race

// These tests talk in real time to emulated feeders in processes of their own, which the race detector makes ten times as slow: the
// deep step of the check runs them without it.

package main

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"
)

// command is mealtab as another process: the test's own binary is mealtab when it is called so (TestMain).
func command(t testing.TB, args ...string) *exec.Cmd {
	t.Helper()
	exe, err := os.Executable()
	require.NoError(t, err)
	return &exec.Cmd{Path: exe, Args: append([]string{"mealtab"}, args...), Env: append(os.Environ(), "TZ=Europe/Lisbon")}
}

// emulated starts an emulated feeder in a process of its own and returns its port. type sends it a line.
func emulated(t testing.TB, args ...string) (port string, typed func(string)) {
	t.Helper()
	cmd := command(t, append([]string{"board"}, args...)...)
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	cmd.Stderr = os.Stderr
	require.NoError(t, cmd.Start())
	lines := bufio.NewReader(out)
	first, err := lines.ReadString('\n')
	require.NoError(t, err)
	go func() { _, _ = io.Copy(io.Discard, lines) }()
	t.Cleanup(func() {
		_, _ = io.WriteString(in, "quit\n")
		in.Close()
		_ = cmd.Wait()
	})
	_, port, found := strings.Cut(strings.TrimSpace(first), "the feeder is at ")
	require.True(t, found, first)
	return port, func(line string) {
		_, err := io.WriteString(in, line+"\n")
		require.NoError(t, err)
	}
}

// mealtab runs a command to its end and wants an exit code.
func mealtab(t testing.TB, code int, input string, args ...string) (stdout, stderr string) {
	t.Helper()
	return finish(t, code, input, command(t, args...))
}

func finish(t testing.TB, code int, input string, cmd *exec.Cmd) (stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = strings.NewReader(input), &out, &errs
	err := cmd.Run()
	got := 0
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		got = exit.ExitCode()
	} else {
		require.NoError(t, err)
	}
	require.Equal(t, code, got, "%v\n%s\n%s", cmd.Args, &out, &errs)
	return out.String(), errs.String()
}

// files writes both plans.
func files(t *testing.T) (before, after string) {
	t.Helper()
	dir := t.TempDir()
	before, after = filepath.Join(dir, "before.toml"), filepath.Join(dir, "after.toml")
	require.NoError(t, os.WriteFile(before, []byte(planBefore), 0o644))
	require.NoError(t, os.WriteFile(after, []byte(planAfter), 0o644))
	return before, after
}

// America/Vancouver keeps UTC-7 in release 2026f of the time zone data, but not in 2025c: a table compiled with the old
// ones is told from when on, and by how much, it is wrong.
func TestStatusKnowsNewerZoneData(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	plan, tab := filepath.Join(dir, "plan.toml"), filepath.Join(dir, "old.table")
	require.NoError(t, os.WriteFile(plan, []byte(strings.ReplaceAll(planBefore, "Europe/Lisbon", "America/Vancouver")), 0o644))
	old, err := filepath.Abs(filepath.Join("..", "..", "testdata", "zone", "2025c"))
	require.NoError(t, err)
	mealtab(t, 0, "", "compile", plan, "--zoneinfo", old, "-o", tab)
	port, _ := emulated(t, tab, "--start", "2026-10-01T12:00")
	out, _ := mealtab(t, 0, "", "status", "--port", port, "--zone", "America/Vancouver", "--now", "2026-10-01T12:00")
	flat := strings.Join(strings.Fields(out), " ")
	require.Contains(t, flat, "zone from 2026-11-01 09:00 UTC on the table has UTC-8, but America/Vancouver has UTC-7 by time zone data")
	require.Contains(t, flat, "meals will be 60 min too late; compile and upload the plan again")

	const now = "2026-10-01T12:00"
	_, errs := mealtab(t, 1, "", "upload", tab, "--port", port, "--rehearse", "0", "--yes", "--now", now, "--zone", "America/Vancouver")
	require.Regexp(t, regexp.MustCompile(`the table was made with other time zone data: from 2026-11-01 09:00 UTC on it has UTC-8, but America/Vancouver has UTC-7 by those at hand \(\w+\); `+
		`compile the plan again \(nothing was written`), errs)
	out, _ = mealtab(t, 0, "", "upload", tab, "--port", port, "--rehearse", "0", "--yes", "--now", now, "--any-zone", "--zone", "America/Vancouver")
	require.Contains(t, out, "holds this table already")

	// The old data of Morocco are no zone's any more, so that no name is needed.
	require.NoError(t, os.WriteFile(plan, []byte(strings.ReplaceAll(planBefore, "Europe/Lisbon", "Africa/Casablanca")), 0o644))
	mealtab(t, 0, "", "compile", plan, "--zoneinfo", old, "-o", tab)
	_, errs = mealtab(t, 1, "", "upload", tab, "--port", port, "--rehearse", "0", "--yes", "--now", now)
	require.Contains(t, errs, "the table was made with other time zone data: from ")
}

// No, and no answer at all, leave the feeder as it is.
func TestUploadNotWanted(t *testing.T) {
	t.Parallel()
	before, after := files(t)
	port, _ := emulated(t, before)
	for _, answer := range []string{"n\n", "\n", ""} {
		_, errs := mealtab(t, 1, answer, "upload", after, "--port", port, "--rehearse", "0")
		require.Contains(t, errs, "nothing was written")
	}
	out, _ := mealtab(t, 0, "", "status", "--port", port)
	require.Contains(t, out, "number 0 in bank 0; 2 meals")
}

// A feeder without a table, one that is another board, and a port that is not there: each is reported on its own, and none holds up the others.
func TestSeveralFeeders(t *testing.T) {
	t.Parallel()
	before, after := files(t)
	empty, _ := emulated(t)
	cells, _ := emulated(t, "--board", "m328-cells")
	full, _ := emulated(t, before)
	out, errs := mealtab(t, 1, "", "upload", after, "--rehearse", "0", "--yes", "--port", empty, "--port", cells, "--port", "/dev/ttyNONE0", "--port", full)
	require.Contains(t, errs, "ttyNONE0: there is no such port")
	require.Contains(t, errs, "the table is for m328-mains, the board on "+cells+" is m328-cells (nothing was written)")
	require.Contains(t, out, "the feeder has no table yet")
	require.Equal(t, 2, strings.Count(out, "read back and put in force"))
	require.Equal(t, 2, strings.Count(out, "Next servings, as the feeder itself computes them"))
	require.Equal(t, 2, strings.Count(out, "WE")/shownOwn)
}

func TestSilentFeeder(t *testing.T) {
	t.Parallel()
	near, far, err := pty.Open()
	require.NoError(t, err)
	defer near.Close()
	defer far.Close()
	_, errs := mealtab(t, 1, "", "status", "--port", far.Name())
	require.Contains(t, errs, far.Name()+" opens but nothing answers in 5 s: a feeder whose wheel turns answers when it stands again, so try once more; else it is the wrong port, has no supply or no firmware yet, or RX and TX are swapped")
}

// A change of plan, ten years rehearsed, from the start of the command to the commit (the requirement is under 2 s) and to its end, with the clock
// set and the feeder's own answer: setting a clock that shows whole seconds and looking at it again takes one to two of them.
func BenchmarkPlanChange(b *testing.B) {
	dir := b.TempDir()
	names := [2]string{filepath.Join(dir, "before.toml"), filepath.Join(dir, "after.toml")}
	require.NoError(b, os.WriteFile(names[0], []byte(planBefore), 0o644))
	require.NoError(b, os.WriteFile(names[1], []byte(planAfter), 0o644))
	port, _ := emulated(b, names[0])
	committed, rounds := time.Duration(0), 0
	for ; b.Loop(); rounds++ {
		committed += untilCommitted(b, command(b, "upload", names[(rounds+1)%2], "--port", port, "--yes"))
	}
	b.ReportMetric(committed.Seconds()/float64(rounds), "s/commit")
}

// untilCommitted runs an upload to its end and returns how long it took to put the table in force.
func untilCommitted(t testing.TB, cmd *exec.Cmd) (took time.Duration) {
	t.Helper()
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	began := time.Now()
	require.NoError(t, cmd.Start())
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if strings.Contains(lines.Text(), "put in force") {
			took = time.Since(began)
		}
	}
	require.NoError(t, cmd.Wait())
	require.NotZero(t, took)
	return took
}
