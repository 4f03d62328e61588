package compiler

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/zone"
)

// edges are plans at the ends of what can be written: each compiles to so many servings, or is refused with these words.
var edges = []struct {
	name, plan string
	servings   int
	refused    string
}{
	{"EXDATE with seconds", tomlMeal("dtstart = 2026-12-01T07:00:00\nexdate = [2026-12-24T07:00:30]"), 0, "whole minute"},
	{"EXDATE with second 60, which is read as 59", icsEvents("DTSTART;TZID=Europe/Lisbon:20261201T070000\nRRULE:FREQ=DAILY\nEXDATE;TZID=Europe/Lisbon:20261224T070060"), 0, "whole minute"},
	{"EXDATE with seconds in UTC", icsEvents("DTSTART;TZID=Europe/Lisbon:20261201T070000\nRRULE:FREQ=DAILY\nEXDATE:20261224T070030Z"), 0, "whole minute"},
	{"RECURRENCE-ID with seconds", icsEvents("DTSTART;TZID=Europe/Lisbon:20261201T070000\nRRULE:FREQ=DAILY",
		"RECURRENCE-ID;TZID=Europe/Lisbon:20261203T070030\nDTSTART;TZID=Europe/Lisbon:20261203T090000"), 0, "whole minute"},
	{"several times of one date", icsEvents("DTSTART;TZID=Europe/Lisbon:20261201T070000\nX-MEALTAB-AT:07:00,18:00"), 2, ""},
	{"several times of one date, one before DTSTART", icsEvents("DTSTART;TZID=Europe/Lisbon:20261201T120000\nX-MEALTAB-AT:07:00,18:00"), 1, ""},
	{"several times of one date in UTC, and another day", icsEvents("DTSTART:20261201T070000Z\nX-MEALTAB-AT:07:00,18:00\nRDATE:20261203T090000Z"), 3, ""},
	{"several times of a DATE", icsEvents("DTSTART;TZID=Europe/Lisbon:20261201T070000", "UID:b\nDTSTART;VALUE=DATE:20261202\nX-MEALTAB-AT:07:00,18:00"), 3, ""},
	{"begins after the last time of the calendar", tomlMeal("dtstart = 2099-12-31T23:59:00\nrrule = \"FREQ=DAILY;BYHOUR=7;BYMINUTE=0\""), 0, ""},
	{"begins on the last minute of the calendar", tomlMeal("dtstart = 2099-12-31T23:59:00\nrrule = \"FREQ=DAILY\""), 1, ""},
	{"begins on the last day, hourly", tomlMeal("dtstart = 2099-12-31T22:30:00\nrrule = \"FREQ=HOURLY\""), 2, ""},
	{"begins on the last day, every five hours of a cycle", tomlMeal("dtstart = 2099-12-31T23:30:00\nrrule = \"FREQ=HOURLY;INTERVAL=5\""), 1, ""},
	{"begins on the last minute, weekly on another day", tomlMeal("dtstart = 2099-12-31T23:59:00\nrrule = \"FREQ=WEEKLY;BYDAY=MO\""), 0, ""},
	{"numbers with a sign and with zeros in front", tomlMeal("dtstart = 2026-12-01T07:00:00\nrrule = \"FREQ=DAILY;BYHOUR=+7;BYMINUTE=-0,0030;COUNT=4\""), 4, ""},
	{"ends on the first minute of the calendar", tomlMeal("dtstart = 2000-01-01T00:00:00\nrrule = \"FREQ=DAILY;COUNT=1\""), 1, ""},
}

func tomlMeal(lines string) string {
	return "zone = \"Europe/Lisbon\"\n[[meal]]\nname = \"a\"\nportion = \"1 pocket\"\n" + lines + "\n"
}

func icsEvents(events ...string) string {
	var b strings.Builder
	b.WriteString("BEGIN:VCALENDAR\n")
	for _, e := range events {
		b.WriteString("BEGIN:VEVENT\nSUMMARY:a 1 pocket\n" + e + "\n")
		if !strings.Contains(e, "UID:") {
			b.WriteString("UID:a\n")
		}
		b.WriteString("END:VEVENT\n")
	}
	return b.String() + "END:VCALENDAR\n"
}

// An ordinary plan is compiled and proved, or refused with a reason; it never ends in an internal error.
func TestEdges(t *testing.T) {
	board, err := profile.Load("m328-mains")
	require.NoError(t, err)
	for _, edge := range edges {
		p, ds := reader.With(zone.Embedded()).Parse("plan", []byte(edge.plan))
		if edge.refused != "" {
			var said strings.Builder
			require.NoError(t, plan.Render(&said, ds, false))
			assert.Nil(t, p, edge.name)
			assert.Contains(t, said.String(), edge.refused, edge.name)
			continue
		}
		require.NotNil(t, p, "%s: %v", edge.name, ds)
		z, err := zone.Embedded().Load(p.Zone)
		require.NoError(t, err)
		out, err := Compile(p, z, Options{Board: board})
		if assert.NoError(t, err, edge.name) {
			assert.Equal(t, edge.servings, out.Proof.Instants, edge.name)
		}
	}
}

// TestTheCalendarsFirstDay compiles for every zone a table that begins where the calendar does: east of Greenwich that is before
// 2000 in UTC, by an offset that some zones have long given up.
func TestTheCalendarsFirstDay(t *testing.T) {
	board, err := profile.Load("m328-mains")
	require.NoError(t, err)
	src := `zone = "%"
[[meal]]
name    = "a"
portion = "1 pocket"
dtstart = 2000-01-01T00:00:00
rrule   = "FREQ=DAILY;UNTIL=20000401"
at      = ["00:00", "02:30", "12:00", "23:59"]
`
	for _, name := range zone.Embedded().Names() {
		p, ds := reader.With(zone.Embedded()).Parse("plan", []byte(strings.Replace(src, "%", name, 1)))
		require.NotNil(t, p, "%s: %v", name, ds)
		z, err := zone.Embedded().Load(p.Zone)
		require.NoError(t, err)
		out, err := Compile(p, z, Options{Board: board})
		if err != nil { // a few zones have changed their clocks a minute past the quarter hour
			assert.ErrorContains(t, err, "on a quarter hour, as a table's exceptions must be", name)
		} else {
			assert.InDelta(t, 4*92, out.Proof.Instants, 2, name)
		}
	}
}
