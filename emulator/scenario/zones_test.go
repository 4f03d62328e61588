package scenario_test

import (
	"fmt"
	"os"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"mealtab/compiler/lower"
	"mealtab/compiler/profile"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
	"mealtab/emulator/avr"
	"mealtab/emulator/scenario"
)

// changing is a zone whose offset changes in a year, with the instants.
type changing struct {
	zone *zone.Zone
	at   []table.Minute
}

// changingZones returns the canonical zones of the embedded data, release 2026f, that change their offset in 2027.
func changingZones(t testing.TB) []changing {
	t.Helper()
	names, err := os.ReadFile("../../testdata/zone/canonical.txt")
	if err != nil {
		t.Fatal(err)
	}
	from, to := unixOf(2027), unixOf(2028)
	var list []changing
	for line := range strings.Lines(string(names)) {
		z, err := zone.Embedded().Load(strings.TrimSpace(line))
		if err != nil {
			t.Fatal(err)
		}
		c := changing{zone: z}
		for _, change := range z.Transitions(from, to) {
			if z.At(change.At-1).Seconds != change.After.Seconds { // else only the abbreviation changes
				c.at = append(c.at, table.MinuteOf(change.At))
			}
		}
		if len(c.at) > 0 {
			list = append(list, c)
		}
	}
	if len(list) < 100 {
		t.Fatalf("only %d zones change their offset in 2027", len(list))
	}
	return list
}

func unixOf(year int) int64 { return time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC).Unix() }

// nightMeals has three meals in the hours in which clocks change, and two by day.
func nightMeals(z *zone.Zone, b *profile.Profile) ([]byte, error) {
	local, err := lower.ZoneTable(z, unixOf(2027)-86400, unixOf(2028)+86400)
	if err != nil {
		return nil, err
	}
	return table.Encode(&table.Table{
		Board: b.Code, Start: 9862, Through: table.MaxDay, Late: table.DefaultLate, Zone: local,
		Wheel: table.Wheel{PocketUnits: 31, UnitMg: 200, TurnMillis: 310},
		Meals: []table.Meal{{Portion: 31, Parts: []table.Part{{Times: table.Times{List: []uint16{30, 90, 150, 420, 1080}}}}}},
	})
}

// inZone rehearses those meals on the firmware from one minute to another, and compares the number of servings too.
func inZone(z *zone.Zone, b *profile.Profile, img *avr.Image, from, to table.Minute) (servings int, err error) {
	encoded, err := nightMeals(z, b)
	if err != nil {
		return 0, err
	}
	rep, err := scenario.Rehearse(scenario.Rehearsal{Table: encoded, Firmware: img, Board: b, From: from, Years: 1, Until: to})
	if err != nil {
		return 0, fmt.Errorf("%s: %w", z.Name(), err)
	}
	t, err := table.Decode(encoded)
	if err != nil {
		return 0, err
	}
	planned := 0
	for c := replay.New(t, replay.Options{From: from + 1, To: to, Preset: replay.AllPresets}); ; planned++ {
		if _, more := c.Next(); !more {
			break
		}
	}
	if rep.Servings != planned {
		return 0, fmt.Errorf("%s: %d servings, the replay has %d", z.Name(), rep.Servings, planned)
	}
	return planned, nil
}

// allZones runs each zone, as many at a time as there are processors, and returns the sum.
func allZones(t testing.TB, zones []changing, run func(c changing) (int, error)) (servings int) {
	t.Helper()
	var next, sum atomic.Int64
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(zones); i = int(next.Add(1)) - 1 {
				n, err := run(zones[i])
				if err != nil {
					t.Error(err)
				}
				sum.Add(int64(n))
			}
		})
	}
	wait.Wait()
	return int(sum.Load())
}

// TestEveryZoneAroundItsChanges: in every canonical zone the firmware serves what the replay says, from a day before to
// two days after each change of the clocks in a year; under the race detector in every twelfth zone.
func TestEveryZoneAroundItsChanges(t *testing.T) {
	b, img := mains(t)
	zones := changingZones(t)
	if raceEnabled {
		few := zones[:0]
		for i := 0; i < len(zones); i += 12 {
			few = append(few, zones[i])
		}
		zones = few
	}
	var changes atomic.Int64
	servings := allZones(t, zones, func(c changing) (sum int, err error) {
		for _, at := range c.at {
			const off = 13 // minutes: no meal is at either end
			n, err := inZone(c.zone, b, img, at-table.MinutesPerDay-off, at+2*table.MinutesPerDay+off)
			if err != nil {
				return sum, err
			}
			changes.Add(1)
			sum += n
		}
		return sum, nil
	})
	t.Logf("%d zones, %d changes, %d servings, no difference", len(zones), changes.Load(), servings)
	if servings < 14*int(changes.Load()) {
		t.Errorf("%d servings in three days around each of %d changes", servings, changes.Load())
	}
}

// BenchmarkEveryZone is a whole year in all those zones; a difference fails it.
func BenchmarkEveryZone(b *testing.B) {
	profile, img := mains(b)
	zones := changingZones(b)
	servings := 0
	for b.Loop() {
		servings = allZones(b, zones, func(c changing) (int, error) {
			return inZone(c.zone, profile, img, 9861*table.MinutesPerDay+13, 10226*table.MinutesPerDay+13)
		})
	}
	b.ReportMetric(float64(len(zones)), "zones")
	b.ReportMetric(float64(servings), "servings")
}
