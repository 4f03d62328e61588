package check

import (
	"testing"
	"time"

	"mealtab/compiler/lower"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// Every zone of the data, around each of its transitions to the end of 2099: a meal every half hour, from six hours before to six
// hours after. Zones that encode to the same bytes are one.
func TestZones(t *testing.T) {
	db := zone.Embedded()
	first := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	last := time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)
	p := start(t, "engine")
	seen := map[string]bool{}
	transitions, servings := 0, 0
	for _, name := range db.Names() {
		z, err := db.Load(name)
		if err != nil {
			t.Fatal(err)
		}
		tz, err := lower.ZoneTable(z, first.Unix(), last.Unix())
		if err != nil {
			t.Fatal(err)
		}
		tab := halfHours(tz, first)
		encoded, err := table.Encode(tab)
		if err != nil {
			t.Fatal(err)
		}
		if seen[string(encoded)] {
			continue
		}
		seen[string(encoded)] = true
		for _, tr := range z.Transitions(first.Unix(), last.Unix()) {
			at := table.MinuteOf(tr.At)
			s := span{after: at - 360, limit: at + 360, preset: replay.AllPresets, slice: 1000, most: 1000, adjust: 10}
			servings += compare(t, p, tab, s)
			transitions++
		}
	}
	t.Logf("%d different zones of %d names, %d transitions, %d servings", len(seen), len(db.Names()), transitions, servings)
	if transitions < 1000 {
		t.Errorf("only %d transitions", transitions)
	}
}

func halfHours(z table.Zone, first time.Time) *table.Table {
	return &table.Table{
		Start:   table.Day((first.Unix() - table.Epoch) / 86400),
		Through: table.MaxDay,
		Zone:    z,
		Late:    table.DefaultLate,
		Wheel:   table.Wheel{PocketUnits: 1},
		Button:  table.DefaultButton(table.Wheel{PocketUnits: 1}),
		Meals: []table.Meal{{Portion: 1, Parts: []table.Part{{Times: table.Times{
			Cycle: &table.Cycle{Period: 30, Phase: 15, Hours: table.AllHours},
		}}}}},
	}
}
