package bench_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/emulator/honest"
	"mealtab/flasher"
	"mealtab/flasher/bench"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
)

func TestMain(m *testing.M) {
	m.Run()
	flashertest.CleanUp()
}

// walk lets a watcher go through a board that has been on for a second.
func walk(t testing.TB, e *flashertest.Emulated) (*bench.Report, *watcher) {
	t.Helper()
	w := newWatcher(e)
	e.Sleep(time.Second)
	r, err := bench.Walk(bench.Config{Link: link.New(e, "desk", flasher.DefaultBaud()), Person: w})
	require.NoError(t, err)
	return r, w
}

func text(r *bench.Report) string {
	var b strings.Builder
	for _, s := range r.Steps {
		b.WriteString(string(s.Verdict) + " " + s.Name + ": " + s.Text + "\n")
	}
	for _, p := range r.Problems {
		for _, s := range p.Shown {
			b.WriteString("  ! " + string(s) + "\n")
		}
		for _, c := range p.Causes {
			b.WriteString("    " + c.Name + "\n")
		}
	}
	return b.String()
}

// A right board gives no complaint, whatever it is built with.
func TestRightBoards(t *testing.T) {
	for _, image := range honest.Images {
		t.Run(image, func(t *testing.T) {
			t.Parallel()
			e := flashertest.New(t, image, nil, nil)
			r, _ := walk(t, e)
			assert.True(t, r.Good(), text(r))
			t.Log(text(r))
			assert.Empty(t, e.Broken)
		})
	}
}

// Each wrong wire is named: the first cause is right in nine of ten, and one that is not there is never the only one.
func TestWrongWires(t *testing.T) {
	require.GreaterOrEqual(t, len(miswirings), 25)
	named := make([]string, len(miswirings))
	t.Run("wires", func(t *testing.T) {
		for i, m := range miswirings {
			t.Run(m.name, func(t *testing.T) {
				t.Parallel()
				r, _ := walk(t, m.emulated(t))
				t.Log(text(r))
				if len(r.Problems) > 0 && len(r.Problems[0].Causes) > 0 {
					named[i] = r.Problems[0].Causes[0].Name
				}
			})
		}
	})
	right := 0
	for i, m := range miswirings {
		if named[i] == m.cause {
			right++
		}
		t.Logf("%-32s %s", m.name, named[i])
	}
	assert.GreaterOrEqual(t, right*10, len(miswirings)*9, "%d of %d right", right, len(miswirings))
}
