package honest_test

import (
	"cmp"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/honest"
)

// Departures that are known stand in testdata/known.txt, a line each:
//
//	rule | faults | images | reason
//
// A run may break a rule only if such a line says so, for its faults or for one of them; and where all runs are made, each line
// must still be needed, so that what was mended is taken from the list.

const knownFile = "testdata/known.txt"

// ruleCuts is the rule of TestRepeatedCuts.
const ruleCuts = "cuts"

// departure is a rule broken by faults on an image.
type departure struct{ rule, faults, image string }

type known map[departure]string // reasons

func readKnown(t *testing.T) known {
	t.Helper()
	src, err := os.ReadFile(knownFile)
	require.NoError(t, err)
	k := known{}
	for i, line := range strings.Split(string(src), "\n") {
		if line == "" || line[0] == '#' {
			continue
		}
		f := strings.Split(line, " | ")
		require.Len(t, f, 4, "%s:%d: give rule | faults | images | reason", knownFile, i+1)
		for _, image := range strings.Split(f[2], ", ") {
			k[departure{f[0], f[1], image}] = f[3]
		}
	}
	return k
}

// covers is the entry that allows a departure: that of its faults, or of one of two.
func (k known) covers(d departure) (entry departure, ok bool) {
	for _, faults := range append([]string{d.faults}, strings.Split(d.faults, "+")...) {
		entry = departure{d.rule, faults, d.image}
		if _, ok = k[entry]; ok {
			return entry, true
		}
	}
	return entry, false
}

// check compares what was broken with what is known. all: every case was run.
func (k known) check(t *testing.T, outcomes []*honest.Outcome, all bool) {
	t.Helper()
	needed := map[departure]bool{}
	for _, o := range outcomes {
		for _, v := range o.Broken {
			entry, ok := k.covers(departure{v.Rule, strings.Join(o.Case.Faults, "+"), o.Case.Image})
			if needed[entry] = true; !ok {
				t.Errorf("go test ./emulator/honest -v -run TestCase -case %q\n    %s", o.Case, v)
			}
		}
	}
	if !all {
		return
	}
	for d, reason := range k {
		if !needed[d] && d.rule != ruleCuts {
			t.Errorf("%s: %v is broken no more (%s): take it from the list", knownFile, d, reason)
		}
	}
}

// write adds what is new to the list, with no reason yet, and, if every case was run, takes away what is not needed.
func (k known) write(t *testing.T, outcomes []*honest.Outcome, all bool) {
	t.Helper()
	type key struct{ rule, faults, reason string }
	images := map[key][]string{}
	fresh := known{}
	maps.Copy(fresh, k)
	seen := map[departure]bool{}
	for d := range k { // TestRepeatedCuts looks after its own
		if d.rule == ruleCuts || !all {
			seen[d] = true
		}
	}
	for _, o := range outcomes { // singles come first
		for _, v := range o.Broken {
			d := departure{v.Rule, strings.Join(o.Case.Faults, "+"), o.Case.Image}
			entry, ok := fresh.covers(d)
			if !ok {
				entry = d
				fresh[d] = "not yet looked into"
			}
			seen[entry] = true
		}
	}
	for d := range seen {
		n := key{d.rule, d.faults, fresh[d]}
		images[n] = append(images[n], d.image)
	}
	text := "# What the firmware does not keep to yet: rule | faults | images | reason. See known_test.go.\n"
	for _, n := range slices.SortedFunc(maps.Keys(images), func(a, b key) int {
		return cmp.Or(cmp.Compare(a.rule, b.rule), cmp.Compare(a.faults, b.faults), cmp.Compare(a.reason, b.reason))
	}) {
		slices.Sort(images[n])
		text += fmt.Sprintf("%s | %s | %s | %s\n", n.rule, n.faults, strings.Join(images[n], ", "), n.reason)
	}
	require.NoError(t, os.WriteFile(knownFile, []byte(text), 0o644))
}

// TestKnown: the list allows what it names and nothing else.
func TestKnown(t *testing.T) {
	k := known{{"unseen", "solid jam", "m328-mains"}: "a reason"}
	for _, c := range []struct {
		d    departure
		want bool
	}{
		{departure{"unseen", "solid jam", "m328-mains"}, true},
		{departure{"unseen", "loose plug+solid jam", "m328-mains"}, true},
		{departure{"over", "solid jam", "m328-mains"}, false},
		{departure{"unseen", "solid jam", "m328-index"}, false},
		{departure{"unseen", "loose plug", "m328-mains"}, false},
	} {
		_, ok := k.covers(c.d)
		require.Equal(t, c.want, ok, "%v", c.d)
	}
}
