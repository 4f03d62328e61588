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

// Each reading by RFC 5545 §3.3.5 from the offsets of the IANA data, release 2026f. Where Go's time.Date has
// another answer the line says so: it promises neither.
func TestResolveNamedCases(t *testing.T) {
	for _, c := range []struct {
		zone, wall, utc string
		kind            Kind
	}{
		{"America/New_York", "2027-03-14T02:30", "2027-03-14T07:30:00Z", Gap}, // time.Date: 06:30Z
		{"America/New_York", "2027-11-07T01:30", "2027-11-07T05:30:00Z", Overlap},
		{"Europe/London", "2027-03-28T01:30", "2027-03-28T01:30:00Z", Gap},
		{"Europe/London", "2027-10-31T01:30", "2027-10-31T00:30:00Z", Overlap}, // time.Date: 01:30Z
		{"Europe/Dublin", "2027-10-31T01:30", "2027-10-31T00:30:00Z", Overlap},
		{"Australia/Lord_Howe", "2027-04-04T01:45", "2027-04-03T14:45:00Z", Overlap}, // time.Date: 15:15Z
		{"Australia/Lord_Howe", "2027-10-03T02:15", "2027-10-02T15:45:00Z", Gap},
		{"Antarctica/Troll", "2027-03-28T02:59", "2027-03-28T02:59:00Z", Gap},
		{"Antarctica/Troll", "2027-10-31T01:00", "2027-10-30T23:00:00Z", Overlap},
		{"Antarctica/Troll", "2027-10-31T02:59", "2027-10-31T00:59:00Z", Overlap},
		{"America/Nuuk", "2027-03-27T23:30", "2027-03-28T01:30:00Z", Gap}, // time.Date: 00:30Z
		{"America/Nuuk", "2027-10-30T23:30", "2027-10-31T00:30:00Z", Overlap},
		{"Africa/Cairo", "2027-04-30T00:30", "2027-04-29T22:30:00Z", Gap},
		{"Africa/Cairo", "2027-10-28T23:30", "2027-10-28T20:30:00Z", Overlap},
		{"Asia/Gaza", "2027-03-27T02:30", "2027-03-27T00:30:00Z", Gap},
		// Palestine interrupts summer time for Ramadan: explicit in the data, not in the footer.
		{"Asia/Gaza", "2040-08-31T12:00", "2040-08-31T09:00:00Z", Unique},
		{"Asia/Gaza", "2040-09-01T01:30", "2040-08-31T22:30:00Z", Overlap},
		{"Asia/Gaza", "2040-09-15T12:00", "2040-09-15T10:00:00Z", Unique},
		{"Asia/Gaza", "2040-10-20T02:30", "2040-10-20T00:30:00Z", Gap},
		{"Asia/Gaza", "2040-10-22T12:00", "2040-10-22T09:00:00Z", Unique},
		// Samoa went from −10 to +14 over a day that never was.
		{"Pacific/Apia", "2011-12-29T23:59", "2011-12-30T09:59:00Z", Unique},
		{"Pacific/Apia", "2011-12-30T00:00", "2011-12-30T10:00:00Z", Gap},
		{"Pacific/Apia", "2011-12-30T12:00", "2011-12-30T22:00:00Z", Gap},
		{"Pacific/Apia", "2011-12-30T23:59", "2011-12-31T09:59:00Z", Gap},
		{"Pacific/Apia", "2011-12-31T00:00", "2011-12-30T10:00:00Z", Unique},
		// Cuba leaves out the change of November 2026.
		{"America/Havana", "2026-11-01T00:30", "2026-11-01T04:30:00Z", Unique},
		{"America/Havana", "2027-03-14T00:30", "2027-03-14T04:30:00Z", Unique},
		{"America/Havana", "2027-11-07T00:30", "2027-11-07T04:30:00Z", Overlap},
	} {
		unix, kind := load(t, c.zone).Resolve(wall(t, c.wall))
		if utc(unix) != c.utc || kind != c.kind {
			t.Errorf("%s %s: %s %v, want %s %v", c.zone, c.wall, utc(unix), kind, c.utc, c.kind)
		}
	}
}
