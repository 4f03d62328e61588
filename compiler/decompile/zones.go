package decompile

import (
	"cmp"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"time"

	"mealtab/compiler/lower"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// zone finds the zone whose data give the table's, and notes what is not sure about it.
func (r *Result) zone(t *table.Table, db *zone.Database, prefer []string) (*zone.Zone, error) {
	r.Zones = Zones(t, db, prefer)
	if len(r.Zones) > 0 {
		if len(r.Zones) > 1 && !slices.Contains(prefer, r.Zones[0]) {
			r.Notes = append(r.Notes, fmt.Sprintf("the table does not name its zone: %s and %d others have the same clock; choose yours", r.Zones[0], len(r.Zones)-1))
		}
		return db.Load(r.Zones[0])
	}
	name, at, ok := Nearest(t, db, prefer)
	if !ok {
		return nil, errors.New("no zone of the time zone data keeps the clock that the table keeps, not even today")
	}
	r.unlike = true
	r.Notes = append(r.Notes, fmt.Sprintf("no zone of time zone data %s is the table's: the nearest is %s, which differs from %s on", db.Version(), name, at.Format("2006-01-02 15:04 UTC")))
	return db.Load(name)
}

// Zones lists the zones that compile to exactly the table's, the preferred ones first, then the names of places before others.
func Zones(t *table.Table, db *zone.Database, prefer []string) []string {
	var list []string
	want := t.Zone
	want.GapOmit = false
	from, to := window(t)
	first := secondsAt(replay.NewClock(&t.Zone), from)
	for _, name := range db.Names() {
		z, err := db.Load(name)
		if err != nil || z.At(from).Seconds != first {
			continue
		}
		if got, err := lower.ZoneTable(z, from, to); err == nil && reflect.DeepEqual(got, want) {
			list = append(list, name)
		}
	}
	slices.SortStableFunc(list, func(a, b string) int { return cmp.Compare(rank(a, prefer), rank(b, prefer)) })
	return list
}

// window is the time for which a table's zone is right, in Unix seconds.
func window(t *table.Table) (from, to int64) {
	const day = 86400
	return max(table.Epoch+int64(t.Start)*day-day, table.Epoch), table.Epoch + (int64(t.Through)+2)*day
}

// rank orders names: what was asked for, then the world's regions, then old names and abbreviations.
func rank(name string, prefer []string) int {
	if i := slices.Index(prefer, name); i >= 0 {
		return i - len(prefer)
	}
	for i, region := range []string{"Europe/", "America/", "Asia/", "Australia/", "Africa/", "Pacific/", "Atlantic/", "Indian/", "Antarctica/", "Etc/UTC"} {
		if len(name) >= len(region) && name[:len(region)] == region {
			return i
		}
	}
	return 100
}

// Nearest finds the zone that agrees with the table's for the longest, from the table's start on, and the first instant at which it does
// not; ok is false if none agrees even there.
func Nearest(t *table.Table, db *zone.Database, prefer []string) (name string, differs time.Time, ok bool) {
	from, to := window(t)
	clock := replay.NewClock(&t.Zone)
	changes := changesOf(clock, from, to)
	best := from
	names := db.Names()
	slices.SortStableFunc(names, func(a, b string) int { return cmp.Compare(rank(a, prefer), rank(b, prefer)) })
	for _, candidate := range names {
		z, err := db.Load(candidate)
		if err != nil {
			continue
		}
		if at := agreesUntil(z, clock, changes, from, to); at > best {
			best, name = at, candidate
		}
	}
	return name, time.Unix(best, 0).UTC(), name != ""
}

// Differs is the first instant from an instant on at which a zone's data and the table's zone differ, and both offsets in seconds; ok is
// false if they do not up to the end of the table.
func Differs(z *zone.Zone, t *table.Table, after time.Time) (at time.Time, inTable, inData int, ok bool) {
	from, to := window(t)
	from = max(from, after.Unix())
	clock := replay.NewClock(&t.Zone)
	until := agreesUntil(z, clock, changesOf(clock, from, to), from, to)
	if until >= to {
		return time.Time{}, 0, 0, false
	}
	return time.Unix(until, 0).UTC(), secondsAt(clock, until), z.At(until).Seconds, true
}

// agreesUntil is the first instant at which the offsets differ, or to. They can begin to only where one of them changes.
func agreesUntil(z *zone.Zone, t replay.Clock, changes []int64, from, to int64) int64 {
	instants := append([]int64{from}, changes...)
	for _, x := range z.Transitions(from+1, to) {
		instants = append(instants, x.At)
	}
	slices.Sort(instants)
	for _, at := range instants {
		if z.At(at).Seconds != secondsAt(t, at) {
			return at
		}
	}
	return to
}

func secondsAt(c replay.Clock, unix int64) int { return 60 * int(c.Offset(table.MinuteOf(unix))) }

// changesOf lists the instants at which a table's clock may change, in Unix seconds.
func changesOf(c replay.Clock, from, to int64) (list []int64) {
	for _, at := range c.Changes(table.MinuteOf(from), table.MinuteOf(to)) {
		list = append(list, at.Unix())
	}
	return list
}
