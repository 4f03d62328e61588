package recur

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
	"mealtab/compiler/zone"
)

// changes are local times that a zone skips or repeats, with the offset that RFC 5545 §3.3.5 reads them by: in a
// gap the one before it, in an overlap that of the first time. Times and offsets: IANA tzdata 2026f.
var changes = []struct {
	zone, local string
	kind        zone.Kind
	offset      int // minutes east of UTC
}{
	{"America/New_York", "2027-03-14T02:30:00", zone.Gap, -5 * 60},
	{"America/New_York", "2027-11-07T01:30:00", zone.Overlap, -4 * 60},
	{"America/New_York", "2007-03-11T02:30:00", zone.Gap, -5 * 60},     // the RFC's own example
	{"America/New_York", "2007-11-04T01:30:00", zone.Overlap, -4 * 60}, // likewise
	{"Europe/London", "2027-03-28T01:30:00", zone.Gap, 0},
	{"Europe/London", "2027-10-31T01:30:00", zone.Overlap, 60},
	{"Europe/Paris", "2027-03-28T02:30:00", zone.Gap, 60},
	{"Europe/Paris", "2027-10-31T02:30:00", zone.Overlap, 2 * 60},
	{"Australia/Lord_Howe", "2027-10-03T02:15:00", zone.Gap, 10*60 + 30},
	{"Australia/Lord_Howe", "2027-04-04T01:45:00", zone.Overlap, 11 * 60},
	{"America/Santiago", "2027-09-05T00:30:00", zone.Gap, -4 * 60},
	{"America/Santiago", "2027-04-03T23:30:00", zone.Overlap, -3 * 60},
	{"Asia/Beirut", "2027-03-28T00:30:00", zone.Gap, 2 * 60},
	{"Asia/Beirut", "2027-10-30T23:30:00", zone.Overlap, 3 * 60},
	{"Africa/Cairo", "2027-04-30T00:30:00", zone.Gap, 2 * 60},
	{"Africa/Cairo", "2027-10-28T23:30:00", zone.Overlap, 3 * 60},
	{"America/Nuuk", "2027-03-27T23:30:00", zone.Gap, -2 * 60},
	{"America/Nuuk", "2027-10-30T23:30:00", zone.Overlap, -1 * 60},
	{"America/Havana", "2028-03-12T00:30:00", zone.Gap, -5 * 60},
	{"America/Havana", "2028-11-05T00:30:00", zone.Overlap, -4 * 60},
	{"Antarctica/Troll", "2027-03-28T02:30:00", zone.Gap, 0},
	{"Antarctica/Troll", "2027-10-31T02:30:00", zone.Overlap, 2 * 60},
	{"Pacific/Apia", "2011-12-30T08:00:00", zone.Gap, -10 * 60}, // the whole day
}

// TestChanges walks a daily rule across each change: no day is lost or doubled, and only the instant of that day
// moves.
func TestChanges(t *testing.T) {
	for _, c := range changes {
		t.Run(c.zone+" "+c.local, func(t *testing.T) {
			z := load(t, c.zone)
			moment, err := nominal("", localOf(t, c.local))
			require.NoError(t, err)
			start := text(moment - 3*daySeconds)
			set := ruleSet(t, z, start, "FREQ=DAILY;COUNT=7")
			cursor := set.Cursor()
			for i := int64(0); i < 7; i++ {
				in, ok := cursor.Next()
				require.True(t, ok)
				require.Equal(t, text(moment+(i-3)*daySeconds), text(in.Nominal))
				if i == 3 {
					require.Equal(t, Instance{moment, moment - int64(c.offset)*60, c.kind}, in)
				}
			}
			checkInstants(t, set)
			omitted, err := New(plan.Recurrence{Start: localOf(t, start), Rule: &plan.Rule{Text: "FREQ=DAILY;COUNT=7"}}, z, plan.GapOmit)
			require.NoError(t, err)
			days := texts(omitted, -1)
			require.Len(t, days, 7, "an instance in a gap is not counted")
			require.Equal(t, c.kind != zone.Gap, slices.Contains(days, c.local))
		})
	}
}

// checkInstants compares Instants with the plain definition: the instants of the set, sorted, each once.
func checkInstants(t tester, s *Set) {
	t.Helper()
	var want, got []int64
	c := s.Cursor()
	for in, ok := c.Next(); ok && len(want) < 600; in, ok = c.Next() {
		want = append(want, in.Unix)
	}
	cut := len(want) == 600
	want = ascending(want)
	if cut { // what follows the cut may still fall among the last
		want = want[:len(want)-100]
	}
	i := s.Instants()
	for in, ok := i.Next(); ok && len(got) < len(want)+1; in, ok = i.Next() {
		got = append(got, in.Unix)
	}
	if cut {
		got = got[:len(want)]
	}
	require.Equal(t, want, got)
}

// TestEqualInstants: a time moved out of a gap meets another of the same set and is served once, but COUNT has
// counted both (the RFC leaves it open whether it does).
func TestEqualInstants(t *testing.T) {
	z := load(t, "America/New_York")
	s := ruleSet(t, z, "2027-03-14T00:00:00", "FREQ=DAILY;BYHOUR=2,3;BYMINUTE=0,30;COUNT=6")
	require.Equal(t, []string{"2027-03-14T02:00:00", "2027-03-14T02:30:00", "2027-03-14T03:00:00", "2027-03-14T03:30:00",
		"2027-03-15T02:00:00", "2027-03-15T02:30:00"}, texts(s, -1))
	var got []string
	c := s.Instants()
	for in, ok := c.Next(); ok; in, ok = c.Next() {
		require.Equal(t, zone.Unique, in.Kind)
		got = append(got, text(in.Unix))
	}
	require.Equal(t, []string{"2027-03-14T07:00:00", "2027-03-14T07:30:00", "2027-03-15T06:00:00", "2027-03-15T06:30:00"}, got)
}

// TestGapOrder: of two times the one in the gap can come later though it is written earlier.
func TestGapOrder(t *testing.T) {
	s := ruleSet(t, load(t, "Antarctica/Troll"), "2027-03-28T00:00:00", "FREQ=HOURLY;BYHOUR=2,3;BYMINUTE=15,45;COUNT=4")
	var got []string
	c := s.Instants()
	for in, ok := c.Next(); ok; in, ok = c.Next() {
		got = append(got, text(in.Nominal)[11:16]+" at "+text(in.Unix)[11:16])
	}
	require.Equal(t, []string{"03:15 at 01:15", "03:45 at 01:45", "02:15 at 02:15", "02:45 at 02:45"}, got)
}

// TestUntilInUTC: UNTIL is compared with the resolved instant, which in a gap is not in the order of the clock.
func TestUntilInUTC(t *testing.T) {
	z := load(t, "America/New_York")
	s := ruleSet(t, z, "2027-03-14T01:00:00", "FREQ=MINUTELY;INTERVAL=30;UNTIL=20270314T070000Z")
	require.Equal(t, []string{"2027-03-14T01:00:00", "2027-03-14T01:30:00", "2027-03-14T02:00:00", "2027-03-14T03:00:00"}, texts(s, -1))
	s = ruleSet(t, z, "2027-11-07T00:30:00", "FREQ=HOURLY;UNTIL=20271107T053000Z")
	require.Equal(t, []string{"2027-11-07T00:30:00", "2027-11-07T01:30:00"}, texts(s, -1), "the first 01:30 counts")
	s = ruleSet(t, load(t, "Europe/Paris"), "2027-07-01T07:00:00", "FREQ=DAILY;UNTIL=20270702T050000Z")
	require.Equal(t, []string{"2027-07-01T07:00:00", "2027-07-02T07:00:00"}, texts(s, -1), "east of UTC the nominal time is the later number")
}

// TestChangesLieApart is what InstantCursor rests on: before the next change of a zone, the clock has run longer than
// either change moved it.
func TestChangesLieApart(t *testing.T) {
	for _, name := range zone.Default().Names() {
		z := load(t, name)
		changes := z.Transitions(0, End)
		for i := 1; i < len(changes); i++ {
			moved := 0
			for _, c := range changes[i-1 : i+1] {
				moved = max(moved, c.After.Seconds-c.Before.Seconds, c.Before.Seconds-c.After.Seconds)
			}
			require.Greater(t, changes[i].At-changes[i-1].At, int64(2*moved), "%s %s", name, text(changes[i].At))
		}
	}
}
