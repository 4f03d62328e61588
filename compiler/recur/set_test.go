package recur

import (
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
	"mealtab/compiler/zone"
)

// TestReadings holds the RFC's corners to the reading that the package comment chooses; each case names its
// clause. Where no clause decides, the case says so.
func TestReadings(t *testing.T) {
	cases := []struct {
		clause, dtstart, rrule string
		want                   []string
	}{
		{"§3.8.5.3: DTSTART that does not fit is left out (undefined)", "2026-12-01T07:00:00", "FREQ=WEEKLY;BYDAY=MO;COUNT=2", []string{"2026-12-07T07:00:00", "2026-12-14T07:00:00"}},
		{"§3.3.10: plain and numeric BYDAY are a union", "2026-12-01T07:00:00", "FREQ=MONTHLY;BYDAY=TU,1FR;COUNT=3", []string{"2026-12-01T07:00:00", "2026-12-04T07:00:00", "2026-12-08T07:00:00"}},
		{"§3.3.10: BYSETPOS counts in the whole first week", "2026-12-02T07:00:00", "FREQ=WEEKLY;BYDAY=MO,WE,FR;BYSETPOS=2;COUNT=2", []string{"2026-12-02T07:00:00", "2026-12-09T07:00:00"}},
		{"§3.8.5.3: duplicates count once", "2026-12-01T07:00:00", "FREQ=DAILY;BYHOUR=9,9;COUNT=2", []string{"2026-12-01T09:00:00", "2026-12-02T09:00:00"}},
		{"§3.3.12: second 60 is 59", "2026-12-01T07:00:00", "FREQ=DAILY;BYSECOND=60;COUNT=1", []string{"2026-12-01T07:00:59"}},
		{"§3.3.12: second 60 of UNTIL too", "2026-12-01T07:00:59", "FREQ=DAILY;UNTIL=20261201T070060", []string{"2026-12-01T07:00:59"}},
		{"§3.3.10: BYWEEKNO keeps DTSTART's weekday", "2026-12-01T07:00:00", "FREQ=YEARLY;BYWEEKNO=1;COUNT=2", []string{"2027-01-05T07:00:00", "2028-01-04T07:00:00"}},
		{"§3.3.10: week 1 reaches back into December", "2026-12-01T07:00:00", "FREQ=YEARLY;BYWEEKNO=1;BYDAY=MO;COUNT=3", []string{"2027-01-04T07:00:00", "2028-01-03T07:00:00", "2029-01-01T07:00:00"}},
		{"§3.3.10: week 53 with BYMONTH filters the date", "2026-12-01T07:00:00", "FREQ=YEARLY;BYWEEKNO=53;BYDAY=SU;BYMONTH=1;COUNT=1", []string{"2027-01-03T07:00:00"}},
		{"§3.3.10, table: YEARLY;BYMONTHDAY expands to every month (open)", "2026-12-01T07:00:00", "FREQ=YEARLY;BYMONTHDAY=1;COUNT=3", []string{"2026-12-01T07:00:00", "2027-01-01T07:00:00", "2027-02-01T07:00:00"}},
		{"§3.3.10: a numeric BYDAY that limits counts in the month beside BYMONTH", "2026-12-01T07:00:00", "FREQ=YEARLY;BYMONTH=11;BYMONTHDAY=1,2,3,8,9;BYDAY=1TU,2MO;COUNT=2", []string{"2027-11-02T07:00:00", "2027-11-08T07:00:00"}},
		{"§3.3.10: and in the year without it", "2026-12-01T07:00:00", "FREQ=YEARLY;BYMONTHDAY=1,2,3,4,5,6,7;BYDAY=1TU;COUNT=2", []string{"2027-01-05T07:00:00", "2028-01-04T07:00:00"}},
		{"§3.3.10: UNTIL without time includes its day", "2026-12-01T07:00:00", "FREQ=DAILY;UNTIL=20261202", []string{"2026-12-01T07:00:00", "2026-12-02T07:00:00"}},
		{"§3.3.10: HOURLY that never meets BYHOUR is empty", "2026-12-01T00:00:00", "FREQ=HOURLY;INTERVAL=2;BYHOUR=7,13", nil},
		{"§3.3.10: SECONDLY whose set has one member has no second", "2026-12-01T00:00:00", "FREQ=SECONDLY;BYSECOND=0;BYSETPOS=2", nil},
		{"§3.3.10: 30 February never comes", "2026-12-01T00:00:00", "FREQ=MINUTELY;BYMONTH=2;BYMONTHDAY=30", nil},
		{"RFC 7529 §4.1: moved back", "2026-01-31T07:00:00", "RSCALE=GREGORIAN;FREQ=MONTHLY;SKIP=BACKWARD;COUNT=4", []string{"2026-01-31T07:00:00", "2026-02-28T07:00:00", "2026-03-31T07:00:00", "2026-04-30T07:00:00"}},
		{"RFC 7529 §4.1: moved on", "2026-01-31T07:00:00", "RSCALE=GREGORIAN;FREQ=MONTHLY;SKIP=FORWARD;COUNT=4", []string{"2026-01-31T07:00:00", "2026-03-01T07:00:00", "2026-03-31T07:00:00", "2026-05-01T07:00:00"}},
		{"RFC 7529 §4.1: BYMONTH comes before the move", "2026-01-01T07:00:00", "RSCALE=GREGORIAN;FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30;SKIP=FORWARD;COUNT=2", []string{"2026-03-01T07:00:00", "2027-03-01T07:00:00"}},
		{"RFC 7529 §4.1: BYDAY comes after the move", "2015-01-31T07:00:00", "RSCALE=GREGORIAN;FREQ=MONTHLY;BYMONTHDAY=31;BYDAY=SA,SU;SKIP=FORWARD;COUNT=2", []string{"2015-01-31T07:00:00", "2015-03-01T07:00:00"}},
		{"RFC 7529 §4.1: two days moved to one are one", "2027-02-01T07:00:00", "RSCALE=GREGORIAN;FREQ=MONTHLY;BYMONTHDAY=28,29;SKIP=BACKWARD;COUNT=3", []string{"2027-02-28T07:00:00", "2027-03-28T07:00:00", "2027-03-29T07:00:00"}},
		{"§3.8.5.3: so are a moved day and the next month's own", "2027-02-01T07:00:00", "RSCALE=GREGORIAN;FREQ=MONTHLY;BYMONTHDAY=1,30;BYHOUR=7,18;SKIP=FORWARD;COUNT=5", []string{"2027-02-01T07:00:00", "2027-02-01T18:00:00", "2027-03-01T07:00:00", "2027-03-01T18:00:00", "2027-03-30T07:00:00"}},
		{"SKIP: year day 366 (as libical has it)", "2027-06-01T07:00:00", "RSCALE=GREGORIAN;FREQ=YEARLY;BYYEARDAY=366;SKIP=FORWARD;COUNT=2", []string{"2028-01-01T07:00:00", "2028-12-31T07:00:00"}},
		{"SKIP: year day -366 (as libical has it)", "2027-06-01T07:00:00", "RSCALE=GREGORIAN;FREQ=YEARLY;BYYEARDAY=-366;SKIP=BACKWARD;COUNT=2", []string{"2028-01-01T07:00:00", "2028-12-31T07:00:00"}},
		{"SKIP: a day moved onto DTSTART counts (open)", "2027-01-01T07:00:00", "RSCALE=GREGORIAN;FREQ=YEARLY;BYYEARDAY=366;SKIP=FORWARD;COUNT=1", []string{"2027-01-01T07:00:00"}},
		{"SKIP: a day that is missing in no month is not moved (open)", "2027-01-01T07:00:00", "RSCALE=GREGORIAN;FREQ=YEARLY;BYMONTH=12;BYYEARDAY=366;SKIP=FORWARD;COUNT=1", []string{"2028-12-31T07:00:00"}},
		{"End: a day moved back from 2100 is in 2099", "2098-01-01T07:00:00", "RSCALE=GREGORIAN;FREQ=YEARLY;BYYEARDAY=-366;SKIP=BACKWARD", []string{"2098-12-31T07:00:00", "2099-12-31T07:00:00"}},
	}
	z := load(t, "Europe/Lisbon")
	for _, c := range cases {
		require.Equal(t, c.want, texts(ruleSet(t, z, c.dtstart, c.rrule), -1), "%s\n%s", c.clause, c.rrule)
	}
}

// TestExplicit checks RDATE and EXDATE (RFC 5545 §3.8.5.1, §3.8.5.2) around a rule, and without one.
func TestExplicit(t *testing.T) {
	z := load(t, "America/New_York")
	at := func(s string) plan.Local { return localOf(t, s) }
	set := func(r plan.Recurrence, gap plan.Gap) []string {
		s, err := New(r, z, gap)
		require.NoError(t, err)
		return texts(s, -1)
	}
	rule := &plan.Rule{Text: "FREQ=DAILY;COUNT=3"}

	r := plan.Recurrence{Start: at("2027-03-12T02:30:00"), Rule: rule,
		RDate:  []plan.Local{at("2027-03-13T02:30:00"), at("2027-03-20T10:00:00"), at("2027-03-21T10:00:00")},
		ExDate: []plan.Local{at("2027-03-12T02:30:00"), at("2027-03-21T10:00:00")}}
	require.Equal(t, []string{"2027-03-13T02:30:00", "2027-03-14T02:30:00", "2027-03-20T10:00:00"}, set(r, plan.GapShift),
		"duplicates once, EXDATE wins over RDATE and COUNT has counted what it removes")

	r.ExDays = []plan.Local{{Year: 2027, Month: 3, Day: 20}}
	require.Equal(t, []string{"2027-03-13T02:30:00", "2027-03-14T02:30:00"}, set(r, plan.GapShift), "EXDATE;VALUE=DATE takes the whole day")

	r = plan.Recurrence{Start: at("2027-03-14T02:30:00"), Rule: rule}
	require.Equal(t, []string{"2027-03-15T02:30:00", "2027-03-16T02:30:00", "2027-03-17T02:30:00"}, set(r, plan.GapOmit))
	r.RDate = []plan.Local{at("2027-03-14T02:30:00")}
	require.Equal(t, []string{"2027-03-14T02:30:00", "2027-03-15T02:30:00", "2027-03-16T02:30:00", "2027-03-17T02:30:00"}, set(r, plan.GapOmit),
		"an explicit value in a gap is never omitted")

	r = plan.Recurrence{Start: at("2027-03-14T02:30:00"), RDate: []plan.Local{at("2027-03-01T00:00:00")}}
	require.Equal(t, []string{"2027-03-01T00:00:00", "2027-03-14T02:30:00"}, set(r, plan.GapOmit), "DTSTART without rule")
	r.ExDate = []plan.Local{at("2027-03-14T02:30:00")}
	require.Equal(t, []string{"2027-03-01T00:00:00"}, set(r, plan.GapOmit))
}

// TestTimesOfDay checks at, a part of the plan language: COUNT and BYSETPOS count date-times, and nothing comes
// before DTSTART.
func TestTimesOfDay(t *testing.T) {
	r := plan.Recurrence{Start: localOf(t, "2026-12-01T12:00:00"), At: []int{7 * 60, 18*60 + 30}, Rule: &plan.Rule{Text: "FREQ=DAILY;COUNT=3"}}
	z := load(t, "Europe/Lisbon")
	s, err := New(r, z, plan.GapShift)
	require.NoError(t, err)
	require.Equal(t, []string{"2026-12-01T18:30:00", "2026-12-02T07:00:00", "2026-12-02T18:30:00"}, texts(s, -1))
	require.True(t, s.StartMatches(), "the date fits")

	r.Rule = &plan.Rule{Text: "FREQ=WEEKLY;BYDAY=MO,TU;BYSETPOS=-1;COUNT=2"}
	s, err = New(r, z, plan.GapShift)
	require.NoError(t, err)
	require.Equal(t, []string{"2026-12-01T18:30:00", "2026-12-08T18:30:00"}, texts(s, -1))

	r = plan.Recurrence{Form: plan.Date, Start: plan.Local{Year: 2026, Month: 12, Day: 1}, Rule: &plan.Rule{Text: "FREQ=DAILY;BYHOUR=7;COUNT=1"}}
	s, err = New(r, z, plan.GapShift)
	require.NoError(t, err)
	require.Equal(t, []string{"2026-12-01T07:00:00"}, texts(s, -1))
	require.True(t, s.StartMatches())
}

// TestUTCForm: a rule written in UTC does not follow daylight saving.
func TestUTCForm(t *testing.T) {
	r := plan.Recurrence{Form: plan.UTC, Start: localOf(t, "2027-03-13T07:30:00"), Rule: &plan.Rule{Text: "FREQ=DAILY;UNTIL=20270314T073000Z"}}
	s, err := New(r, nil, plan.GapShift)
	require.NoError(t, err)
	c := s.Instants()
	for _, want := range []string{"2027-03-13T07:30:00", "2027-03-14T07:30:00"} {
		in, ok := c.Next()
		require.True(t, ok)
		require.Equal(t, want, text(in.Unix))
		require.Equal(t, zone.Unique, in.Kind)
	}
	_, ok := c.Next()
	require.False(t, ok)
}

// TestRefusals: every rule that RFC 5545 §3.3.10 or RFC 7529 §4.1 forbids is refused, with the part named.
func TestRefusals(t *testing.T) {
	cases := map[string]string{
		"":                                         "empty",
		"INTERVAL=2":                               "FREQ",
		"FREQ=FORTNIGHTLY":                         "FREQ=FORTNIGHTLY",
		"FREQ=DAILY;COUNT=0":                       "COUNT=0",
		"FREQ=DAILY;INTERVAL=0":                    "INTERVAL=0",
		"FREQ=DAILY;INTERVAL=+2":                   "INTERVAL=+2",
		"FREQ=DAILY;COUNT=3;UNTIL=20270101":        "COUNT and UNTIL",
		"FREQ=DAILY;COUNT=3;COUNT=3":               "COUNT is given twice",
		"FREQ=DAILY;UNTIL=2027":                    "UNTIL=2027",
		"FREQ=DAILY;BYHOUR=25":                     "BYHOUR=25",
		"FREQ=DAILY;BYHOUR=-1":                     "BYHOUR=-1",
		"FREQ=DAILY;BYHOUR=":                       "BYHOUR",
		"FREQ=DAILY;BYHOUR=7,":                     "BYHOUR",
		"FREQ=MONTHLY;BYMONTHDAY=0":                "BYMONTHDAY=0",
		"FREQ=MONTHLY;BYMONTHDAY=-32":              "BYMONTHDAY=-32",
		"FREQ=MONTHLY;BYDAY=54MO":                  "BYDAY=54MO",
		"FREQ=MONTHLY;BYDAY=0MO":                   "BYDAY=0MO",
		"FREQ=MONTHLY;BYDAY=M":                     "BYDAY=M",
		"FREQ=WEEKLY;BYDAY=2MO":                    "numbered weekday cannot be used with FREQ=WEEKLY",
		"FREQ=YEARLY;BYWEEKNO=3;BYDAY=2MO":         "numbered weekday cannot be used with BYWEEKNO",
		"FREQ=DAILY;BYSETPOS=1":                    "BYSETPOS needs another BY",
		"FREQ=DAILY;WKST=XX":                       "WKST=XX",
		"FREQ=DAILY;BYEASTER=1":                    "BYEASTER",
		"FREQ=DAILY;SKIP=FORWARD":                  "SKIP needs RSCALE",
		"RSCALE=GREGORIAN;FREQ=DAILY;SKIP=YES":     "SKIP=YES",
		"RSCALE=HEBREW;FREQ=DAILY":                 "RSCALE=HEBREW",
		"FREQ=DAILY;UNTIL=20270230":                "UNTIL=20270230",
		"FREQ=DAILY;DTSTART=20270101":              "DTSTART",
		"FREQ=DAILY;INTERVAL=99999999999999999999": "INTERVAL=9999",
		"freq=daily":                               "cannot be read",
	}
	refused := func(rrule string) error {
		_, err := New(plan.Recurrence{Form: plan.UTC, Start: day(2026, 12, 1), Rule: &plan.Rule{Text: rrule}}, nil, plan.GapShift)
		return err
	}
	for rrule, want := range cases {
		require.ErrorContains(t, refused(rrule), want, rrule)
	}
	// The table of §3.3.10 has "N/A" where a part is refused, and nowhere else.
	for p := range bySetPos {
		value := map[part]string{byDay: "MO"}[p]
		if value == "" {
			value = "1"
		}
		for f := range effects[p] {
			rrule := "FREQ=" + plan.FreqNames[f] + ";" + partNames[p] + "=" + value
			if effects[p][f] == none {
				require.ErrorContains(t, refused(rrule), partNames[p]+" cannot be used with FREQ="+plan.FreqNames[f])
			} else {
				require.NoError(t, refused(rrule))
			}
		}
	}
	for want, r := range map[string]plan.Recurrence{
		"DTSTART 2027-02-30T00:00:00 does not exist in the calendar":             {Form: plan.UTC, Start: day(2027, 2, 30)},
		"RDATE 2027-13-01T00:00:00 does not exist in the calendar":               {Form: plan.UTC, Start: day(2027, 2, 1), RDate: []plan.Local{day(2027, 13, 1)}},
		"EXDATE 2027-02-29T00:00:00 does not exist in the calendar":              {Form: plan.UTC, Start: day(2027, 2, 1), ExDays: []plan.Local{day(2027, 2, 29)}},
		"a recurrence set in local time needs a zone":                            {Start: day(2027, 2, 1)},
		"minute 1440 of the day is outside 0 to 1439":                            {Form: plan.UTC, Start: day(2027, 2, 1), At: []int{1440}, Rule: &plan.Rule{Text: "FREQ=DAILY"}},
		"the rule FREQ=HOURLY: at cannot be used with FREQ=HOURLY":               {Form: plan.UTC, Start: day(2027, 2, 1), At: []int{7}, Rule: &plan.Rule{Text: "FREQ=HOURLY"}},
		"the rule FREQ=DAILY;BYHOUR=7: at and BYHOUR exclude each other":         {Form: plan.UTC, Start: day(2027, 2, 1), At: []int{7}, Rule: &plan.Rule{Text: "FREQ=DAILY;BYHOUR=7"}},
		"several times of day need a rule that repeats days, such as FREQ=DAILY": {Form: plan.UTC, Start: day(2027, 2, 1), At: []int{7}},
	} {
		_, err := New(r, nil, plan.GapShift)
		require.EqualError(t, err, want)
	}
}
