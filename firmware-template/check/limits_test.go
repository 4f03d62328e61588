package check

import (
	"fmt"
	"testing"

	"mealtab/compiler/profile"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/table/tablegen"
	"mealtab/emulator/avr"
	"mealtab/emulator/scenario"
	"mealtab/firmware-template/image"
)

// Lists of times about each change in how their number is written: a byte up to 127, two from 128.
func TestLongLists(t *testing.T) {
	p := start(t, "engine")
	for _, n := range []int{1, 2, 3, 4, 5, 126, 127, 128, 129, 140, 254, 255} {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			tab := manyParts(table.Times{List: tablegen.Irregular(n)}, 1)
			first := table.Minute(tab.Start) * table.MinutesPerDay
			s := span{after: first - 1, limit: first + 4*table.MinutesPerDay, preset: replay.AllPresets, slice: 1560, most: 1 << 20, adjust: 10}
			if got := compare(t, p, tab, s); got < 3*n {
				t.Errorf("%d servings in four days", got)
			}
		})
	}
}

// A table at each limit of the format: the C engine gives the servings of the replay over eighty days, and the firmware on the emulated board turns
// the wheel as often over the first two.
func TestLimitsOfTheFormat(t *testing.T) {
	p := start(t, "engine")
	hex, _ := image.Hex("m328-mains")
	firmware, err := avr.ReadImage(hex)
	if err != nil {
		t.Fatal(err)
	}
	servings, turned := 0, 0
	limits := tablegen.Limits()
	for _, l := range limits {
		t.Run(l.Name, func(t *testing.T) {
			// Two days before its first date nothing is served by any table.
			from := table.Minute(max(l.Table.Start, 9831)-2) * table.MinutesPerDay
			s := span{after: from, limit: from + 80*table.MinutesPerDay, preset: replay.AllPresets, slice: 1560, most: 2000, adjust: 10}
			servings += compare(t, p, l.Table, s)
			if l.Table.Start < 9831 {
				from += 7
			}
			w := l.Table.Wheel
			switch {
			case l.Table.Start == table.MaxDay: // the clock chip's calendar ends
			case l.Table.Meals == nil: // nothing to compare
			case l.Table.Meals[0].Portion > 8*w.PocketUnits: // a serving of minutes
			case w.TurnMillis != 0 || w.TrimMicros != 0: // the emulated wheel is another
			default:
				turned += rehearsed(t, l.Table, firmware, from)
			}
		})
	}
	t.Logf("%d limits, %d servings by the engine, %d on the board", len(limits), servings, turned)
}

// rehearsed runs a table on the emulated board for five days and says how many servings it gave, which are the replay's.
func rehearsed(t *testing.T, tab *table.Table, firmware *avr.Image, from table.Minute) int {
	t.Helper()
	p, _ := profile.Named("m328-mains")
	encoded, err := table.Encode(tab)
	if err != nil {
		t.Fatal(err)
	}
	r, err := scenario.Rehearse(scenario.Rehearsal{
		Table: encoded, Firmware: firmware, Board: p, From: from, Until: from + 5*table.MinutesPerDay, Years: 1, Full: true,
	})
	if err != nil {
		t.Fatalf("%v\n%x", err, encoded)
	}
	return r.Servings
}
