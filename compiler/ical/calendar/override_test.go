package calendar_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
)

// calendar puts events together: lines of one are separated by a space, those of all share title and UID.
func calendarWith(events ...string) string {
	var b strings.Builder
	b.WriteString("BEGIN:VCALENDAR\nVERSION:2.0\nX-WR-TIMEZONE:Europe/Lisbon\n")
	for _, e := range events {
		b.WriteString("BEGIN:VEVENT\n")
		if !strings.Contains(e, "UID:") {
			b.WriteString("UID:a\n")
		}
		if !strings.Contains(e, "SUMMARY:") {
			b.WriteString("SUMMARY:supper 2 pockets\n")
		}
		b.WriteString(strings.ReplaceAll(e, " ", "\n") + "\nEND:VEVENT\n")
	}
	return b.String() + "END:VCALENDAR\n"
}

// fed lists what a calendar serves, "0301T18:00=2" for two pockets, in local time; several meals at one instant add up.
func fed(t *testing.T, p *plan.Plan) string {
	t.Helper()
	pockets := map[int64]int{}
	for _, m := range p.Meals {
		for _, u := range instants(t, p, m.Set, from, to) {
			pockets[u] += m.Portion.Pockets
		}
	}
	var list []int64
	for u := range pockets {
		list = append(list, u)
	}
	slices.Sort(list)
	var out []string
	for _, u := range list {
		unix := time.Unix(u, 0).UTC()
		l, err := checked.Zones.Convert(p.Zone, plan.Local{Year: unix.Year(), Month: int(unix.Month()), Day: unix.Day(), Hour: unix.Hour(), Minute: unix.Minute()}, plan.UTC, plan.Zoned)
		require.NoError(t, err)
		out = append(out, l.String()[5:16]+"="+string(rune('0'+pockets[u])))
	}
	return strings.NewReplacer("2027-", "", "-", "").Replace(strings.Join(out, " "))
}

// What stands for an instance is served exactly once, whatever form its times are written in (RFC 5545 §3.8.4.4). What is
// expected was worked out by hand from that clause; Lisbon is an hour ahead of UTC from 28 March 2027.
func TestOverridesAreServedOnce(t *testing.T) {
	const april = "DTSTART;TZID=Europe/Lisbon:20270401T180000 RRULE:FREQ=DAILY;COUNT=4"
	const weekly = "DTSTART;TZID=Europe/Lisbon:20270405T180000 RRULE:FREQ=WEEKLY;INTERVAL=2;BYDAY=MO,FR;COUNT=4"
	tests := []struct {
		name   string
		events []string
		want   string
		warns  string
	}{
		{"RECURRENCE-ID in UTC, DTSTART local", []string{april, "RECURRENCE-ID:20270402T170000Z DTSTART;TZID=Europe/Lisbon:20270402T190000"},
			"0401T18:00=2 0402T19:00=2 0403T18:00=2 0404T18:00=2", ""},
		{"the same time in both forms", []string{april, "RECURRENCE-ID:20270402T170000Z DTSTART;TZID=Europe/Lisbon:20270402T180000"},
			"0401T18:00=2 0402T18:00=2 0403T18:00=2 0404T18:00=2", ""},
		{"DTSTART in UTC, RECURRENCE-ID local", []string{"DTSTART:20270401T170000Z RRULE:FREQ=DAILY;COUNT=3", "RECURRENCE-ID;TZID=Europe/Lisbon:20270402T180000 DTSTART:20270402T170000Z"},
			"0401T18:00=2 0402T18:00=2 0403T18:00=2", ""},
		{"two change places", []string{april, "RECURRENCE-ID:20270402T170000Z DTSTART;TZID=Europe/Lisbon:20270403T180000",
			"RECURRENCE-ID;TZID=Europe/Lisbon:20270403T180000 DTSTART:20270402T170000Z"}, "0401T18:00=2 0402T18:00=2 0403T18:00=2 0404T18:00=2", ""},
		{"moved onto another instance", []string{april, "RECURRENCE-ID;TZID=Europe/Lisbon:20270402T180000 DTSTART;TZID=Europe/Lisbon:20270403T180000"},
			"0401T18:00=2 0403T18:00=4 0404T18:00=2", ""},
		{"two moved to one time", []string{april, "RECURRENCE-ID;TZID=Europe/Lisbon:20270402T180000 DTSTART;TZID=Europe/Lisbon:20270410T180000",
			"RECURRENCE-ID:20270403T170000Z DTSTART:20270410T170000Z"}, "0401T18:00=2 0404T18:00=2 0410T18:00=4", ""},
		{"an instance that the series does not have", []string{april, "RECURRENCE-ID;TZID=Europe/Lisbon:20270402T070000 DTSTART;TZID=Europe/Lisbon:20270402T070000"},
			"0401T18:00=2 0402T07:00=2 0402T18:00=2 0403T18:00=2 0404T18:00=2", ""},
		{"an instance that the series excludes", []string{april + " EXDATE;TZID=Europe/Lisbon:20270402T180000", "RECURRENCE-ID;TZID=Europe/Lisbon:20270402T180000 DTSTART;TZID=Europe/Lisbon:20270402T180000"},
			"0401T18:00=2 0402T18:00=2 0403T18:00=2 0404T18:00=2", ""},
		{"cancelled, in UTC", []string{april, "RECURRENCE-ID:20270402T170000Z STATUS:CANCELLED"}, "0401T18:00=2 0403T18:00=2 0404T18:00=2", ""},
		{"in the hour that is skipped: 01:30 is 02:30", []string{"DTSTART;TZID=Europe/Lisbon:20270327T013000 RRULE:FREQ=DAILY;COUNT=3", "RECURRENCE-ID:20270328T013000Z STATUS:CANCELLED"},
			"0327T01:30=2 0329T01:30=2", ""},
		{"EXDATE in UTC in the hour that is skipped", []string{"DTSTART;TZID=Europe/Lisbon:20270327T013000 RRULE:FREQ=DAILY;COUNT=3 EXDATE:20270328T013000Z"},
			"0327T01:30=2 0329T01:30=2", ""},
		{"EXDATE in UTC in the hour that is repeated: the second 01:30 is no instance", []string{"DTSTART;TZID=Europe/Lisbon:20271030T013000 RRULE:FREQ=DAILY;COUNT=3 EXDATE:20271031T013000Z"},
			"1030T01:30=2 1031T01:30=2 1101T01:30=2", "leaves nothing out"},
		{"an override with an RRULE", []string{april, "RECURRENCE-ID;TZID=Europe/Lisbon:20270402T180000 DTSTART;TZID=Europe/Lisbon:20270402T190000 RRULE:FREQ=DAILY;COUNT=5"},
			"0401T18:00=2 0402T19:00=2 0403T18:00=2 0404T18:00=2", "RRULE is left out"},
		{"two revisions of an event", []string{april + " SEQUENCE:0", "DTSTART;TZID=Europe/Lisbon:20270401T190000 RRULE:FREQ=DAILY;COUNT=2 SEQUENCE:1"},
			"0401T19:00=2 0402T19:00=2", "revision 0"},
		{"two revisions of an override, one in UTC", []string{april, "RECURRENCE-ID:20270402T170000Z DTSTART;TZID=Europe/Lisbon:20270402T190000 SEQUENCE:2",
			"RECURRENCE-ID;TZID=Europe/Lisbon:20270402T180000 DTSTART;TZID=Europe/Lisbon:20270402T200000 SEQUENCE:1"},
			"0401T18:00=2 0402T19:00=2 0403T18:00=2 0404T18:00=2", "revision 1"},

		{"THISANDFUTURE, another portion", []string{april, "RECURRENCE-ID;RANGE=THISANDFUTURE;TZID=Europe/Lisbon:20270403T180000 DTSTART;TZID=Europe/Lisbon:20270403T180000 SUMMARY:supper\t3\tpockets"},
			"0401T18:00=2 0402T18:00=2 0403T18:00=3 0404T18:00=3", ""},
		{"THISANDFUTURE, an hour later, from the first", []string{april, "RECURRENCE-ID;RANGE=THISANDFUTURE:20270401T170000Z DTSTART;TZID=Europe/Lisbon:20270401T190000"},
			"0401T19:00=2 0402T19:00=2 0403T19:00=2 0404T19:00=2", ""},
		{"THISANDFUTURE, a day later, every other week", []string{weekly, "RECURRENCE-ID;RANGE=THISANDFUTURE;TZID=Europe/Lisbon:20270409T180000 DTSTART;TZID=Europe/Lisbon:20270410T180000"},
			"0405T18:00=2 0410T18:00=2 0420T18:00=2 0424T18:00=2", ""},
		{"THISANDFUTURE beyond an EXDATE, and an override after it", []string{april + " EXDATE;TZID=Europe/Lisbon:20270404T180000", "RECURRENCE-ID;RANGE=THISANDFUTURE;TZID=Europe/Lisbon:20270402T180000 DTSTART;TZID=Europe/Lisbon:20270402T190000",
			"RECURRENCE-ID;TZID=Europe/Lisbon:20270403T180000 DTSTART;TZID=Europe/Lisbon:20270403T080000"},
			"0401T18:00=2 0402T19:00=2 0403T08:00=2", ""},
		{"THISANDFUTURE twice", []string{april, "RECURRENCE-ID;RANGE=THISANDFUTURE;TZID=Europe/Lisbon:20270402T180000 DTSTART;TZID=Europe/Lisbon:20270402T190000",
			"RECURRENCE-ID;RANGE=THISANDFUTURE;TZID=Europe/Lisbon:20270404T180000 DTSTART;TZID=Europe/Lisbon:20270404T080000"},
			"0401T18:00=2 0402T19:00=2 0403T19:00=2 0404T08:00=2", ""},
		{"THISANDFUTURE cancelled", []string{april, "RECURRENCE-ID;RANGE=THISANDFUTURE;TZID=Europe/Lisbon:20270403T180000 STATUS:CANCELLED"},
			"0401T18:00=2 0402T18:00=2", ""},
		{"THISANDFUTURE of several times a day", []string{"DTSTART;TZID=Europe/Lisbon:20270401T070000 RRULE:FREQ=DAILY;UNTIL=20270403T220000Z;BYHOUR=7,18", "RECURRENCE-ID;RANGE=THISANDFUTURE;TZID=Europe/Lisbon:20270402T180000 DTSTART;TZID=Europe/Lisbon:20270402T183000"},
			"0401T07:00=2 0401T18:00=2 0402T07:00=2 0402T18:30=2 0403T07:30=2 0403T18:30=2", ""},
	}
	for _, test := range tests {
		p, ds := checked.Parse("x.ics", []byte(strings.ReplaceAll(calendarWith(test.events...), "\t", " ")))
		var said strings.Builder
		require.NoError(t, plan.Render(&said, ds, false))
		if !assert.NotNil(t, p, "%s\n%s", test.name, said.String()) {
			continue
		}
		assert.Equal(t, test.want, fed(t, p), test.name)
		if test.warns == "" {
			assert.Empty(t, said.String(), test.name)
		} else {
			assert.Contains(t, said.String(), test.warns, test.name)
		}
	}
}
