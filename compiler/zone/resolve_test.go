package zone

import (
	"testing"
	"time"
)

// wall reads a nominal time written as "2006-01-02T15:04:05" or without seconds.
func wall(t testing.TB, text string) int64 {
	t.Helper()
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02T15:04"} {
		if at, err := time.Parse(layout, text); err == nil {
			return at.Unix()
		}
	}
	t.Fatalf("bad wall time %q", text)
	return 0
}

func load(t testing.TB, name string) *Zone {
	t.Helper()
	z, err := Embedded().Load(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// utc formats an instant for comparison.
func utc(unix int64) string { return time.Unix(unix, 0).UTC().Format("2006-01-02T15:04:05Z") }

// The samples of RFC 5545 §3.3.5, FORM #3.
func TestResolveRFC5545Samples(t *testing.T) {
	z := load(t, "America/New_York")
	for _, c := range []struct {
		wall, utc string
		kind      Kind
	}{
		{"2007-11-04T01:30", "2007-11-04T05:30:00Z", Overlap}, // "1:30 A.M. EDT", −04:00
		{"2007-03-11T02:30", "2007-03-11T07:30:00Z", Gap},     // "3:30 A.M. EDT", −04:00
	} {
		unix, kind := z.Resolve(wall(t, c.wall))
		if utc(unix) != c.utc || kind != c.kind {
			t.Errorf("%s: %s %v, want %s %v", c.wall, utc(unix), kind, c.utc, c.kind)
		}
	}
}
