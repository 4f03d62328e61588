package zone

import (
	"archive/zip"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// source is one release of the data in one of the two flavours of the IANA compiler.
type source struct {
	label string
	db    *Database
}

// sources are all releases at hand: the embedded (slim, own encoder), the system's (fat on Debian, installed
// by the package tzdata) and the one of the Go toolchain (slim, an older release).
func sources(t testing.TB) []source {
	t.Helper()
	system, err := System()
	if err != nil {
		t.Fatalf("%v: install the package tzdata", err)
	}
	return []source{{"embedded", Embedded()}, {"system", system}, {"go", goDatabase(t)}}
}

// goDatabase unpacks the data that comes with the Go toolchain.
func goDatabase(t testing.TB) *Database {
	t.Helper()
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		t.Fatal(err)
	}
	from, to := filepath.Join(strings.TrimSpace(string(root)), "lib", "time"), t.TempDir()
	script, err := os.ReadFile(filepath.Join(from, "update.bash"))
	if err != nil {
		t.Fatal(err)
	}
	release := regexp.MustCompile(`(?m)^DATA=(\w+)`).FindSubmatch(script)
	if release == nil {
		t.Fatal("no DATA= line in update.bash")
	}
	writeFile(t, filepath.Join(to, "+VERSION"), release[1])
	z, err := zip.OpenReader(filepath.Join(from, "zoneinfo.zip"))
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	for _, f := range z.File {
		if !strings.HasSuffix(f.Name, "/") {
			unpack(t, f, filepath.Join(to, f.Name))
		}
	}
	db, err := Dir(to)
	if err != nil {
		t.Fatal(err)
	}
	return db
}

func unpack(t testing.TB, f *zip.File, to string) {
	t.Helper()
	r, err := f.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	b, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	writeFile(t, to, b)
}

func writeFile(t testing.TB, path string, b []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
}

// canonicalNames are the zones (not links) of tzdata.zi, release 2026f, built with "backzone".
func canonicalNames(t testing.TB) []string {
	t.Helper()
	b, err := os.ReadFile("../../testdata/zone/canonical.txt")
	if err != nil {
		t.Fatal(err)
	}
	return strings.Fields(string(b))
}

// goLocation reads the same bytes with Go's reader.
func goLocation(t testing.TB, db *Database, name string) *time.Location {
	t.Helper()
	b, err := db.read(name)
	if err != nil {
		t.Fatal(err)
	}
	loc, err := time.LoadLocationFromTZData(name, b)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// eachZone calls check for every canonical zone of every release at hand.
func eachZone(t *testing.T, check func(t *testing.T, z *Zone, loc *time.Location)) {
	names := canonicalNames(t)
	if len(names) != 447 { // 2026f, counted in tzdata.zi
		t.Fatalf("%d canonical zones, want 447", len(names))
	}
	for _, s := range sources(t) {
		t.Run(s.label, func(t *testing.T) {
			for _, name := range names {
				z, err := s.db.Load(name)
				if err != nil {
					t.Fatal(err)
				}
				check(t, z, goLocation(t, s.db, name))
			}
		})
	}
}

func goOffset(loc *time.Location, unix int64) Offset {
	at := time.Unix(unix, 0).In(loc)
	abbrev, seconds := at.Zone()
	return Offset{Seconds: seconds, Abbrev: abbrev, DST: at.IsDST()}
}

// goTransitions walks Go's zone bounds and keeps those at which the offset changes. A bound may be a mere end
// of year, and on 31 December of a leap year Go 1.26 gives one that has passed: there the walk goes on in
// quarters of an hour.
func goTransitions(loc *time.Location, from, to int64) []Transition {
	var out []Transition
	for at := from; ; {
		_, bound := time.Unix(at, 0).In(loc).ZoneBounds()
		switch {
		case bound.IsZero():
			return out
		case bound.Unix() > at:
			at = bound.Unix()
		default:
			at += 900 - at%900
		}
		if at >= to {
			return out
		}
		t := Transition{At: at, Before: goOffset(loc, at-1), After: goOffset(loc, at)}
		if t.Before.Seconds != t.After.Seconds {
			out = append(out, t)
		}
	}
}

var (
	year2026 = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
	year2100 = time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
)

// The reference is Go's own reader of the same bytes.
func TestTransitionsAreGos(t *testing.T) {
	eachZone(t, func(t *testing.T, z *Zone, loc *time.Location) {
		got, want := z.Transitions(year2026, year2100), goTransitions(loc, year2026, year2100)
		if len(got) != len(want) {
			t.Fatalf("%s: %d transitions, Go has %d", z.Name(), len(got), len(want))
		}
		for i := range got {
			if got[i] != want[i] {
				t.Fatalf("%s: transition %+v, Go has %+v", z.Name(), got[i], want[i])
			}
		}
	})
}

// From long before the first transition to after the last year of the layout, on both sides of each change,
// the offset, its name and the daylight-saving flag are those of Go's reader.
func TestOffsetsAreGos(t *testing.T) {
	eachZone(t, func(t *testing.T, z *Zone, loc *time.Location) {
		check := func(unix int64) {
			if got, want := z.At(unix), goOffset(loc, unix); got != want {
				t.Fatalf("%s at %s: %+v, Go has %+v", z.Name(), utc(unix), got, want)
			}
		}
		for i := 1; i < len(z.spans.starts); i++ {
			at := z.spans.starts[i]
			check(at - 1)
			check(at)
			check(at + 1)
		}
		const step = 199 * 86400
		for unix := startOfYear(1850); unix < startOfYear(2500); unix += step {
			check(unix)
		}
	})
}

// resolveByDefinition is RFC 5545 §3.3.5 in the words of Go's offsets: the earliest instant whose wall clock
// shows nominal; if there is none, nominal read with the offset before the change at t.
func resolveByDefinition(loc *time.Location, t Transition, nominal int64) (int64, Kind) {
	var found []int64
	for _, o := range []Offset{t.Before, t.After} {
		unix := nominal - int64(o.Seconds)
		if goOffset(loc, unix).Seconds == o.Seconds {
			found = append(found, unix)
		}
	}
	switch len(found) {
	case 0:
		return nominal - int64(t.Before.Seconds), Gap
	case 1:
		return found[0], Unique
	}
	return min(found[0], found[1]), Overlap
}

func TestResolveByDefinition(t *testing.T) {
	eachZone(t, func(t *testing.T, z *Zone, loc *time.Location) {
		for _, tr := range goTransitions(loc, year2026, year2100) {
			before, after := tr.At+int64(tr.Before.Seconds), tr.At+int64(tr.After.Seconds)
			low, high := min(before, after), max(before, after)
			for _, nominal := range []int64{low - 1, low, low + 1, (low + high) / 2, high - 1, high, high + 1} {
				unix, kind := z.Resolve(nominal)
				wantUnix, wantKind := resolveByDefinition(loc, tr, nominal)
				if unix != wantUnix || kind != wantKind {
					t.Fatalf("%s, nominal %s: %s %v, want %s %v", z.Name(), utc(nominal), utc(unix), kind, utc(wantUnix), wantKind)
				}
			}
		}
	})
}
