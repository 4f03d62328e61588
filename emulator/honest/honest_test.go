package honest_test

import (
	"flag"
	"os"
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

var list = flag.Bool("broken", false, "print all broken rules, and do not fail")

func sweep(t *testing.T, cases []honest.Case) {
	t.Helper()
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
}

var every = flag.Int("every", 1, "take every n-th case only")

// The whole sweep takes minutes: MEALTAB_HONEST=1 runs it.
func TestSweep(t *testing.T) {
	if os.Getenv("MEALTAB_HONEST") == "" {
		return
	}
	sweep(t, honest.Sample(honest.Days(), *every, 0))
	sweep(t, honest.Sample(honest.Singles(), *every, 0))
	sweep(t, honest.Sample(honest.Pairs(honest.PairPhases), *every, 0))
}
