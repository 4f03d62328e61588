package scenario_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/emulator/scenario"
)

// sixMeals is six meals a day in Lisbon, of 12 g in pockets of 6.2 g.
func sixMeals(t testing.TB, b *profile.Profile) []byte {
	t.Helper()
	day := table.Times{List: []uint16{360, 540, 720, 900, 1080, 1260}}
	encoded, err := table.Encode(&table.Table{
		Board: b.Code, Start: 9862, Through: table.MaxDay, Late: table.DefaultLate,
		Zone: table.Zone{DST: &table.DST{Shift: 4,
			Start: table.Transition{Month: 3, Week: 5, Weekday: 6, Minutes: 60}, End: table.Transition{Month: 10, Week: 5, Weekday: 6, Minutes: 120}}},
		Wheel:  table.Wheel{PocketUnits: 31, UnitMg: 200, TurnMillis: 310},
		Button: table.Button{Portion: 31, PerHour: 2},
		Meals:  []table.Meal{{Portion: 60, Parts: []table.Part{{Times: day}}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return encoded
}

func rehearsal(t testing.TB, name string, years int) scenario.Rehearsal {
	b, img := boardNamed(t, name)
	until := table.Minute(0)
	if raceEnabled {
		until = (9862 + 100) * table.MinutesPerDay // in April: a clock change and three ends of months
	}
	return scenario.Rehearsal{Until: until, Table: sixMeals(t, b), Firmware: img, Board: b, From: 9861 * table.MinutesPerDay, Years: years}
}

// TestRehearsal: every board's firmware serves what the replay says, for a year and around the odd days of nine; under the
// race detector for a hundred days.
func TestRehearsal(t *testing.T) {
	for _, name := range []string{"m328-mains", "m328-cells", "m168-mains"} {
		t.Run(name, func(t *testing.T) {
			r, err := scenario.Rehearse(rehearsal(t, name, 10))
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("%d servings, %d pockets, at most %v late, stack %d bytes, %v awake in %v", r.Servings, r.Pockets, r.WorstLate, r.StackBytes, r.Awake.Round(time.Second), r.Emulated)
			if len(r.Violations) > 0 {
				t.Errorf("%d rules broken, first: %s", len(r.Violations), r.Violations[0])
			}
			want := 6 * 364
			if raceEnabled {
				want = 6 * 99
			}
			if r.Servings < want {
				t.Errorf("%d servings, want at least %d", r.Servings, want)
			}
		})
	}
}

// TestRehearsalSeesADifference: a firmware that carries another table than the one replayed is caught at the first serving
// that differs, with the log around it.
func TestRehearsalSeesADifference(t *testing.T) {
	r := rehearsal(t, "m328-mains", 1)
	tab, err := table.Decode(r.Table)
	if err != nil {
		t.Fatal(err)
	}
	tab.Meals[0].Parts[0].Times.List[2] = 735 // noon becomes 12:15
	r.Installed, err = table.Encode(tab)
	if err != nil {
		t.Fatal(err)
	}
	_, err = scenario.Rehearse(r)
	var d *scenario.Difference
	if !errors.As(err, &d) {
		t.Fatalf("error %v, want a difference", err)
	}
	if !strings.Contains(d.Expected, "2 pockets at 2027-01-01 12:00") || !strings.Contains(d.Happened, "12:15") || len(d.Log) == 0 {
		t.Errorf("the difference says\n%v", d)
	}
}
