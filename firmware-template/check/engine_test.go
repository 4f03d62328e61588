package check

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/table/tablegen"
)

// built is the directory of the host programs; TestMain builds them once.
var built string

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "mealtab-host")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	readSources()
	make := exec.Command("make", "-s", "-C", "../host", "BUILD="+dir)
	make.Stdout, make.Stderr = os.Stderr, os.Stderr
	if err := make.Run(); err != nil {
		fmt.Fprintln(os.Stderr, "building the host programs:", err)
		os.Exit(1)
	}
	built = dir
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}

// readSources opens what the programs are built from, so that the cache of test results knows that the tests depend on them.
func readSources() {
	for _, pattern := range []string{"../src/*.[ch]", "../host/*", "../boards/*", "../Makefile"} {
		files, _ := filepath.Glob(pattern)
		for _, f := range files {
			os.ReadFile(f)
		}
	}
}

// pipe is a host program in conversation.
type pipe struct {
	t   testing.TB
	in  io.WriteCloser
	out *bufio.Reader
	cmd *exec.Cmd
}

func start(t testing.TB, program string, args ...string) *pipe {
	cmd := exec.Command(filepath.Join(built, program), args...)
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	p := &pipe{t, in, bufio.NewReaderSize(out, 1<<16), cmd}
	t.Cleanup(func() {
		in.Close()
		if err := cmd.Wait(); err != nil {
			t.Errorf("%s: %v", program, err)
		}
	})
	return p
}

func (p *pipe) send(format string, args ...any) { fmt.Fprintf(p.in, format+"\n", args...) }

func (p *pipe) line() string {
	s, err := p.out.ReadString('\n')
	if err != nil {
		p.t.Fatalf("host program: %v after %q", err, s)
	}
	return strings.TrimSpace(s)
}

// CRC-16/IBM-SDLC, check value of the catalogue of parametrised CRC algorithms and of RFC 1662 section C.2.
func TestCheckValue(t *testing.T) {
	p := start(t, "engine")
	p.send("C %x", "123456789")
	if got := p.line(); got != "906E" {
		t.Errorf("C side gives %s", got)
	}
	if got := table.CRC([]byte("123456789")); got != 0x906E {
		t.Errorf("Go side gives %04X", got)
	}
}

// span is what to run of a table.
type span struct {
	after, limit table.Minute
	preset       int
	slice        int // minutes searched at once
	most         int // servings
	carry        int64
	adjust       int
}

// compare runs the C engine and the Go replay over the same span and fails at the first difference.
func compare(t testing.TB, p *pipe, tab *table.Table, s span) (servings int) {
	encoded, err := table.Encode(tab)
	if err != nil {
		t.Fatal(err)
	}
	p.send("T %x", encoded)
	if got := p.line(); got != "good" {
		t.Fatalf("engine: %s\n%x", got, encoded)
	}
	return compareOpen(t, p, tab, encoded, s)
}

// compareOpen does the same with bytes that the engine has opened already.
func compareOpen(t testing.TB, p *pipe, tab *table.Table, encoded []byte, s span) (servings int) {
	preset := s.preset
	if preset == replay.AllPresets {
		preset = 0xFF
	}
	p.send("R %d %d %d %d %d %d %d", s.after, s.limit, preset, s.slice, s.most, s.carry, s.adjust)
	c := replay.New(tab, replay.Options{From: s.after + 1, To: s.limit + 1, Preset: s.preset, Until: replay.PresetEndAfter(tab, s.after), Adjust: s.adjust, Carry: s.carry})
	for {
		line := p.line()
		if strings.HasPrefix(line, "end") {
			if servings < s.most {
				if v, ok := c.Next(); ok {
					t.Fatalf("engine ends after %d servings, replay has %s\n%x\n%+v", servings, v.At, encoded, s)
				}
			}
			return servings
		}
		servings++
		v, ok := c.Next()
		if want := describe(v); !ok || line != want {
			t.Fatalf("serving %d: engine %q, replay %q (%s)\n%x\n%+v", servings, line, want, v.At, encoded, s)
		}
	}
}

// mostPockets is the one known departure: the feeder turns at most MAX_POCKETS (table.h) for one meal, many hoppers full.
const mostPockets = 1000

func describe(v replay.Serving) string {
	var meals [table.MaxMeals / 8]byte
	pockets := 0
	for _, m := range v.Meals {
		meals[m.Meal/8] |= 1 << (m.Meal % 8)
		pockets += min(m.Pockets, mostPockets)
	}
	return fmt.Sprintf("%d %s %d", v.At, hex.EncodeToString(meals[:]), pockets)
}

// Random tables: every opcode, form and section; random stretches, slices, presets, adjustments, carries.
func TestRandomTables(t *testing.T) {
	const tables, shards = 20_000, 2
	for shard := range uint64(shards) {
		t.Run(fmt.Sprint(shard), func(t *testing.T) {
			t.Parallel()
			p := start(t, "engine")
			servings := 0
			for seed := shard; seed < tables; seed += shards {
				r := rand.New(rand.NewPCG(seed, 3))
				tab := tablegen.Table(r)
				servings += compare(t, p, tab, randomSpan(r, tab))
			}
			t.Logf("%d tables, %d servings", tables/shards, servings)
		})
	}
}

func randomSpan(r *rand.Rand, tab *table.Table) span {
	after := table.Minute(tab.Start)*table.MinutesPerDay - 3000
	if r.IntN(2) == 0 {
		after += table.Minute(r.IntN(int(tab.Through-tab.Start)+4)) * table.MinutesPerDay
	}
	if tab.PresetUntil != 0 && r.IntN(2) == 0 {
		after = table.Minute(tab.PresetUntil)*table.MinutesPerDay - table.Minute(r.IntN(3000))
	}
	s := span{
		after:  after,
		limit:  after + table.Minute(1+r.IntN(25))*table.MinutesPerDay,
		preset: replay.AllPresets,
		slice:  []int{1, 60, 1000, 1560}[r.IntN(4)],
		most:   20,
		adjust: 8 + r.IntN(5),
	}
	if s.slice == 1 {
		s.limit = min(s.limit, after+6000)
	}
	half := int64(5 * tab.Wheel.PocketUnits)
	s.carry = r.Int64N(2*half) - half
	if tab.Presets > 0 && r.IntN(3) > 0 {
		s.preset = r.IntN(tab.Presets)
	}
	return s
}
