package replay_test

import (
	"testing"
	"time"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
)

// lisbon is the rule of Europe/Lisbon: last Sundays of March and October at 01:00 UTC.
var lisbon = table.Zone{DST: &table.DST{Shift: 4,
	Start: table.Transition{Month: 3, Week: 5, Weekday: 6, Minutes: 60}, End: table.Transition{Month: 10, Week: 5, Weekday: 6, Minutes: 120}}}

// TestOffsets compares with Go's time package on the IANA data, every three hours of four years.
func TestOffsets(t *testing.T) {
	for _, c := range []struct {
		name string
		zone table.Zone
	}{
		{"Europe/Lisbon", lisbon},
		{"Australia/Lord_Howe", table.Zone{Standard: 42, DST: &table.DST{Shift: 2,
			Start: table.Transition{Month: 10, Week: 1, Weekday: 6, Minutes: 120}, End: table.Transition{Month: 4, Week: 1, Weekday: 6, Minutes: 120}}}},
		{"Asia/Kathmandu", table.Zone{Standard: 23}},
	} {
		where, err := time.LoadLocation(c.name)
		if err != nil {
			t.Fatal(err)
		}
		l := replay.NewClock(&c.zone)
		start := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
		for at := start; at.Year() < 2031; at = at.Add(3 * time.Hour) {
			_, want := at.In(where).Zone()
			if got := l.Offset(table.MinuteOf(at.Unix())); int(got)*60 != want {
				t.Fatalf("%s at %v: %d min, want %d s", c.name, at, got, want)
			}
		}
	}
}

// TestResolve: a local time in the gap at the offset before it, one that comes twice the first time (RFC 5545 section
// 3.3.5).
func TestResolve(t *testing.T) {
	l := replay.NewClock(&lisbon)
	for _, c := range []struct{ local, utc string }{
		{"2027-03-28 00:59", "2027-03-28 00:59"},
		{"2027-03-28 01:30", "2027-03-28 01:30"},
		{"2027-03-28 02:00", "2027-03-28 01:00"},
		{"2027-06-01 07:00", "2027-06-01 06:00"},
		{"2027-10-31 01:30", "2027-10-31 00:30"},
		{"2027-10-31 02:00", "2027-10-31 02:00"},
	} {
		if got, _ := l.Resolve(minute(t, c.local)); got != minute(t, c.utc) {
			t.Errorf("%s is minute %d, want %d", c.local, got, minute(t, c.utc))
		}
	}
}

func minute(t *testing.T, text string) table.Minute {
	at, err := time.Parse("2006-01-02 15:04", text)
	if err != nil {
		t.Fatal(err)
	}
	return table.MinuteOf(at.Unix())
}
