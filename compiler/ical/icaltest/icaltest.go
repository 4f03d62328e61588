// Package icaltest asks libical, an independent implementation of RFC 5545, what an iCalendar text says. It is for
// tests only and needs gcc and libical's development files (Debian: gcc, libical-dev).
package icaltest

import (
	_ "embed"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

//go:embed testdata/list.c
var source []byte

// Event is a VEVENT with its instances.
type Event struct {
	Summary string
	Starts  []int64 // Unix seconds, in the order libical gives them
}

// Lister is the compiled program.
type Lister struct{ binary string }

// New compiles the program; the test fails where that is not possible.
func New(t testing.TB) Lister {
	t.Helper()
	dir := t.TempDir()
	c := filepath.Join(dir, "list.c")
	if err := os.WriteFile(c, source, 0o644); err != nil {
		t.Fatal(err)
	}
	l := Lister{filepath.Join(dir, "list")}
	if out, err := exec.Command("gcc", "-O1", "-Wall", "-o", l.binary, c, "-lical").CombinedOutput(); err != nil {
		t.Fatalf("gcc with -lical (Debian: gcc, libical-dev): %v\n%s", err, out)
	}
	return l
}

// List parses ics and returns the events with their instances in [from, to), and the faults that libical sees.
func (l Lister) List(t testing.TB, ics string, from, to time.Time) (events []Event, faults []string) {
	t.Helper()
	cmd := exec.Command(l.binary, strconv.FormatInt(from.Unix(), 10), strconv.FormatInt(to.Unix(), 10))
	cmd.Stdin = strings.NewReader(ics)
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("libical: %v", err)
	}
	for _, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
		kind, rest, _ := strings.Cut(line, "\t")
		switch kind {
		case "error":
			faults = append(faults, rest)
		case "event":
			events = append(events, Event{Summary: rest})
		case "start":
			n, err := strconv.ParseInt(rest, 10, 64)
			if err != nil || len(events) == 0 {
				t.Fatalf("unexpected line %q", line)
			}
			last := &events[len(events)-1]
			last.Starts = append(last.Starts, n)
		}
	}
	return events, faults
}
