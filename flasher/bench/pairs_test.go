package bench_test

import (
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/emulator/board"
	"mealtab/flasher/bench"
	"mealtab/flasher/flashertest"
)

// samePart are wires of which a board can have only one wrong at a time.
func samePart(a, b string) bool {
	for _, part := range [][]string{
		{"SDA and SCL swapped", "no pull-ups", "SDA open", "SCL open", "clock module without supply", "SDA shorted to ground"},
		{"interrupt wire open", "interrupt wire on PD3", "interrupt wire shorted to ground", "interrupt wire on a pin that nothing uses", "feed button stuck", "feed and portion swapped"},
		{"servo's signal on PB2", "servo's signal wire open"}, {"servo creeps forward", "servo creeps backward"}, {"LED the wrong way round", "LED missing"},
		{"plan button open", "portion and plan swapped", "feed and portion swapped", "feed button stuck"},
		{"oscillator 10 % fast", "oscillator 10 % slow", "clock fuse: 8 MHz for 16", "clock fuse: divided by 8", "clock fuse: 1 MHz for 16", "crystal of 12 MHz"},
		{"weak adapter", "long thin lead", "supply of 4.35 V", "no supply"},
	} {
		both := 0
		for _, name := range part {
			if name == a || name == b {
				both++
			}
		}
		if both == 2 {
			return true
		}
	}
	return false
}

// together is a board with two things wrong.
func together(t testing.TB, a, b miswired) *flashertest.Emulated {
	e := flashertest.New(t, "m328-mains", nil, func(c *board.Config) {
		for _, m := range []miswired{a, b} {
			if m.set != nil {
				m.set(c)
			}
		}
	})
	for _, m := range []miswired{a, b} {
		if m.wrong != nil {
			m.wrong(e)
		}
	}
	return e
}

// Two wrong wires: whatever is said to be wrong has a cause among the two, though one may hide the other. BENCH_PAIRS=1 tries all pairs, n
// every n-th; by default a sample.
func TestPairsOfWrongWires(t *testing.T) {
	every := 29
	if n, err := strconv.Atoi(os.Getenv("BENCH_PAIRS")); err == nil {
		every = n
	}
	var list []miswired
	for _, m := range miswirings {
		if m.image == "" && m.feeder == nil && m.cause != "" {
			list = append(list, m)
		}
	}
	n, tried, both := 0, 0, 0
	for i, a := range list {
		for _, b := range list[i+1:] {
			if n++; n%every != 0 || samePart(a.name, b.name) {
				continue
			}
			tried++
			r, _ := walk(t, together(t, a, b), "")
			require.NotEmpty(t, r.Problems, "%s, %s", a.name, b.name)
			named := map[string]bool{}
			for _, p := range r.Problems {
				assert.True(t, names(p, a.cause) || names(p, b.cause), "%s, %s: nothing of it is wrong\n%v\n%s", a.name, b.name, p.Shown, text(r))
				named[a.cause] = named[a.cause] || names(p, a.cause)
				named[b.cause] = named[b.cause] || names(p, b.cause)
			}
			if named[a.cause] && named[b.cause] {
				both++
			}
		}
	}
	t.Logf("%d pairs, both named in %d", tried, both)
}

func names(p bench.Problem, cause string) bool {
	for _, c := range p.Causes {
		if c.Name == cause {
			return true
		}
	}
	return false
}
