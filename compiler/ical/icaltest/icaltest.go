// Package icaltest asks libical, an independent implementation of RFC 5545, what an iCalendar text says. It is for
// tests only and needs gcc and libical's development files (Debian: gcc, libical-dev).
package icaltest

import (
	_ "embed"
	"errors"
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
	Of      []int64 // of an event with RECURRENCE-ID the instance it stands for
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
		case "start", "of":
			n, err := strconv.ParseInt(rest, 10, 64)
			if err != nil || len(events) == 0 {
				t.Fatalf("unexpected line %q", line)
			}
			last := &events[len(events)-1]
			if kind == "of" {
				last.Of = append(last.Of, n)
			} else {
				last.Starts = append(last.Starts, n)
			}
		}
	}
	return events, faults
}

//go:embed testdata/list.py
var script string

// ListByDateutil asks python3-dateutil for the instances of the events of one UID in [from, to), overrides applied. Local times are in
// the IANA zone. The error is what dateutil says of rules that it does not take.
func ListByDateutil(t testing.TB, ics, zone string, from, to time.Time) (starts []int64, err error) {
	t.Helper()
	cmd := exec.Command("python3", "-c", script, zone, strconv.FormatInt(from.Unix(), 10), strconv.FormatInt(to.Unix(), 10))
	cmd.Stdin = strings.NewReader(ics)
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("python3 with dateutil (Debian: python3-dateutil): %v", err)
	}
	for _, line := range strings.Fields(string(out)) {
		n, err := strconv.ParseInt(line, 10, 64)
		if err != nil {
			return nil, errors.New(string(out))
		}
		starts = append(starts, n)
	}
	return starts, nil
}
