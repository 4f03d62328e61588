package check

import (
	"bytes"
	"encoding/hex"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/table/tablegen"
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

// Arbitrary bytes in a frame with a good check: Go and C accept the same ones, and give the same servings of them, also of tables that say
// something in more bytes than needed. The sanitizers watch.
func TestHostileTables(t *testing.T) {
	p := start(t, "engine")
	accepted, refused := 0, 0
	for seed := range uint64(60_000) {
		r := rand.New(rand.NewPCG(seed, 4))
		b := hostile(r)
		if sameOfBoth(t, p, b, r) {
			accepted++
		} else {
			refused++
		}
	}
	t.Logf("%d accepted by both, %d refused by both", accepted, refused)
	if accepted < 1000 || refused < 1000 {
		t.Errorf("%d and %d tables are too few to show anything", accepted, refused)
	}
}

// sameOfBoth compares what Go's decoder and C's table_open say of bytes, and, where both accept them, some servings.
func sameOfBoth(t testing.TB, p *pipe, b []byte, r *rand.Rand) (accepted bool) {
	t.Helper()
	p.send("T %x", b)
	got := p.line()
	tab, err := table.Decode(b)
	if (err == nil) != (got == "good") {
		t.Fatalf("Go: %v; C: %s\n%x", err, got, b)
	}
	if err != nil {
		return false
	}
	s := randomSpan(r, tab)
	s.limit = min(s.limit, s.after+4000)
	compareOpen(t, p, tab, b, s)
	return true
}

// Fuzzing for what the two sides read differently: `go test -fuzz FuzzBothReaders`.
func FuzzBothReaders(f *testing.F) {
	for seed := range uint64(40) {
		b, err := table.Encode(tablegen.Table(rand.New(rand.NewPCG(seed, 5))))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b[2 : len(b)-2])
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		if len(body) > bankRoom-4 {
			return
		}
		b := framed(append(append([]byte{0, 0}, body...), 0, 0))
		sameOfBoth(t, start(t, "engine"), b, rand.New(rand.NewPCG(uint64(len(b)), 6)))
	})
}

// bankRoom is the longest table that any board holds: longer ones are none to either side.
const bankRoom = 415

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
			b[2+r.IntN(len(b)-2)] = byte(r.Uint32())
		}
		if r.IntN(8) == 0 { // one more or one less
			at := 2 + r.IntN(len(b)-2)
			b = append(b[:at], b[at+r.IntN(2):]...)
			b = append(b, byte(r.Uint32()))
		}
	}
	return framed(b)
}

// framed gives bytes the head and the check of a table, in their place.
func framed(b []byte) []byte {
	b[0] = table.Version<<4 | byte(len(b)>>8)
	b[1] = byte(len(b))
	crc := table.CRC(b[:len(b)-2])
	b[len(b)-2], b[len(b)-1] = byte(crc), byte(crc>>8)
	return b
}
