package bench_test

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/emulator/board"
	"mealtab/emulator/honest"
	"mealtab/flasher/bench"
	"mealtab/flasher/flashertest"
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
	r, err := bench.Walk(bench.Config{Link: e.Link("desk"), Person: w, Board: build})
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

// With a bootloader and a reset line the chip's signature is read, and right. BENCH_BOOTS=all tries every bootloader; by default the short one.
func TestRightChip(t *testing.T) {
	boots := flashertest.Boots()
	if os.Getenv("BENCH_BOOTS") != "all" {
		boots = boots[:1]
	}
	for _, boot := range boots {
		t.Run(boot.Name(), func(t *testing.T) {
			t.Parallel()
			r, _ := walk(t, installed(t, boot, boot.Board), boot.Board)
			require.True(t, r.Good(), text(r))
			require.Contains(t, text(r), "right chip: ATmega")
		})
	}
}

// The time of a pocket is found by counting, to the twentieth that eight pockets and an eye allow, whatever the wheel's.
func TestTimeOfAPocket(t *testing.T) {
	for _, turn := range []int{250, 310, 400} {
		e := flashertest.New(t, "m328-mains", nil, func(c *board.Config) {
			c.Wheel.Turn = time.Duration(turn) * time.Millisecond
			c.Wheel.Detent = false
		})
		e.Sleep(time.Second)
		r, err := bench.Walk(bench.Config{Link: e.Link("desk"), Person: newWatcher(e), Count: true})
		require.NoError(t, err)
		require.True(t, r.Good(), text(r))
		require.InEpsilon(t, turn, r.TurnMillis, 0.05, text(r))
	}
}

// Nobody at the board: what only a person sees is left out, nothing is wrong, and the wheel does not turn.
func TestNobodyAtTheBoard(t *testing.T) {
	for _, image := range honest.Images {
		e := flashertest.New(t, image, nil, nil)
		w := newWatcher(e)
		w.absent = true
		e.Sleep(time.Second)
		r, err := bench.Walk(bench.Config{Link: e.Link("desk"), Person: w})
		require.NoError(t, err)
		require.True(t, r.Good(), text(r))
		require.Zero(t, e.Board.Angle())
		require.GreaterOrEqual(t, r.Count(bench.LeftOut), 4)
	}
}

// A slow and shaky line, and one that loses answers, makes no right board wrong.
func TestRightBoardOnABadLine(t *testing.T) {
	for _, image := range []string{"m328-mains", "m328-cells", "m328-both"} {
		for _, loses := range []int{0, 23} {
			t.Run(fmt.Sprint(image, loses), func(t *testing.T) {
				t.Parallel()
				e := flashertest.New(t, image, nil, nil)
				e.Out, e.In = 4*time.Millisecond, 16*time.Millisecond
				octets := 0
				e.OnAnswer = func() bool {
					octets++
					return loses > 0 && octets%(loses*11) == 0
				}
				r, _ := walk(t, e, "")
				require.True(t, r.Good(), text(r))
			})
		}
	}
}

// In service, with a plan: three walks make no complaint, turn no more than may be given by hand, and the next meal comes, whole.
func TestWalksInService(t *testing.T) {
	for _, image := range []string{"m328-mains", "m328-cells", "m168-mains", "m328-both"} {
		t.Run(image, func(t *testing.T) {
			t.Parallel()
			noon := uint16(flashertest.Start.Hour()*60 + 240)
			e := flashertest.New(t, image, flashertest.Table(t, image, []uint16{noon}, 0), nil)
			for range 3 {
				r, _ := walk(t, e, "")
				require.True(t, r.Good(), text(r))
			}
			byHand := e.Board.Pockets()
			require.LessOrEqual(t, byHand, int64(table.DefaultPerHour))
			e.Sleep(flashertest.Start.Add(4*time.Hour - time.Minute).Sub(e.Now()))
			require.Equal(t, byHand, e.Board.Pockets())
			e.Sleep(2 * time.Minute)
			require.Contains(t, []int64{2, 3}, e.Board.Pockets()-byHand, "18 g in pockets of 6.2 g")
			require.Empty(t, e.Broken)
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

// The page lists every question, for those who prepare answers.
func TestQuestionsOnThePage(t *testing.T) {
	var rows strings.Builder
	for _, key := range slices.Sorted(maps.Keys(bench.Questions())) {
		answers := strings.Join(bench.Questions()[key], ", ")
		if answers == "" {
			answers = "a number"
		}
		fmt.Fprintf(&rows, "| `%s` | %s |\n", key, answers)
	}
	compareBlock(t, "questions", "| question | answers |\n|---|---|\n"+rows.String())
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
