package bench_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
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
func walk(t testing.TB, e *flashertest.Emulated, build string) (*bench.Report, *watcher) {
	t.Helper()
	w := newWatcher(e)
	e.Sleep(time.Second)
	r, err := bench.Walk(bench.Config{Link: link.New(e, "desk", flasher.DefaultBaud()), Person: w, Board: build})
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
			r, _ := walk(t, e, "")
			assert.True(t, r.Good(), text(r))
			t.Log(text(r))
			assert.Empty(t, e.Broken)
		})
	}
}

// Each wrong wire is named: the first cause is right in nine of ten, and one that is not there is never the only one. What is named stands
// in a table of the builder's page.
func TestWrongWires(t *testing.T) {
	require.GreaterOrEqual(t, len(miswirings), 25)
	reports := make([]*bench.Report, len(miswirings))
	t.Run("wires", func(t *testing.T) {
		for i, m := range miswirings {
			t.Run(m.name, func(t *testing.T) {
				t.Parallel()
				r, _ := walk(t, m.emulated(t), m.build)
				reports[i] = r
				for _, p := range r.Problems {
					require.NotEmpty(t, p.Causes, text(r))
					if len(p.Causes) == 1 {
						require.Equal(t, m.cause, p.Causes[0].Name, text(r))
					}
				}
				if m.cause == "" {
					require.Empty(t, r.Problems, text(r))
				}
			})
		}
	})
	if t.Failed() {
		return
	}
	right := 0
	var rows strings.Builder
	for i, m := range miswirings {
		var named []string
		for _, p := range reports[i].Problems {
			named = append(named, p.Causes[0].Name)
		}
		verdict := "no"
		if strings.Join(named, "") == m.cause || len(named) > 0 && named[0] == m.cause {
			verdict = "yes"
			right++
		}
		if named == nil {
			named = []string{"nothing: it is put right on the way"}
		}
		fmt.Fprintf(&rows, "| %s | %s | %s |\n", m.name, strings.Join(named, "; "), verdict)
	}
	t.Log("\n" + rows.String())
	assert.GreaterOrEqual(t, right*10, len(miswirings)*9, "%d of %d right", right, len(miswirings))
	compareBlock(t, "wires", fmt.Sprintf("| wire | first cause named | right |\n|---|---|---|\n%s\n%d of %d are named first.\n", rows.String(), right, len(miswirings)))
}

var update = flag.Bool("update", false, "rewrite the table of firmware-template/BENCH.md")

// compareBlock compares what stands between the markers of a block of the builder's page with what a run has given.
func compareBlock(t *testing.T, name, want string) {
	t.Helper()
	file := filepath.Join(flashertest.Root(t), "firmware-template", "BENCH.md")
	src, err := os.ReadFile(file)
	require.NoError(t, err)
	before, rest, found := strings.Cut(string(src), "<!-- from a run: "+name+" -->\n")
	require.True(t, found)
	got, after, found := strings.Cut(rest, "<!-- end -->")
	require.True(t, found)
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(before+"<!-- from a run: "+name+" -->\n"+want+"<!-- end -->"+after), 0o644))
		return
	}
	require.Equal(t, want, got)
}
