package zone

import (
	"os"
	"strings"
	"testing"
)

// localChange is one line of changes-2027.txt: a zone's clock is set from one reading to another.
type localChange struct {
	zone, footer  string
	before, after int64 // nominal
}

func readChanges(t *testing.T) []localChange {
	t.Helper()
	b, err := os.ReadFile("../../testdata/zone/changes-2027.txt")
	if err != nil {
		t.Fatal(err)
	}
	var out []localChange
	for line := range strings.Lines(string(b)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		f := strings.Fields(line)
		if len(f) < 2 || len(f)%2 != 0 {
			t.Fatalf("changes-2027.txt: %q", line)
		}
		if len(f) == 2 {
			out = append(out, localChange{zone: f[0], footer: f[1]})
		}
		for i := 2; i+1 < len(f); i += 2 {
			out = append(out, localChange{f[0], f[1], wall(t, f[i]), wall(t, f[i+1])})
		}
	}
	return out
}

// The IANA data, release 2026f: the footers as they stand in the files, the wall clock readings computed from
// them independently of this package.
func TestChangesOf2027(t *testing.T) {
	from, to := wall(t, "2027-01-01T00:00"), wall(t, "2028-01-01T00:00")
	want := map[string]int{}
	for _, c := range readChanges(t) {
		z := load(t, c.zone)
		if f, ok := z.Footer(); !ok || f.Text != c.footer {
			t.Errorf("%s: footer %q, want %q", c.zone, f.Text, c.footer)
		}
		if c.before == c.after { // a zone without changes
			want[c.zone] += 0
			continue
		}
		want[c.zone]++
		checkChange(t, z, c)
	}
	for name, n := range want {
		if got := load(t, name).Transitions(from, to); len(got) != n {
			t.Errorf("%s: %d changes in 2027, want %d: %v", name, len(got), n, got)
		}
	}
}

// checkChange asks for the change itself and for the readings RFC 5545 §3.3.5 prescribes on either side and
// in the middle of the gap or overlap.
func checkChange(t *testing.T, z *Zone, c localChange) {
	t.Helper()
	var at int64
	for _, tr := range z.Transitions(c.before-2*86400, c.before+2*86400) {
		if tr.At+int64(tr.Before.Seconds) == c.before && tr.At+int64(tr.After.Seconds) == c.after {
			at = tr.At
		}
	}
	if at == 0 {
		t.Errorf("%s: no change from %s to %s", c.zone, utc(c.before), utc(c.after))
		return
	}
	kind, first, last := Gap, c.before, c.after
	if c.after < c.before {
		kind, first, last = Overlap, c.after, c.before
	}
	for _, r := range []struct {
		nominal, unix int64
		kind          Kind
	}{
		{first - 60, at + first - 60 - c.before, Unique},
		{first, at + first - c.before, kind},
		{(first + last) / 2, at + (first+last)/2 - c.before, kind},
		{last - 1, at + last - 1 - c.before, kind},
		{last, at + last - c.after, Unique},
	} {
		if unix, kind := z.Resolve(r.nominal); unix != r.unix || kind != r.kind {
			t.Errorf("%s %s: %s %v, want %s %v", c.zone, utc(r.nominal), utc(unix), kind, utc(r.unix), r.kind)
		}
	}
}
