package calendar_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestWindowsNameOfTheCalendar(t *testing.T) {
	p := mustParse(t, "x.ics", "BEGIN:VCALENDAR\nX-WR-TIMEZONE:Tokyo Standard Time\nBEGIN:VEVENT\nDTSTART:20261201T070000\nSUMMARY:a 1 pocket\nEND:VEVENT\nEND:VCALENDAR\n")
	assert.Equal(t, "Asia/Tokyo", p.Zone)
}

// Two events may name one zone in both ways; two zones are still two.
func TestWindowsAndIANANamesTogether(t *testing.T) {
	event := func(id string) string {
		return "BEGIN:VEVENT\nDTSTART;TZID=" + id + ":20261201T070000\nSUMMARY:" + id[:1] + " 1 pocket\nEND:VEVENT\n"
	}
	p := mustParse(t, "x.ics", "BEGIN:VCALENDAR\n"+event("W. Europe Standard Time")+event("Europe/Berlin")+"END:VCALENDAR\n")
	assert.Equal(t, "Europe/Berlin", p.Zone)
	p, ds := checked.Parse("x.ics", []byte("BEGIN:VCALENDAR\n"+event("W. Europe Standard Time")+event("Tokyo Standard Time")+"END:VCALENDAR\n"))
	assert.Nil(t, p)
	require.Len(t, ds, 1)
	assert.Equal(t, "this event is in Asia/Tokyo, but the plan is in Europe/Berlin", ds[0].Message)
}
