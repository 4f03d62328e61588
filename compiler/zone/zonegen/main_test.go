package main

import (
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/zone"
	"mealtab/compiler/zone/internal/tzif"
)

const system, committed = "/usr/share/zoneinfo", "../zoneinfo.bin"

// The committed file is what this program writes from the release it names, byte for byte. Other releases
// cannot tell, so there it is enough that they can be written.
func TestCommittedFileIsGenerated(t *testing.T) {
	db, err := zone.Dir(system)
	require.NoError(t, err, "install the package tzdata")
	got, err := bundle(system)
	require.NoError(t, err)
	want, err := os.ReadFile(committed)
	require.NoError(t, err)
	if db.Version() == zone.Embedded().Version() && string(got) != string(want) {
		t.Errorf("%s is not what zonegen writes: run go generate ./compiler/zone", committed)
	}
}

func TestBundleNeedsARelease(t *testing.T) {
	_, err := bundle(t.TempDir())
	assert.ErrorContains(t, err, `release "unknown" cannot be recorded`)
}

// fat has the changes of the rule written out for three years, after one that is no rule's, and an idle one.
func fat(t *testing.T) *tzif.Data {
	t.Helper()
	d := &tzif.Data{
		Version: '2',
		Types:   []tzif.Type{{Abbrev: "LMT", Seconds: 1172}, {Abbrev: "CET", Seconds: 3600}, {Abbrev: "CEST", Seconds: 7200, DST: true}},
		Footer:  "CET-1CEST,M3.5.0,M10.5.0/3",
	}
	d.Transitions = []tzif.Transition{{At: -1e9, Type: 1}}
	footer, err := zone.ParseFooter(d.Footer)
	require.NoError(t, err)
	at := footer.NextAfter(1767225600) // 2026-01-01
	for i := range 6 {
		d.Transitions = append(d.Transitions, tzif.Transition{At: at, Type: uint8(2 - i%2)})
		at = footer.NextAfter(at)
	}
	d.Transitions = append(d.Transitions, tzif.Transition{At: at - 1, Type: 1})
	return d
}

func TestSlimmingKeepsOneRegularTransition(t *testing.T) {
	d := fat(t)
	dropIdle(d)
	assert.Len(t, d.Transitions, 7)
	require.NoError(t, dropRegular(d))
	// The rule would already have ruled the years from 1938 on: the first change of 2026 must stay.
	assert.Equal(t, fat(t).Transitions[:2], d.Transitions)
}

func TestSlimmingStopsAtIrregularTransitions(t *testing.T) {
	d := fat(t)
	d.Transitions[5].At += 3600 // the fifth of six regular ones comes an hour late
	dropIdle(d)
	want := slices.Clone(d.Transitions[:6]) // only the sixth follows from the rule
	require.NoError(t, dropRegular(d))
	assert.Equal(t, want, d.Transitions)
}

func TestCompareSeesDifferences(t *testing.T) {
	original, err := fat(t).Encode()
	require.NoError(t, err)
	require.NoError(t, compare("Test", original, original))
	for i := range 6 {
		d := fat(t)
		d.Transitions[i].At++
		changed, err := d.Encode()
		require.NoError(t, err)
		assert.ErrorContains(t, compare("Test", original, changed), "slim file differs at", "transition %d", i)
	}
}
