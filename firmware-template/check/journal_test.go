package check

import (
	"fmt"
	"math/bits"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
)

// The program cuts the power in the middle of random writes and compares with a model; see journal_cuts.c. A failure prints the seed,
// which repeats it.
func TestJournalCuts(t *testing.T) {
	for seed := 1; seed <= 4; seed++ {
		out, err := exec.Command(filepath.Join(built, "journal_cuts"), fmt.Sprint(seed), "20000").CombinedOutput()
		if err != nil || !strings.HasSuffix(string(out), " cuts\n") {
			t.Errorf("seed %d: %v: %s", seed, err, out)
		}
		t.Logf("seed %d: %s", seed, out)
	}
}

// What the C side writes, Go reads: sequence marks, cursor, settings, token, steps, through more than a whole round of
// sequence numbers.
func TestJournalReadByGo(t *testing.T) {
	l := newLine(t)
	m, _ := table.MapFor(1024)
	l.install(golden(t, "01-two-cats.txt"))
	l.ask("SERVE", []byte{1, 93, 0, 0}) // three pockets of 31 units
	j, ok := table.NewestJournal(l.eeprom(), m)
	if !ok || j.Kind != table.JournalManual || j.Token != 1 || j.Pockets != 3 || j.Steps != 4 || !j.Done() || j.Carry != 0 {
		t.Fatalf("after a serving the journal reads as %+v, %v", j, ok)
	}
	for n := 1; n <= 70; n++ {
		adjust := 8 + n%5
		l.ask("SETTINGS", []byte{0xFF, byte(adjust)})
		if n%3 == 0 {
			l.restart()
		}
		j, ok := table.NewestJournal(l.eeprom(), m)
		if !ok || j.Adjust != adjust || j.Token != 1 || j.Cursor == table.CursorNone {
			t.Fatalf("record %d reads as %+v, %v", n, j, ok)
		}
	}
}

// The marks: each has an index and four bits set, so that one with extra ones is none.
func TestMarks(t *testing.T) {
	seen := map[byte]bool{}
	for i := range table.MarkCount {
		b := table.Mark(i)
		if index, ok := table.MarkIndex(b); !ok || index != i || seen[b] || bits.OnesCount8(b) != 4 {
			t.Errorf("mark %d is %02X with index %d, %v", i, b, index, ok)
		}
		seen[b] = true
	}
	if _, ok := table.MarkIndex(0xFF); ok {
		t.Error("FF is a mark")
	}
}

// The resume rule over every sequence of up to 20 cuts; see resume_cuts.c.
func TestResumeRule(t *testing.T) {
	out, err := exec.Command(filepath.Join(built, "resume_cuts")).CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Contains(t, string(out), " cuts\n")
	t.Logf("%s", out)
}
