package honest_test

import (
	"flag"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/honest"
)

var oneCase = flag.String("case", "", "run this case only, and say what happens")

// TestCase repeats one run, with everything that happens written down:
// go test ./emulator/honest -v -run Case -case "m328-index/good/solid jam/3"
func TestCase(t *testing.T) {
	name := *oneCase
	if name == "" {
		name = "m328-mains/good/power cut of a second/3"
	}
	c, err := honest.ParseCase(name)
	require.NoError(t, err)
	log := os.Stdout
	if *oneCase == "" {
		log = nil
	}
	var o *honest.Outcome
	if log == nil {
		o, err = honest.Bases{}.Run(c, nil)
	} else {
		o, err = honest.Bases{}.Run(c, log)
	}
	require.NoError(t, err)
	for _, v := range o.Broken {
		t.Error(v)
	}
	t.Logf("cannot be known: %v; windows %+v", o.Unknown, o.Windows)
}

var (
	phases = flag.Int("phases", honest.PairPhases, "at how many phases each pair is tried")
	list   = flag.Bool("broken", false, "print what is broken, cause by cause")
	every  = flag.Int("every", 1, "take every n-th pair of faults, and of the cut servings, only")
	from   = flag.Int("from", 0, "with -every: which of the first n to begin with")
)

// deep is set for the runs that take minutes.
var deep = os.Getenv("MEALTAB_HONEST") != ""

// TestSweep: every fault and every pair of faults, on every board. A sample by default; by MEALTAB_HONEST=1 every fault, and of the
// pairs those that -every and -from say.
func TestSweep(t *testing.T) {
	cases := slices.Concat(honest.Sample(honest.Days(), 20, 3), honest.Sample(honest.Singles(), 120, 3), honest.Sample(honest.Pairs(honest.PairPhases), 600, 3))
	if deep {
		cases = slices.Concat(honest.Days(), honest.Singles(), honest.Sample(honest.Pairs(*phases), *every, *from))
	}
	outcomes, err := honest.Sweep(cases, progress(t))
	require.NoError(t, err)
	byRule, unknown := map[string]int{}, map[string]int{}
	for _, o := range outcomes {
		for _, v := range o.Broken {
			byRule[v.Rule]++
		}
		for _, u := range o.Unknown {
			unknown[u]++
		}
	}
	t.Logf("%d runs (-every %d -from %d); broken %v; cannot be known %v", len(cases), *every, *from, byRule, unknown)
	if *list {
		honest.Report(os.Stdout, outcomes)
	}
	k := readKnown(t)
	if *update {
		k.write(t, outcomes, deep && *every == 1)
		return
	}
	k.check(t, outcomes, deep && *every == 1)
}

// progress says with -broken what is broken as soon as it is known: a sweep takes minutes.
func progress(t *testing.T) func(o *honest.Outcome) {
	if !*list {
		return nil
	}
	done := 0
	return func(o *honest.Outcome) {
		if done++; done%1000 == 0 {
			t.Logf("%d runs so far", done)
		}
		for _, v := range o.Broken {
			t.Logf("%s: %s", o.Case, v)
		}
	}
}
