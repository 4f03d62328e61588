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
	list  = flag.Bool("broken", false, "print what is broken, cause by cause")
	every = flag.Int("every", 1, "take every n-th case only")
)

// deep is set for the runs that take minutes.
var deep = os.Getenv("MEALTAB_HONEST") != ""

// TestSweep: every fault and every pair of faults, on every board. A sample by default, all by MEALTAB_HONEST=1.
func TestSweep(t *testing.T) {
	cases := slices.Concat(honest.Sample(honest.Days(), 20, 3), honest.Sample(honest.Singles(), 120, 3), honest.Sample(honest.Pairs(honest.PairPhases), 600, 3))
	if deep {
		cases = slices.Concat(honest.Sample(honest.Days(), *every, 0), honest.Sample(honest.Singles(), *every, 0), honest.Sample(honest.Pairs(honest.PairPhases), *every, 0))
	}
	outcomes, err := honest.Sweep(cases)
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
	t.Logf("%d runs; broken %v; cannot be known %v", len(cases), byRule, unknown)
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
