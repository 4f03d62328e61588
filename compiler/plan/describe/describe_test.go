package describe_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
	"mealtab/compiler/plan/describe"
	"mealtab/compiler/reader"
	"mealtab/compiler/zone"
)

// The sentences were read against the rules by hand. The rules of 1996 to 2007 are the worked examples of RFC 5545
// §3.8.5.3 and §3.3.10, whose own captions say the same in other words.
func TestDescribeRules(t *testing.T) {
	cases := []struct{ start, rule, want string }{
		{"1997-09-02T09:00", "FREQ=DAILY;COUNT=10",
			"every day at 09:00, from 2 September 1997, 10 servings in all"},
		{"1997-09-02T09:00", "FREQ=DAILY;UNTIL=19971224T000000Z",
			"every day at 09:00, from 2 September 1997, until 24 December 1997 at 00:00 UTC"},
		{"1997-09-02T09:00", "FREQ=DAILY;INTERVAL=2",
			"every second day at 09:00, from 2 September 1997"},
		{"1997-09-02T09:00", "FREQ=DAILY;INTERVAL=10;COUNT=5",
			"every 10th day at 09:00, from 2 September 1997, 5 servings in all"},
		{"1998-01-01T09:00", "FREQ=YEARLY;UNTIL=20000131T140000Z;BYMONTH=1;BYDAY=SU,MO,TU,WE,TH,FR,SA",
			"on every day of January each year at 09:00, from 1 January 1998, until 31 January 2000 at 14:00 UTC"},
		{"1998-01-01T09:00", "FREQ=DAILY;UNTIL=20000131T140000Z;BYMONTH=1",
			"every day in January at 09:00, from 1 January 1998, until 31 January 2000 at 14:00 UTC"},
		{"1997-09-02T09:00", "FREQ=WEEKLY;COUNT=10",
			"every Tuesday at 09:00, from 2 September 1997, 10 servings in all"},
		{"1997-09-02T09:00", "FREQ=WEEKLY;UNTIL=19971224T000000Z",
			"every Tuesday at 09:00, from 2 September 1997, until 24 December 1997 at 00:00 UTC"},
		{"1997-09-02T09:00", "FREQ=WEEKLY;INTERVAL=2;WKST=SU",
			"every second Tuesday at 09:00, from 2 September 1997"},
		{"1997-09-02T09:00", "FREQ=WEEKLY;UNTIL=19971007T000000Z;WKST=SU;BYDAY=TU,TH",
			"every Tuesday and Thursday at 09:00, from 2 September 1997, until 7 October 1997 at 00:00 UTC"},
		{"1997-09-02T09:00", "FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH",
			"every Tuesday and Thursday at 09:00, from 2 September 1997, 10 servings in all"},
		{"1997-09-01T09:00", "FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR",
			"on Monday, Wednesday and Friday of every second week (weeks begin on Sunday) at 09:00, from 1 September 1997, until 24 December 1997 at 00:00 UTC"},
		{"1997-09-02T09:00", "FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH",
			"on Tuesday and Thursday of every second week (weeks begin on Sunday) at 09:00, from 2 September 1997, 8 servings in all"},
		{"1997-09-05T09:00", "FREQ=MONTHLY;COUNT=10;BYDAY=1FR",
			"on the first Friday of each month at 09:00, from 5 September 1997, 10 servings in all"},
		{"1997-09-05T09:00", "FREQ=MONTHLY;UNTIL=19971224T000000Z;BYDAY=1FR",
			"on the first Friday of each month at 09:00, from 5 September 1997, until 24 December 1997 at 00:00 UTC"},
		{"1997-09-07T09:00", "FREQ=MONTHLY;INTERVAL=2;COUNT=10;BYDAY=1SU,-1SU",
			"on the first Sunday and the last Sunday of every second month at 09:00, from 7 September 1997, 10 servings in all"},
		{"1997-09-22T09:00", "FREQ=MONTHLY;COUNT=6;BYDAY=-2MO",
			"on the last Monday but one of each month at 09:00, from 22 September 1997, 6 servings in all"},
		{"1997-09-28T09:00", "FREQ=MONTHLY;BYMONTHDAY=-3",
			"on the 3rd day from the end of each month at 09:00, from 28 September 1997"},
		{"1997-09-02T09:00", "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=2,15",
			"on the 2nd and the 15th of each month at 09:00, from 2 September 1997, 10 servings in all"},
		{"1997-09-30T09:00", "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1",
			"on the 1st and the last day of each month at 09:00, from 30 September 1997, 10 servings in all"},
		{"1997-09-10T09:00", "FREQ=MONTHLY;INTERVAL=18;COUNT=10;BYMONTHDAY=10,11,12,13,14,15",
			"on the 10th to the 15th of every 18th month at 09:00, from 10 September 1997, 10 servings in all"},
		{"1997-09-02T09:00", "FREQ=MONTHLY;INTERVAL=2;BYDAY=TU",
			"on every Tuesday of every second month at 09:00, from 2 September 1997"},
		{"1997-06-10T09:00", "FREQ=YEARLY;COUNT=10;BYMONTH=6,7",
			"on 10 June and 10 July each year at 09:00, from 10 June 1997, 10 servings in all"},
		{"1997-03-10T09:00", "FREQ=YEARLY;INTERVAL=2;COUNT=10;BYMONTH=1,2,3",
			"on the 10th of January to March every second year at 09:00, from 10 March 1997, 10 servings in all"},
		{"1997-01-01T09:00", "FREQ=YEARLY;INTERVAL=3;COUNT=10;BYYEARDAY=1,100,200",
			"on day 1, day 100 and day 200 of every third year at 09:00, from 1 January 1997, 10 servings in all"},
		{"1997-05-19T09:00", "FREQ=YEARLY;BYDAY=20MO",
			"on the 20th Monday of each year at 09:00, from 19 May 1997"},
		{"1997-05-12T09:00", "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO",
			"on Monday of week 20 of each year at 09:00, from 12 May 1997"},
		{"1997-03-13T09:00", "FREQ=YEARLY;BYMONTH=3;BYDAY=TH",
			"on every Thursday of March each year at 09:00, from 13 March 1997"},
		{"1997-06-05T09:00", "FREQ=YEARLY;BYDAY=TH;BYMONTH=6,7,8",
			"on every Thursday of June to August each year at 09:00, from 5 June 1997"},
		{"1997-09-02T09:00", "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13",
			"on the 13th of each month if it is a Friday, at 09:00, from 2 September 1997"},
		{"1997-09-13T09:00", "FREQ=MONTHLY;BYDAY=SA;BYMONTHDAY=7,8,9,10,11,12,13",
			"on the 7th to the 13th of each month if it is a Saturday, at 09:00, from 13 September 1997"},
		{"1996-11-05T09:00", "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8",
			"on 2 to 8 November every 4th year if it is a Tuesday, at 09:00, from 5 November 1996"},
		{"1997-09-04T09:00", "FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3",
			"on the third day among Tuesday, Wednesday and Thursday of each month at 09:00, from 4 September 1997, 3 servings in all"},
		{"1997-09-29T09:00", "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2",
			"on the last weekday but one of each month at 09:00, from 29 September 1997"},
		{"1997-09-02T09:00", "FREQ=HOURLY;INTERVAL=3;UNTIL=19970902T210000Z",
			"every 3 hours, from 2 September 1997 at 09:00, until 2 September 1997 at 21:00 UTC"},
		{"1997-09-02T09:00", "FREQ=MINUTELY;INTERVAL=15;COUNT=6",
			"every 15 minutes, from 2 September 1997 at 09:00, 6 servings in all"},
		{"1997-09-02T09:00", "FREQ=MINUTELY;INTERVAL=90;COUNT=4",
			"every 90 minutes, from 2 September 1997 at 09:00, 4 servings in all"},
		{"1997-09-02T09:00", "FREQ=DAILY;BYHOUR=9,10,11,12,13,14,15,16;BYMINUTE=0,20,40",
			"every day, every 20 minutes from 09:00 to 16:40, from 2 September 1997"},
		{"1997-09-02T09:00", "FREQ=MINUTELY;INTERVAL=20;BYHOUR=9,10,11,12,13,14,15,16",
			"every 20 minutes between 09:00 and 16:59, from 2 September 1997 at 09:00"},
		{"1997-08-05T09:00", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO",
			"on Tuesday and Sunday of every second week at 09:00, from 5 August 1997, 4 servings in all"},
		{"1997-08-05T09:00", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU",
			"on Tuesday and Sunday of every second week (weeks begin on Sunday) at 09:00, from 5 August 1997, 4 servings in all"},
		{"2007-01-15T09:00", "FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5",
			"on the 15th and the 30th of each month at 09:00, from 15 January 2007, 5 servings in all"},
		{"1997-01-05T08:30", "FREQ=YEARLY;INTERVAL=2;BYMONTH=1;BYDAY=SU;BYHOUR=8,9;BYMINUTE=30",
			"on every Sunday of January every second year at 08:30 and 09:30, from 5 January 1997"},
		{"2026-12-01T07:00", "FREQ=WEEKLY;INTERVAL=2;BYDAY=TU,TH;COUNT=10",
			"on Tuesday and Thursday of every second week at 07:00, from 1 December 2026, 10 servings in all"},
		{"2026-12-01T07:00", "FREQ=WEEKLY;INTERVAL=2",
			"every second Tuesday at 07:00, from 1 December 2026"},
		{"2026-12-01T18:30", "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2",
			"on the last weekday but one of each month at 18:30, from 1 December 2026"},
		{"2026-12-01T07:00", "FREQ=MONTHLY;BYDAY=SA,SU;BYSETPOS=1,-1",
			"on the first weekend day and the last weekend day of each month at 07:00, from 1 December 2026"},
		{"2026-12-01T07:00", "FREQ=DAILY;BYHOUR=7,12,18;BYSETPOS=1,-1",
			"every day at 07:00, 12:00 and 18:00, but of these only the first time and the last time in a day, from 1 December 2026"},
		{"2028-02-29T07:00", "RSCALE=GREGORIAN;FREQ=YEARLY;SKIP=FORWARD",
			"on 29 February each year at 07:00, or the nearest later day where there is no such day, from 29 February 2028"},
		{"2026-12-31T07:00", "RSCALE=GREGORIAN;FREQ=MONTHLY;SKIP=BACKWARD;BYMONTHDAY=31",
			"on the 31st of each month at 07:00, or the nearest earlier day where there is no such day, from 31 December 2026"},
		{"2026-12-31T07:00", "FREQ=YEARLY;BYMONTH=12;BYMONTHDAY=24,25,26",
			"on 24, 25 and 26 December each year at 07:00, from 31 December 2026"},
		{"2026-12-31T07:00", "FREQ=YEARLY;BYMONTH=6,7;BYMONTHDAY=-1",
			"on the last day of June and July each year at 07:00, from 31 December 2026"},
		{"2026-12-31T07:00", "FREQ=YEARLY;BYMONTHDAY=15",
			"on the 15th of every month of each year at 07:00, from 31 December 2026"},
		{"2026-12-31T07:00", "FREQ=YEARLY;BYWEEKNO=1,-1",
			"on Thursday of week 1 and the last week of each year at 07:00, from 31 December 2026"},
		{"2026-12-31T07:00", "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO,TU,WE,TH,FR;WKST=SU",
			"on every weekday of week 20 (weeks begin on Sunday) of each year at 07:00, from 31 December 2026"},
		{"2026-12-31T07:00", "FREQ=YEARLY;BYYEARDAY=-1,-2;BYMONTH=12",
			"on the last day but one and the last day of each year in December at 07:00, from 31 December 2026"},
		{"2026-12-31T07:00", "FREQ=YEARLY;BYMONTH=6,7;BYDAY=1FR,-1MO",
			"on the first Friday and the last Monday of each of June and July each year at 07:00, from 31 December 2026"},
		{"2026-12-31T07:00", "FREQ=HOURLY;INTERVAL=5",
			"every 5 hours, from 31 December 2026 at 07:00"},
		{"2026-12-31T07:00", "FREQ=HOURLY;BYMINUTE=0,30;BYHOUR=7,9;BYDAY=SA,SU;BYMONTH=11,12,1,2,3",
			"every hour in hours 7 and 9, at minutes 0 and 30, on Saturday and Sunday in November to March, from 31 December 2026 at 07:00"},
		{"2026-12-31T07:00", "FREQ=MINUTELY;INTERVAL=90;BYHOUR=7,8,9,10;BYMONTHDAY=1,-1",
			"every 90 minutes between 07:00 and 10:59, on the 1st and the last day of the month, from 31 December 2026 at 07:00"},
		{"2026-12-31T07:00", "FREQ=SECONDLY;INTERVAL=5400",
			"every 90 minutes, from 31 December 2026 at 07:00"},
		{"2026-12-31T07:00", "FREQ=DAILY;INTERVAL=3;BYDAY=MO,FR;BYMONTHDAY=1,13",
			"every third day that is the 1st or the 13th of a month if it is a Monday or Friday, at 07:00, from 31 December 2026"},
		{"2026-12-31T07:00", "FREQ=DAILY;BYMONTHDAY=13;BYDAY=FR",
			"on the 13th of each month if it is a Friday, at 07:00, from 31 December 2026"},
		{"2026-12-31T07:00", "FREQ=DAILY;BYDAY=MO,TU,WE,TH,FR;BYMONTH=4,5,6,7,8,9;UNTIL=20271231",
			"every weekday in April to September at 07:00, from 31 December 2026, until 31 December 2027"},
		{"2026-12-31T07:00", "FREQ=MONTHLY;BYDAY=TU,1FR",
			"on every Tuesday and the first Friday of each month at 07:00, from 31 December 2026"},
		{"2026-12-31T07:00", "FREQ=DAILY;BYHOUR=0,1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17,18,19,20,21,22,23;BYMINUTE=5,10",
			"every day at 48 times from 00:05 to 23:10, from 31 December 2026 at 07:00"},
		{"2026-12-31T07:00", "FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR,SA,SU;COUNT=1",
			"every day at 07:00, from 31 December 2026, once"},
		{"2026-12-31T07:00", "FREQ=WEEKLY;INTERVAL=3;BYDAY=MO,TU,WE,TH,FR",
			"on every weekday of every third week at 07:00, from 31 December 2026"},
		{"2026-12-31T07:00", "FREQ=MONTHLY;INTERVAL=2",
			"on the 31st of every second month at 07:00, from 31 December 2026"},
		{"2026-12-31T07:00", "FREQ=YEARLY;BYMONTH=1;BYDAY=MO;BYSETPOS=2",
			"on every Monday of January each year at 07:00, but of these only the second time in a year, from 31 December 2026"},
	}
	assert.GreaterOrEqual(t, len(cases), 40)
	for _, c := range cases {
		r, errs := plan.ParseRule(c.rule)
		require.Empty(t, errs, c.rule)
		assert.Equal(t, c.want, describe.Set(plan.Recurrence{Start: local(t, c.start), Rule: r}), c.rule)
	}
}

// local reads "2026-12-01T07:00" for tests.
func local(t *testing.T, s string) plan.Local {
	t.Helper()
	var l plan.Local
	n, err := fmt.Sscanf(s, "%d-%d-%dT%d:%d", &l.Year, &l.Month, &l.Day, &l.Hour, &l.Minute)
	require.NoError(t, err)
	require.Equal(t, 5, n)
	return l
}

// Sets: times in at, the three kinds of start, single dates. The plans are our own.
func TestDescribeSets(t *testing.T) {
	cases := []struct{ lines, want string }{
		{"at = [\"07:00\", \"18:30\"]", "every day at 07:00 and 18:30"},
		{"dtstart = 2026-12-01\nat = [\"07:00\"]", "every day at 07:00, from 1 December 2026"},
		{"dtstart = 2026-12-01T18:30:00\nat = [\"07:00\", \"18:30\"]", "every day at 07:00 and 18:30, from 1 December 2026"},
		{"dtstart = 2026-12-01T07:00:00Z", "every day at 07:00 UTC, from 1 December 2026"},
		{"dtstart = 2026-12-01\nrrule = \"FREQ=DAILY;BYHOUR=7,19\"", "every day at 07:00 and 19:00, from 1 December 2026"},
		{"dtstart = 2026-12-01T07:00:00\nrrule = \"FREQ=DAILY;UNTIL=20261224T180000\"",
			"every day at 07:00, from 1 December 2026, until 24 December 2026 at 18:00"},
		{"rdate = [2026-12-25T10:00:00]", "once, on 25 December 2026 at 10:00"},
		{"rdate = [2026-12-25T10:00:00, 2027-01-01T10:00:00, 2027-01-06T09:30:00]",
			"on 25 December 2026 at 10:00, 1 January 2027 at 10:00 and 6 January 2027 at 09:30"},
		{"dtstart = 2026-12-01T07:00:00\nrrule = \"FREQ=DAILY;COUNT=2\"\nrdate = [2026-12-25T10:00:00]\nexdate = [2026-12-02T07:00:00, 2026-12-31]",
			"every day at 07:00, from 1 December 2026, 2 by the rule, the last on 2 December 2026 at 07:00, and also on 25 December 2026 at 10:00, but not on 2 December 2026 at 07:00, but not on 31 December 2026"},
		{"dtstart = 2026-12-01T07:00:00\nrrule = \"FREQ=DAILY\"\nexdate = [2026-12-02, 2026-12-03, 2026-12-04, 2026-12-05, 2026-12-06]",
			"every day at 07:00, from 1 December 2026, but not on 5 whole days from 2 December 2026 to 6 December 2026"},
		{"dtstart = 2026-12-01T06:00:00\nrrule = \"FREQ=DAILY;BYHOUR=7\"", "every day at 07:00, from 1 December 2026 at 06:00"},
	}
	for _, c := range cases {
		src := "zone = \"Europe/Lisbon\"\n\n[[meal]]\nname = \"meal\"\nportion = \"3 pockets\"\n" + c.lines + "\n"
		p, ds := reader.With(zone.Embedded()).Parse("p.toml", []byte(src))
		require.Empty(t, ds, c.lines)
		assert.Equal(t, c.want, describe.Set(p.Meals[0].Set), c.lines)
	}
}

// Every rule that can be parsed can be described.
func FuzzDescribe(f *testing.F) {
	f.Add("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29,-1;BYDAY=-53MO,FR;BYSETPOS=-2,1;BYHOUR=1,5;BYMINUTE=0;BYSECOND=1")
	f.Add("FREQ=YEARLY;BYWEEKNO=53,-1;BYYEARDAY=1;BYMONTHDAY=-3;WKST=SU")
	f.Fuzz(func(t *testing.T, s string) {
		r, errs := plan.ParseRule(s)
		if len(errs) > 0 {
			return
		}
		for _, form := range []plan.Form{plan.Zoned, plan.UTC, plan.Date} {
			if describe.Set(plan.Recurrence{Form: form, Start: plan.Local{Year: 2026, Month: 12, Day: 31}, Rule: r}) == "" {
				t.Fatal(s)
			}
		}
	})
}
