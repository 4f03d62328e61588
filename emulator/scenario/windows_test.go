package scenario_test

import (
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/replay"
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
	tab.Through = 9869
	if short := scenario.Windows(tab, minute(t, "2027-01-01 00:00"), 10, false); len(short) != 1 || short[0].To != minute(t, "2027-01-09 00:00") {
		t.Errorf("a table that ends on 2027-01-08: %v", short)
	}
}

// TestFullWindowsLoseNothing: the windows of a full rehearsal serve what one long one would, whether the table serves once a
// day, at the very minute of a year's end, or every minute.
func TestFullWindowsLoseNothing(t *testing.T) {
	from := minute(t, "2026-12-31 00:00")
	for name, times := range map[string]table.Times{
		"once a day":           {List: []uint16{420}},
		"at midnight":          {List: []uint16{0}},
		"around midnight":      {List: []uint16{0, 1, 2, 3, 1437, 1438, 1439}},
		"every minute":         {Cycle: &table.Cycle{Period: 1, Hours: table.AllHours}},
		"every thousand hours": {Cycle: &table.Cycle{Period: 60_000, Hours: table.AllHours}},
	} {
		t.Run(name, func(t *testing.T) {
			tab := &table.Table{Start: 9862, Through: table.MaxDay, Zone: lisbon, Wheel: table.Wheel{PocketUnits: 1},
				Meals: []table.Meal{{Portion: 1, Parts: []table.Part{{Times: times}}}}}
			list := scenario.Windows(tab, from, 4, true)
			require.Len(t, list, 4)
			require.Equal(t, from, list[0].From)
			require.Equal(t, minute(t, "2030-12-31 00:00"), list[3].To)
			var got []table.Minute
			for i, w := range list {
				if i > 0 {
					require.Equal(t, list[i-1].To-1, w.From)
				}
				got = append(got, instants(tab, w.From+1, w.To)...)
			}
			require.Equal(t, instants(tab, from+1, list[3].To), got)
		})
	}
}

func instants(t *table.Table, from, to table.Minute) (list []table.Minute) {
	for c := replay.New(t, replay.Options{From: from, To: to, Preset: replay.AllPresets}); ; {
		s, more := c.Next()
		if !more {
			return list
		}
		list = append(list, s.At)
	}
}

// TestFullRehearsalIsTheSameOnAnyMachine: one processor and several report the same, to the cycle.
func TestFullRehearsalIsTheSameOnAnyMachine(t *testing.T) {
	r := rehearsal(t, "m328-mains", 2)
	r.Full = true
	report := func(processors int) *scenario.Report {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
		rep, err := scenario.Rehearse(r)
		require.NoError(t, err)
		return rep
	}
	several := report(2)
	require.Equal(t, report(1), several)
	if !raceEnabled {
		require.Len(t, several.Windows, 2)
		require.Equal(t, 6*(365+366-1), several.Servings) // 2027 and 2028, but for the last day
	}
}
