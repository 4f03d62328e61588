package zone

import (
	"math"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/zone/internal/tzif"
)

// made parses a file made of the given parts.
func made(t testing.TB, d tzif.Data) (*Zone, error) {
	t.Helper()
	d.Version = '3'
	b, err := d.Encode()
	require.NoError(t, err)
	return Parse("Test/Zone", "2026f", b)
}

// RFC 9636 §3.2: transitions that change nothing are allowed; Debian's files have one at 2^31 − 1.
func TestIdleTransitionsAreNone(t *testing.T) {
	z, err := made(t, tzif.Data{
		Types:       []tzif.Type{{Seconds: 3600, Abbrev: "CET"}, {Seconds: 7200, Abbrev: "CEST", DST: true}},
		Transitions: []tzif.Transition{{At: 100, Type: 1}, {At: 200, Type: 0}, {At: math.MaxInt32, Type: 0}},
		Footer:      "CET-1",
	})
	require.NoError(t, err)
	got := z.Transitions(math.MinInt64, math.MaxInt64)
	require.Len(t, got, 2)
	assert.EqualValues(t, 200, got[1].At)
}

// A change of name alone is not a change of the clock, but is seen by At.
func TestRenamingIsNoTransition(t *testing.T) {
	z, err := made(t, tzif.Data{
		Types:       []tzif.Type{{Seconds: 3600, Abbrev: "OLD"}, {Seconds: 3600, Abbrev: "NEW"}},
		Transitions: []tzif.Transition{{At: 100, Type: 1}},
		Footer:      "NEW-1",
	})
	require.NoError(t, err)
	assert.Empty(t, z.Transitions(0, 1000))
	assert.Equal(t, "OLD", z.At(99).Abbrev)
	assert.Equal(t, "NEW", z.At(100).Abbrev)
	unix, kind := z.Resolve(3700)
	assert.EqualValues(t, 100, unix)
	assert.Equal(t, Unique, kind)
}

// RFC 9636 §3.3: without transitions the footer rules all time; without a footer the last offset stays.
func TestFilesWithoutTransitionsOrFooter(t *testing.T) {
	z, err := made(t, tzif.Data{Types: []tzif.Type{{Abbrev: "-00"}}, Footer: "CET-1CEST,M3.5.0,M10.5.0/3"})
	require.NoError(t, err)
	assert.Equal(t, "CET", z.At(-1<<40).Abbrev)
	assert.Equal(t, "CEST", z.At(wall(t, "1950-07-01T00:00")).Abbrev)
	assert.Equal(t, "CEST", z.At(wall(t, "2750-07-01T00:00")).Abbrev)

	z, err = made(t, tzif.Data{Types: []tzif.Type{{Abbrev: "AAA"}, {Seconds: 60, Abbrev: "BBB"}}, Transitions: []tzif.Transition{{At: 9, Type: 1}}})
	require.NoError(t, err)
	_, ok := z.Footer()
	assert.False(t, ok)
	assert.Equal(t, "BBB", z.At(math.MaxInt64).Abbrev)
	assert.Equal(t, "AAA", z.At(math.MinInt64).Abbrev)
}

func TestParseRefuses(t *testing.T) {
	types := []tzif.Type{{Seconds: 3600, Abbrev: "CET"}}
	for _, c := range []struct {
		data tzif.Data
		want string
	}{
		{tzif.Data{Types: types, Footer: "CET"}, `time zone Test/Zone: footer: TZ string "CET", column 4: a number from 0 to 24 expected`},
		{tzif.Data{Types: types, Footer: "EET-2", Transitions: []tzif.Transition{{At: 5}}},
			`time zone Test/Zone: footer "EET-2" gives offset 7200 s at the last transition, which says 3600 s`},
		{tzif.Data{Types: types, Footer: "CET-1", Transitions: []tzif.Transition{{At: 1 << 60}}},
			`time zone Test/Zone: transition at 1152921504606846976 s is further from 1970 than ±2^59 s`},
	} {
		_, err := made(t, c.data)
		assert.EqualError(t, err, c.want)
	}
	_, err := Parse("Test/Zone", "", []byte("#!/bin/sh"))
	assert.EqualError(t, err, `time zone Test/Zone: not a TZif file: no "TZif" header`)
}

func TestUTC(t *testing.T) {
	z := UTC()
	unix, kind := z.Resolve(1798758000)
	assert.EqualValues(t, 1798758000, unix)
	assert.Equal(t, Unique, kind)
	assert.Equal(t, Offset{Abbrev: "UTC"}, z.At(0))
	assert.Empty(t, z.Transitions(math.MinInt64, math.MaxInt64))
}

// What became known in 2026, by the change log of Debian's tzdata 2026f: Morocco at +00 for good from 20 September,
// Cuba without the change of November, British Columbia at −07 for good, Moldova with the hours of the EU.
func TestDiffersBetweenReleases(t *testing.T) {
	old, err := Dir("../../testdata/zone/2025c")
	require.NoError(t, err)
	require.Equal(t, "2025c", old.Version())
	for _, c := range []struct{ zone, from, first string }{
		{"Africa/Casablanca", "2026-01-01T00:00", "2026-09-20T01:00:00Z"},
		{"America/Havana", "2026-01-01T00:00", "2026-11-01T05:00:00Z"},
		{"America/Havana", "2027-02-01T00:00", "2027-02-01T00:00:00Z"}, // already different at the start
		{"America/Vancouver", "2026-04-01T00:00", "2026-11-01T09:00:00Z"},
		{"Europe/Chisinau", "2027-01-01T00:00", "2027-03-28T00:00:00Z"}, // an hour earlier than the EU's
		{"Asia/Gaza", "2027-01-01T00:00", ""},
	} {
		before, err := old.Load(c.zone)
		require.NoError(t, err)
		first, differs := Differs(before, load(t, c.zone), wall(t, c.from), Horizon)
		if !differs {
			assert.Empty(t, c.first, c.zone)
			continue
		}
		assert.Equal(t, c.first, utc(first), c.zone)
	}
}

func TestDiffersIsFirstDifference(t *testing.T) {
	names := canonicalNames(t)
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(names)
		a, err := Embedded().Load(name.Draw(t, "a"))
		require.NoError(t, err)
		b, err := Embedded().Load(name.Draw(t, "b"))
		require.NoError(t, err)
		from := rapid.Int64Range(startOfYear(1900), startOfYear(2100)).Draw(t, "from")
		to := from + rapid.Int64Range(0, 20*365*86400).Draw(t, "length")
		first, differs := Differs(a, b, from, to)
		for unix := from; unix < to && (!differs || unix < first); unix += 6*3600 + 59 {
			require.Equal(t, a.At(unix).Seconds, b.At(unix).Seconds)
		}
		if differs {
			require.True(t, from <= first && first < to)
			require.NotEqual(t, a.At(first).Seconds, b.At(first).Seconds)
			require.True(t, first == from || a.At(first-1).Seconds == b.At(first-1).Seconds)
		}
	})
}

// What an instant's clock shows resolves to that instant, or to an earlier one that shows the same.
func TestResolveUndoesAt(t *testing.T) {
	names := canonicalNames(t)
	rapid.Check(t, func(t *rapid.T) {
		z, err := Embedded().Load(rapid.SampledFrom(names).Draw(t, "zone"))
		require.NoError(t, err)
		unix := rapid.Int64Range(startOfYear(1850), startOfYear(2200)).Draw(t, "unix")
		nominal := unix + int64(z.At(unix).Seconds)
		got, kind := z.Resolve(nominal)
		require.NotEqual(t, Gap, kind)
		require.Equal(t, nominal, got+int64(z.At(got).Seconds))
		if kind == Unique {
			require.Equal(t, unix, got)
		}
		require.LessOrEqual(t, got, unix)
	})
}

// The cache of the last answer must not be seen by its users.
func TestZoneIsSafeForConcurrentUse(t *testing.T) {
	z, calm := load(t, "Europe/Berlin"), load(t, "Europe/Berlin")
	var group sync.WaitGroup
	for worker := range 4 {
		group.Go(func() {
			for i := range 2000 {
				nominal := startOfYear(2027) + int64((i*7919+worker*104729)%(365*24))*3600
				unix, kind := z.Resolve(nominal)
				if z.At(unix) != calm.At(unix) || kind == Gap && z.At(unix-1) == z.At(unix+7200) {
					t.Errorf("%s resolves to %s", utc(nominal), utc(unix))
				}
			}
		})
	}
	group.Wait()
}

// Arbitrary bytes are refused or make a zone whose answers hang together, at any instant.
func FuzzZone(f *testing.F) {
	// Small files: the fuzzing engine shortens each find byte by byte, which takes a minute for a large one.
	for _, name := range []string{"Etc/UTC", "Asia/Kolkata", "Antarctica/Troll"} {
		b, err := Embedded().read(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b, int64(1798758000))
	}
	for _, footer := range []string{"IST-1GMT0,M10.5.0,M3.5.0/1", "XXX3EDT4,0/0,J365/23", "AAA-1BBB,J1/-167,365/167", ""} {
		d := tzif.Data{Version: '3', Types: []tzif.Type{{Abbrev: "AAA"}}, Footer: footer}
		b, err := d.Encode()
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b, int64(5000000000))
	}
	f.Fuzz(func(t *testing.T, b []byte, at int64) {
		z, err := Parse("Fuzz", "", b)
		if err != nil {
			return
		}
		for _, tr := range z.Transitions(math.MinInt64, math.MaxInt64) {
			if z.At(tr.At) != tr.After || z.At(tr.At-1) != tr.Before {
				t.Fatalf("%+v, but %v then %v", tr, z.At(tr.At-1), z.At(tr.At))
			}
		}
		if at < earliest || at > latest {
			z.At(at)
			z.Resolve(at)
			return
		}
		nominal := at + int64(z.At(at).Seconds)
		unix, kind := z.Resolve(nominal)
		if kind == Gap || unix > at || unix+int64(z.At(unix).Seconds) != nominal {
			t.Fatalf("%d shows %d, which resolves to %d %v", at, nominal, unix, kind)
		}
	})
}
