package recur

import (
	"testing"
	"time"

	"mealtab/compiler/plan"
)

// longest is a bound that only a search without bound can pass, even on a busy machine and under the race detector: the slowest takes a second or
// two on an idle one.
const longest = 5 * time.Minute

// FuzzRule: no text panics or hangs, whatever the start; what is accepted ascends strictly.
func FuzzRule(f *testing.F) {
	for _, s := range []string{
		"FREQ=DAILY", "FREQ=HOURLY;INTERVAL=2;BYHOUR=7,13", "FREQ=MONTHLY;BYDAY=1MO,-6MO", "FREQ=SECONDLY;BYSECOND=0;BYSETPOS=2",
		"FREQ=SECONDLY;INTERVAL=86399;BYHOUR=0;BYMINUTE=0;BYSECOND=0;BYMONTH=2;BYMONTHDAY=29",
		"RSCALE=GREGORIAN;FREQ=YEARLY;BYYEARDAY=-366;SKIP=FORWARD", "FREQ=YEARLY;BYWEEKNO=53;BYDAY=SA;WKST=SU;BYSETPOS=-1",
		"FREQ=YEARLY;INTERVAL=2147483647", "FREQ=WEEKLY;INTERVAL=2147483647;COUNT=2147483647", "FREQ=MONTHLY;INTERVAL=2147483647;BYMONTHDAY=31",
		"FREQ=DAILY;UNTIL=00010101T000000Z", "FREQ=DAILY;UNTIL=20991231T235960Z", "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", "FREQ=;=;;", "UNTIL=UNTIL=20270101;FREQ=DAILY",
	} {
		f.Add(s, int64(1796108400))
		f.Add(s, int64(-62135596800)) // 0001-01-01
		f.Add(s, End)
	}
	f.Fuzz(func(t *testing.T, rrule string, start int64) {
		u := time.Unix(start, 0).UTC()
		r := plan.Recurrence{Form: plan.UTC, Rule: &plan.Rule{Text: rrule},
			Start: plan.Local{Year: u.Year(), Month: int(u.Month()), Day: u.Day(), Hour: u.Hour(), Minute: u.Minute(), Second: u.Second()}}
		begin := time.Now()
		s, err := New(r, nil, plan.GapShift)
		if err != nil {
			return
		}
		s.StartMatches()
		last := int64(-1 << 62)
		c := s.Instants()
		for range 200 {
			in, ok := c.Next()
			if !ok {
				break
			}
			if in.Unix <= last || in.Unix > End {
				t.Fatalf("%s from %v: %d after %d", rrule, u, in.Unix, last)
			}
			last = in.Unix
		}
		if took := time.Since(begin); took > longest {
			t.Fatalf("%s from %v took %v", rrule, u, took)
		}
	})
}

// TestHardestSearches: rules that are empty, or nearly, from the earliest start there is; each must end.
func TestHardestSearches(t *testing.T) {
	for _, rrule := range []string{
		"FREQ=SECONDLY;INTERVAL=293;BYHOUR=3;BYMINUTE=4,5;BYSECOND=7,8,9;BYMONTH=2;BYMONTHDAY=30",
		"FREQ=SECONDLY;INTERVAL=293;BYSECOND=7;BYMONTH=2;BYMONTHDAY=29;BYDAY=MO;BYYEARDAY=61",
		"FREQ=SECONDLY;INTERVAL=294;BYMINUTE=0,10,20,30,40,50;BYSECOND=7",
		"FREQ=SECONDLY;INTERVAL=86399;BYHOUR=0;BYMINUTE=0;BYSECOND=0;BYDAY=MO;BYYEARDAY=366",
		"FREQ=MINUTELY;INTERVAL=1439;BYHOUR=0;BYMINUTE=0;BYDAY=MO;BYYEARDAY=366",
		"FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30",
		"FREQ=WEEKLY;BYMONTH=1;BYSETPOS=9",
		"FREQ=YEARLY;BYWEEKNO=53;BYYEARDAY=100",
	} {
		s, err := New(plan.Recurrence{Form: plan.UTC, Start: day(1, 1, 1), Rule: &plan.Rule{Text: rrule}}, nil, plan.GapShift)
		if err != nil {
			t.Fatal(err)
		}
		begin, count := time.Now(), 0
		c := s.Cursor()
		for _, ok := c.Next(); ok && count < 10; _, ok = c.Next() {
			count++
		}
		took := time.Since(begin)
		t.Logf("%8v for %d of %s", took.Round(time.Millisecond), count, rrule)
		if took > longest {
			t.Errorf("%s took %v", rrule, took)
		}
	}
}
