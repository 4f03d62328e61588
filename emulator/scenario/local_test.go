package scenario_test

import (
	"testing"
	"time"

	"mealtab/compiler/table"
	"mealtab/emulator/scenario"
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
		l := scenario.NewLocal(&c.zone)
		start := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
		for at := start; at.Year() < 2031; at = at.Add(3 * time.Hour) {
			_, want := at.In(where).Zone()
			if got := l.Offset(table.Minute((at.Unix() - table.Epoch) / 60)); int(got)*60 != want {
				t.Fatalf("%s at %v: %d min, want %d s", c.name, at, got, want)
			}
		}
	}
}

// TestResolve: a local time in the gap at the offset before it, one that comes twice the first time (RFC 5545 section
// 3.3.5).
func TestResolve(t *testing.T) {
	l := scenario.NewLocal(&lisbon)
	for _, c := range []struct{ local, utc string }{
		{"2027-03-28 00:59", "2027-03-28 00:59"},
		{"2027-03-28 01:30", "2027-03-28 01:30"},
		{"2027-03-28 02:00", "2027-03-28 01:00"},
		{"2027-06-01 07:00", "2027-06-01 06:00"},
		{"2027-10-31 01:30", "2027-10-31 00:30"},
		{"2027-10-31 02:00", "2027-10-31 02:00"},
	} {
		if got := l.Resolve(minute(t, c.local)); got != minute(t, c.utc) {
			t.Errorf("%s is minute %d, want %d", c.local, got, minute(t, c.utc))
		}
	}
}

func minute(t *testing.T, text string) table.Minute {
	at, err := time.Parse("2006-01-02 15:04", text)
	if err != nil {
		t.Fatal(err)
	}
	return table.Minute((at.Unix() - table.Epoch) / 60)
}

// TestWindows: the first year whole; then a day before and a day after every odd one, no two windows touching.
func TestWindows(t *testing.T) {
	tab := &table.Table{Start: 9862, Through: table.MaxDay, Zone: lisbon}
	list := scenario.Windows(tab, minute(t, "2027-01-01 00:00"), 10, false)
	if want := (scenario.Window{From: minute(t, "2027-01-01 00:00"), To: minute(t, "2028-01-01 00:00")}); list[0] != want {
		t.Errorf("first window %v, want %v", list[0], want)
	}
	inside := func(text string) bool {
		m := minute(t, text)
		for _, w := range list {
			if w.From <= m && m < w.To {
				return true
			}
		}
		return false
	}
	for _, odd := range []string{"2028-02-29 12:00", "2032-02-28 12:00", "2032-03-01 12:00", "2030-03-31 01:00", "2031-10-26 01:00", "2035-12-31 23:59", "2036-07-31 00:00"} {
		if !inside(odd) {
			t.Errorf("%s is left out", odd)
		}
	}
	for _, plain := range []string{"2028-02-15 12:00", "2033-06-10 07:00"} {
		if inside(plain) {
			t.Errorf("%s is not left out", plain)
		}
	}
	for i := 1; i < len(list); i++ {
		if list[i].From < list[i-1].To || list[i].From >= list[i].To {
			t.Errorf("window %v follows %v", list[i], list[i-1])
		}
	}
	if full := scenario.Windows(tab, minute(t, "2027-01-01 00:00"), 10, true); len(full) != 1 || full[0].To != minute(t, "2037-01-01 00:00") {
		t.Errorf("in full: %v", full)
	}
	tab.Through = 9869
	if short := scenario.Windows(tab, minute(t, "2027-01-01 00:00"), 10, false); len(short) != 1 || short[0].To != minute(t, "2027-01-09 00:00") {
		t.Errorf("a table that ends on 2027-01-08: %v", short)
	}
}
