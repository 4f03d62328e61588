package check

import (
	"bytes"
	"encoding/hex"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mealtab/compiler/table"
	"mealtab/compiler/table/tablegen"
	"mealtab/emulator/replay"
)

// goldenTables reads testdata/tables: hex up to the first empty line, then the listing.
func goldenTables(t testing.TB) map[string][]byte {
	files, err := filepath.Glob("../../testdata/tables/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no golden tables: %v", err)
	}
	golden := map[string][]byte{}
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		head, _, _ := strings.Cut(string(text), "\n\n")
		b, err := hex.DecodeString(strings.Join(strings.Fields(head), ""))
		if err != nil {
			t.Fatalf("%s: %v", f, err)
		}
		golden[filepath.Base(f)] = b
	}
	return golden
}

// Every golden table over its first fourteen months, which hold a leap day or a change of clocks, holidays and month ends.
func TestGoldenTables(t *testing.T) {
	p := start(t, "engine")
	for name, encoded := range goldenTables(t) {
		tab, err := table.Decode(encoded)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		start := table.Minute(tab.Start) * table.MinutesPerDay
		s := span{after: start - 3000, limit: start + 425*table.MinutesPerDay, preset: replay.AllPresets, slice: 1560, most: 1 << 20, adjust: 10}
		if n := compare(t, p, tab, s); n == 0 {
			t.Errorf("%s: no servings", name)
		}
	}
}

// A flipped bit anywhere in a table is noticed: CRC-16 detects every single error.
func TestFlippedBits(t *testing.T) {
	p := start(t, "engine")
	for name, encoded := range goldenTables(t) {
		for bit := range 8 * len(encoded) {
			b := bytes.Clone(encoded)
			b[bit/8] ^= 1 << (bit % 8)
			p.send("T %x", b)
			if got := p.line(); got == "good" {
				t.Fatalf("%s: bit %d of byte %d flipped unnoticed", name, bit%8, bit/8)
			}
		}
	}
}

// Arbitrary bytes in a frame with a good check: what Go reads, C reads and serves the same; whatever C accepts it searches within
// bounds (the sanitizers watch).
func TestHostileTables(t *testing.T) {
	p := start(t, "engine")
	accepted, lenient := 0, 0
	for seed := range uint64(20_000) {
		r := rand.New(rand.NewPCG(seed, 4))
		b := hostile(r)
		p.send("T %x", b)
		got := p.line()
		tab, err := table.Decode(b)
		switch {
		case err == nil && !canonical(tab, b): // terms that say nothing, which no encoder writes: each side reads them its way
		case err == nil && got != "good":
			t.Fatalf("Go reads what C refuses (%s):\n%x", got, b)
		case err == nil:
			accepted++
			s := randomSpan(r, tab)
			s.limit = s.after + 4000
			compare(t, p, tab, s)
		case got == "good":
			lenient++
			after := r.IntN(55_000_000)
			p.send("R %d %d %d 1560 20 0 10", after, after+9000, r.IntN(9))
			for !strings.HasPrefix(p.line(), "end") {
			}
		}
	}
	t.Logf("%d read by both, %d by C only", accepted, lenient)
	if accepted < 100 || lenient < 100 {
		t.Errorf("%d and %d tables are too few to show anything", accepted, lenient)
	}
}

// canonical says whether an encoder would write the table so.
func canonical(tab *table.Table, b []byte) bool {
	again, err := table.Encode(tab)
	return err == nil && bytes.Equal(table.WithSequence(again, b[3]), b)
}

// hostile returns random bytes, or a valid table with some bytes changed, in a good frame.
func hostile(r *rand.Rand) []byte {
	var b []byte
	if r.IntN(4) == 0 {
		b = make([]byte, 10+r.IntN(60))
		for i := range b {
			b[i] = byte(r.Uint32())
		}
	} else {
		b, _ = table.Encode(tablegen.Table(r))
		for range 1 + r.IntN(3) {
			b[4+r.IntN(len(b)-4)] = byte(r.Uint32())
		}
	}
	b[0] = table.Version<<4 | byte(len(b)>>8)
	b[1] = byte(len(b))
	crc := table.CRC(b[:len(b)-2])
	b[len(b)-2], b[len(b)-1] = byte(crc), byte(crc>>8)
	return b
}
