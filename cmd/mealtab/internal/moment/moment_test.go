package moment

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/zone"
)

// The instants are those of RFC 5545 §3.3.5's rule, computed by hand: Lisbon is at UTC in winter, at UTC+1 in summer,
// and the clocks change at 01:00 UTC on the last Sunday of March and October.
func TestParse(t *testing.T) {
	lisbon, err := zone.Embedded().Load("Europe/Lisbon")
	require.NoError(t, err)
	now := time.Date(2027, 6, 30, 23, 30, 59, 0, time.UTC) // 1 July in Lisbon
	for _, c := range []struct{ text, at, end string }{
		{"2027-01-01", "2027-01-01T00:00Z", "2027-01-02T00:00Z"},
		{"2027-03-28", "2027-03-28T00:00Z", "2027-03-28T23:00Z"}, // 23 hours
		{"2027-07-01T08:00", "2027-07-01T07:00Z", ""},
		{"2027-07-01 08:00", "2027-07-01T07:00Z", ""},
		{"2027-07-01T08:00:30", "2027-07-01T07:00Z", ""},
		{"2027-03-28T01:30", "2027-03-28T01:30Z", ""}, // skipped: the offset before holds
		{"2027-10-31T01:30", "2027-10-31T00:30Z", ""}, // repeated: the first
		{"2027-07-01T08:00Z", "2027-07-01T08:00Z", ""},
		{"2027-07-01T08:00:00+05:30", "2027-07-01T02:30Z", ""},
		{"now", "2027-06-30T23:30Z", ""},
		{"today", "2027-06-30T23:00Z", "2027-07-01T23:00Z"},
		{" Tomorrow ", "2027-07-01T23:00Z", "2027-07-02T23:00Z"},
		{"thursday", "2027-06-30T23:00Z", "2027-07-01T23:00Z"}, // today is one
		{"Wed", "2027-07-06T23:00Z", "2027-07-07T23:00Z"},
		{"tomorrow 7:05", "2027-07-02T06:05Z", ""},
		{"sat 23:59", "2027-07-03T22:59Z", ""},
	} {
		m, err := Parse(c.text, lisbon, now)
		require.NoError(t, err, c.text)
		assert.Equal(t, c.at, m.At.String(), c.text)
		if c.end == "" {
			c.end = c.at
		}
		assert.Equal(t, c.end, m.End.String(), c.text)
		assert.Equal(t, c.end != c.at, m.Whole, c.text)
	}
}

func TestFaults(t *testing.T) {
	for _, text := range []string{"", "yesterday", "28.3.2027", "2027-02-30", "2027-03-28T25:00", "1999-12-31", "2100-01-01", "2100-01-01T00:00Z", "tomorrow 24:00", "tomorrow noon", "yesterday 07:00", "18:30"} {
		_, err := Parse(text, zone.UTC(), time.Now())
		assert.Error(t, err, text)
	}
	_, err := Parse("noon", zone.UTC(), time.Now())
	assert.EqualError(t, err, `"noon" is not a time; give `+Forms)
	_, err = Parse("2100-01-01", zone.UTC(), time.Now())
	assert.EqualError(t, err, "2100-01-01 is outside the feeder's calendar, 2000 to 2099")
	_, err = Date("1.1.2027")
	assert.EqualError(t, err, `"1.1.2027" is not a date; give one such as 2027-01-01`)
	_, err = Date("1999-12-31")
	assert.Error(t, err)
	for text, want := range map[string]string{
		"2026-02-30": "February 2026 has 28 days", "2028-02-30T07:00": "February 2028 has 29 days", "2026-04-31 07:00": "April 2026 has 30 days",
		"2026-13-01": "months run from 01 to 12", "2026-00-10": "months run from 01 to 12", "2026-12-00": "December 2026 has 31 days",
	} {
		_, err := Parse(text, zone.UTC(), time.Now())
		assert.EqualError(t, err, `"`+text+`" is not a date: `+want)
		_, err = Date(text)
		assert.ErrorContains(t, err, want)
	}
}

func TestDate(t *testing.T) {
	d, err := Date("2000-01-01")
	require.NoError(t, err)
	assert.EqualValues(t, 0, d)
	d, err = Date("2099-12-31")
	require.NoError(t, err)
	assert.EqualValues(t, 36524, d) // table.MaxDay, the clock chip's last day
}

func TestMinuteRoundsDown(t *testing.T) {
	assert.EqualValues(t, -1, Minute(time.Date(1999, 12, 31, 23, 59, 59, 0, time.UTC)))
	assert.EqualValues(t, 0, Minute(time.Date(2000, 1, 1, 0, 0, 59, 0, time.UTC)))
}
