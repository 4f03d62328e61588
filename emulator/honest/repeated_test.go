package honest_test

import (
	"flag"
	"os"
	"runtime"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/emulator/board"
	"mealtab/emulator/honest"
	"mealtab/emulator/scenario"
)

var oneRepeated = flag.String("cuts", "", "run this cut serving only, and say what happens")

// TestOneRepeated repeats a cut serving with everything that happens written down:
// go test ./emulator/honest -v -run OneRepeated -cuts m328-index/7/12345
func TestOneRepeated(t *testing.T) {
	text, watch := *oneRepeated, func(*board.Board) {}
	if text == "" {
		text = "m328-mains/5/1"
	} else {
		watch = func(b *board.Board) {
			log := scenario.NewLog(replay.NewClock(&table.Zone{}), os.Stdout)
			b.Observe(func(e board.Event) { log.Add(b.Time(e.At), e) })
		}
	}
	c, err := honest.ParseRepeated(text)
	require.NoError(t, err)
	require.Equal(t, text, c.String())
	why, err := honest.Bases{}.Repeat(c, watch)
	require.NoError(t, err)
	require.Empty(t, why)
	_, err = honest.ParseRepeated("m328-index/7")
	require.ErrorContains(t, err, "is not a cut serving")
}

// TestRepeatedCuts: one serving cut 1 to 20 times. 200 servings by default, 100,000 by MEALTAB_HONEST=1.
func TestRepeatedCuts(t *testing.T) {
	n := 200
	if deep {
		n = 100_000
	}
	cases := honest.RepeatedCases(n, 1)
	cases = cases[*from*n / *every : (*from+1)*n / *every]
	next := make(chan honest.Repeated)
	var wait sync.WaitGroup
	var lock sync.Mutex
	failed := 0
	k := readKnown(t)
	for range runtime.GOMAXPROCS(0) {
		wait.Add(1)
		go func() {
			defer wait.Done()
			bases := honest.Bases{}
			for c := range next {
				why, err := bases.Repeat(c, nil)
				if err == nil && why == "" {
					continue
				}
				lock.Lock()
				if _, ok := k[departure{ruleCuts, "repeated cuts", c.Image}]; ok && err == nil {
					failed++
				} else if failed++; failed <= 20 {
					t.Errorf("-cuts %s: %s %v", c, why, err)
				}
				lock.Unlock()
			}
		}()
	}
	for _, c := range cases {
		next <- c
	}
	close(next)
	wait.Wait()
	t.Logf("%d cut servings, %d wrong", len(cases), failed)
	if deep && *every == 1 && failed == 0 {
		for d, reason := range k {
			require.NotEqual(t, ruleCuts, d.rule, "%s: %v is broken no more (%s): take it from the list", knownFile, d, reason)
		}
	}
}

// TestYear: with an index switch a year under small errors is exact, and the page says how far the others drift. By default a
// fortnight of the worst corner with the switch.
func TestYear(t *testing.T) {
	src, err := os.ReadFile(page)
	require.NoError(t, err)
	before, within, after := section(t, string(src), "year")
	if !deep {
		plan, fell, err := honest.Drift{Image: "m328-index", OscillatorPC: -1, PacePC: 3}.Run(honest.Bases{}, 14)
		require.NoError(t, err)
		require.Equal(t, plan, fell)
		return
	}
	text, err := honest.Year(365)
	require.NoError(t, err)
	t.Log("\n" + text)
	if *update {
		require.NoError(t, os.WriteFile(page, []byte(before+text+after), 0o644))
		return
	}
	require.Equal(t, text, within, "regenerate: MEALTAB_HONEST=1 go test ./emulator/honest -run Year -update")
}
