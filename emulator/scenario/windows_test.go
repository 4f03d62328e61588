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

func minute(t *testing.T, text string) table.Minute {
	at, err := time.Parse("2006-01-02 15:04", text)
	if err != nil {
		t.Fatal(err)
	}
	return table.MinuteOf(at.Unix())
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
