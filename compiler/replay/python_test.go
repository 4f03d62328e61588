package replay_test

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/table/tablegen"
)

// question is what both readers are asked of one table.
type question struct {
	encoded      []byte
	after, limit table.Minute
	preset       int
	adjust       int
	carry        int64
}

const mostServings = 40

// A reader in another language, written from FORMAT.md alone, gives the same servings of the golden tables, of random ones and of those at
// each limit of the format, and refuses the same bytes. READER_TABLES is how many random ones; half as many again are mutated.
func TestReaderWrittenFromThePage(t *testing.T) {
	n := 600
	if s := os.Getenv("READER_TABLES"); s != "" {
		var err error
		n, err = strconv.Atoi(s)
		require.NoError(t, err)
	}
	var questions []question
	for _, encoded := range golden(t) {
		questions = append(questions, ask(rand.New(rand.NewPCG(1, 7)), encoded), ask(rand.New(rand.NewPCG(2, 7)), encoded))
	}
	for seed := range uint64(n) {
		r := rand.New(rand.NewPCG(seed, 7))
		encoded, err := table.Encode(tablegen.Table(r))
		require.NoError(t, err)
		questions = append(questions, ask(r, encoded))
		if seed%2 == 0 {
			questions = append(questions, ask(r, mutated(r, encoded)))
		}
	}
	for i, tab := range tablegen.Limits() {
		encoded, err := table.Encode(tab.Table)
		require.NoError(t, err, tab.Name)
		questions = append(questions, ask(rand.New(rand.NewPCG(uint64(i), 8)), encoded))
	}
	servings, refused := compareReaders(t, questions)
	t.Logf("%d tables, %d servings the same, %d refused by both", len(questions), servings, refused)
	require.Greater(t, servings, 5*n)
	require.Greater(t, refused, n/10)
}

// golden reads the tables in testdata/tables: hex up to the first empty line.
func golden(t *testing.T) (tables [][]byte) {
	files, err := filepath.Glob("../../testdata/tables/*.txt")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, f := range files {
		text, err := os.ReadFile(f)
		require.NoError(t, err)
		head, _, _ := strings.Cut(string(text), "\n\n")
		b, err := hex.DecodeString(strings.Join(strings.Fields(head), ""))
		require.NoError(t, err, f)
		tables = append(tables, b)
	}
	return tables
}

// ask draws a stretch of a table, which may be none.
func ask(r *rand.Rand, encoded []byte) question {
	q := question{encoded: encoded, preset: replay.AllPresets, adjust: 8 + r.IntN(5)}
	tab, err := table.Decode(encoded)
	if err != nil {
		return q
	}
	q.after = table.Minute(tab.Start)*table.MinutesPerDay - 3000
	if r.IntN(2) == 0 {
		q.after += table.Minute(r.IntN(int(tab.Through-tab.Start)+4)) * table.MinutesPerDay
	}
	if tab.PresetUntil != 0 && r.IntN(2) == 0 {
		q.after = table.Minute(tab.PresetUntil)*table.MinutesPerDay - table.Minute(r.IntN(3000))
	}
	q.limit = q.after + table.Minute(1+r.IntN(20))*table.MinutesPerDay
	half := int64(5 * tab.Wheel.PocketUnits)
	q.carry = r.Int64N(2*half) - half
	if tab.Presets > 0 && r.IntN(3) > 0 {
		q.preset = r.IntN(tab.Presets)
	}
	return q
}

// mutated changes a byte or two and makes the check right again.
func mutated(r *rand.Rand, encoded []byte) []byte {
	b := bytes.Clone(encoded)
	for range 1 + r.IntN(2) {
		b[4+r.IntN(len(b)-6)] = byte(r.Uint32())
	}
	return table.WithSequence(b, b[3])
}

func compareReaders(t *testing.T, questions []question) (servings, refused int) {
	var in bytes.Buffer
	for _, q := range questions {
		fmt.Fprintf(&in, "%x %d %d %d %d %d %d\n", q.encoded, q.after, q.limit, q.preset, q.adjust, q.carry, mostServings)
	}
	python := exec.Command("python3", "../../compiler/table/testdata/decode.py")
	python.Stdin, python.Stderr = &in, os.Stderr
	out, err := python.Output()
	require.NoError(t, err)
	lines := bufio.NewScanner(bytes.NewReader(out))
	for _, q := range questions {
		tab, err := table.Decode(q.encoded)
		if err != nil {
			require.True(t, lines.Scan())
			require.Contains(t, lines.Text(), "refused", "Go: %v\n%x", err, q.encoded)
			refused++
			continue
		}
		c := replay.New(tab, replay.Options{From: q.after + 1, To: q.limit + 1, Preset: q.preset, Until: replay.PresetEndAfter(tab, q.after), Adjust: q.adjust, Carry: q.carry})
		for range mostServings {
			s, ok := c.Next()
			if !ok {
				break
			}
			require.True(t, lines.Scan())
			require.Equal(t, told(s), lines.Text(), "%x\n%+v", q.encoded, q)
			servings++
		}
		require.True(t, lines.Scan())
		require.Contains(t, lines.Text(), "end ", "%x\n%+v", q.encoded, q)
	}
	require.False(t, lines.Scan())
	return servings, refused
}

func told(s replay.Serving) string {
	meals := make([]string, len(s.Meals))
	for i, m := range s.Meals {
		meals[i] = strconv.Itoa(m.Meal)
	}
	return fmt.Sprintf("%d %s %d", s.At, strings.Join(meals, ","), s.Pockets())
}
