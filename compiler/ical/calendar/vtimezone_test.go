package calendar_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
)

// The rules of VTIMEZONEs as calendar programs write them: those of the first follow RFC 5545 §3.6.5's own example.
const (
	newYorkRules = "BEGIN:DAYLIGHT\nDTSTART:20070311T020000\nRRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=2SU\nTZOFFSETFROM:-0500\nTZOFFSETTO:-0400\nTZNAME:EDT\nEND:DAYLIGHT\n" +
		"BEGIN:STANDARD\nDTSTART:20071104T020000\nRRULE:FREQ=YEARLY;BYMONTH=11;BYDAY=1SU\nTZOFFSETFROM:-0400\nTZOFFSETTO:-0500\nTZNAME:EST\nEND:STANDARD\n"
	newYorkUntil2006 = "BEGIN:DAYLIGHT\nDTSTART:19870405T020000\nRRULE:FREQ=YEARLY;BYMONTH=4;BYDAY=1SU;UNTIL=20060402T070000Z\nTZOFFSETFROM:-0500\nTZOFFSETTO:-0400\nEND:DAYLIGHT\n" +
		"BEGIN:STANDARD\nDTSTART:19671029T020000\nRRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU;UNTIL=20061029T060000Z\nTZOFFSETFROM:-0400\nTZOFFSETTO:-0500\nEND:STANDARD\n"
	berlinFrom1601 = "BEGIN:STANDARD\nDTSTART:16011028T030000\nRRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=10\nTZOFFSETFROM:+0200\nTZOFFSETTO:+0100\nEND:STANDARD\n" +
		"BEGIN:DAYLIGHT\nDTSTART:16010325T020000\nRRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=3\nTZOFFSETFROM:+0100\nTZOFFSETTO:+0200\nEND:DAYLIGHT\n"
	brasilia   = "BEGIN:STANDARD\nDTSTART:16010101T000000\nTZOFFSETFROM:-0300\nTZOFFSETTO:-0300\nEND:STANDARD\n"
	kathmandu  = "BEGIN:STANDARD\nDTSTART:19860101T000000\nTZOFFSETFROM:+0530\nTZOFFSETTO:+0545\nEND:STANDARD\n"
	byRDate    = "BEGIN:DAYLIGHT\nDTSTART:20270328T010000\nRDATE:20270328T010000,20280326T010000\nTZOFFSETFROM:+0000\nTZOFFSETTO:+0100\nEND:DAYLIGHT\nBEGIN:STANDARD\nDTSTART:20271031T020000\nRDATE:20281029T020000\nTZOFFSETFROM:+0100\nTZOFFSETTO:+0000\nEND:STANDARD\n"
	invented   = "BEGIN:DAYLIGHT\nDTSTART:20000101T000000\nRRULE:FREQ=YEARLY;BYMONTH=5;BYMONTHDAY=5\nTZOFFSETFROM:+0033\nTZOFFSETTO:+0133\nEND:DAYLIGHT\nBEGIN:STANDARD\nDTSTART:20000601T000000\nRRULE:FREQ=YEARLY;BYMONTH=9;BYMONTHDAY=5\nTZOFFSETFROM:+0133\nTZOFFSETTO:+0033\nEND:STANDARD\n"
	overDetail = "X-COMMENT:America/Detroit and others\n"
)

func inZone(tzid, rules, event string) string {
	return "BEGIN:VCALENDAR\nBEGIN:VTIMEZONE\nTZID:" + tzid + "\n" + rules + "END:VTIMEZONE\nBEGIN:VEVENT\nUID:a\nSUMMARY:a 1 pocket\n" +
		strings.ReplaceAll(event, "TZID", `TZID="`+tzid+`"`) + "\nEND:VEVENT\nEND:VCALENDAR\n"
}

// A TZID that is no IANA name has the rules that the file gives for it; the IANA zone with the same rules is taken.
func TestZonesOfTheFile(t *testing.T) {
	const daily, year2004 = "DTSTART;TZID:20270101T070000\nRRULE:FREQ=DAILY", "DTSTART;TZID:20040601T070000\nRRULE:FREQ=DAILY;UNTIL=20050601T120000Z"
	tests := []struct{ tzid, rules, event, zone, says string }{
		{"US-Eastern", newYorkRules, daily, "America/New_York", "zones with the rules of its VTIMEZONE from 2027 to 2037"},
		{"Eastern Time (US & Canada)", newYorkRules, daily, "America/New_York", "is one of"},
		{"Detroit", newYorkRules, daily, "America/Detroit", "is one of"},
		{"x", overDetail + newYorkRules, daily, "America/Detroit", "is one of"},
		{"(UTC-03:00) Brasilia", brasilia, daily, "America/Buenos_Aires", "is one of"},
		{"Sao Paulo", brasilia, daily, "America/Sao_Paulo", "is one of"},
		{"Customized Time Zone 1", berlinFrom1601, daily, "Europe/Berlin", "is one of"},
		{"Nepal", kathmandu, daily, "Asia/Katmandu", "is one of 2"},
		{"two years", byRDate, "DTSTART;TZID:20270101T070000\nRRULE:FREQ=DAILY;UNTIL=20281231T070000Z", "Europe/London", "from 2027 to 2028"},
		{"two years", byRDate, daily, "", "no IANA zone has the rules of its VTIMEZONE from 2027 to 2037"},
		{"old", newYorkUntil2006, year2004, "America/New_York", "from 2004 to 2005"},
		{"without daylight saving since 2006, as the file says", newYorkUntil2006, daily, "America/Bogota", "is one of"},
		{"old", newYorkRules, year2004, "", "no IANA zone"},
		{"nowhere", invented, daily, "", "no IANA zone"},
		{"empty", "", daily, "", "neither STANDARD nor DAYLIGHT"},
		{"bad", strings.Replace(brasilia, "-0300", "-3", 1), daily, "", `"-3" is not an offset`},
		{"bad", strings.Replace(newYorkRules, "BYDAY=2SU", "BYDAY=SONNTAG", 1), daily, "", "RRULE"},
		{"/mozilla.org/20070129_1/Europe/Berlin", berlinFrom1601, daily, "Europe/Berlin", ""},
		{"Registry/Tzfile/America/New_York", newYorkRules, daily, "America/New_York", ""},
	}
	for _, test := range tests {
		p, ds := checked.Parse("x.ics", []byte(inZone(test.tzid, test.rules, test.event)))
		var said strings.Builder
		require.NoError(t, plan.Render(&said, ds, false))
		if test.zone == "" {
			assert.Nil(t, p, test.tzid)
		} else if assert.NotNil(t, p, "%s\n%s", test.tzid, said.String()) {
			assert.Equal(t, test.zone, p.Zone, test.tzid)
		}
		if test.says == "" {
			assert.Empty(t, said.String(), test.tzid)
		} else {
			assert.Contains(t, strings.Join(strings.Fields(said.String()), " "), test.says, test.tzid)
		}
	}
}
