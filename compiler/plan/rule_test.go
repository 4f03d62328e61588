package plan

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Every recurrence rule printed in RFC 5545 §3.8.5.3 (erratum 3883 applied) and §3.3.10, and those of RFC 7529 §4.3
// and §9 that are Gregorian.
var rfcRules = strings.Fields(`
FREQ=DAILY;COUNT=10
FREQ=DAILY;UNTIL=19971224T000000Z
FREQ=DAILY;INTERVAL=2
FREQ=DAILY;INTERVAL=10;COUNT=5
FREQ=YEARLY;UNTIL=20000131T140000Z;BYMONTH=1;BYDAY=SU,MO,TU,WE,TH,FR,SA
FREQ=DAILY;UNTIL=20000131T140000Z;BYMONTH=1
FREQ=WEEKLY;COUNT=10
FREQ=WEEKLY;UNTIL=19971224T000000Z
FREQ=WEEKLY;INTERVAL=2;WKST=SU
FREQ=WEEKLY;UNTIL=19971007T000000Z;WKST=SU;BYDAY=TU,TH
FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH
FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR
FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH
FREQ=MONTHLY;COUNT=10;BYDAY=1FR
FREQ=MONTHLY;UNTIL=19971224T000000Z;BYDAY=1FR
FREQ=MONTHLY;INTERVAL=2;COUNT=10;BYDAY=1SU,-1SU
FREQ=MONTHLY;COUNT=6;BYDAY=-2MO
FREQ=MONTHLY;BYMONTHDAY=-3
FREQ=MONTHLY;COUNT=10;BYMONTHDAY=2,15
FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1
FREQ=MONTHLY;INTERVAL=18;COUNT=10;BYMONTHDAY=10,11,12,13,14,15
FREQ=MONTHLY;INTERVAL=2;BYDAY=TU
FREQ=YEARLY;COUNT=10;BYMONTH=6,7
FREQ=YEARLY;INTERVAL=2;COUNT=10;BYMONTH=1,2,3
FREQ=YEARLY;INTERVAL=3;COUNT=10;BYYEARDAY=1,100,200
FREQ=YEARLY;BYDAY=20MO
FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO
FREQ=YEARLY;BYMONTH=3;BYDAY=TH
FREQ=YEARLY;BYDAY=TH;BYMONTH=6,7,8
FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13
FREQ=MONTHLY;BYDAY=SA;BYMONTHDAY=7,8,9,10,11,12,13
FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8
FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3
FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2
FREQ=HOURLY;INTERVAL=3;UNTIL=19970902T210000Z
FREQ=MINUTELY;INTERVAL=15;COUNT=6
FREQ=MINUTELY;INTERVAL=90;COUNT=4
FREQ=DAILY;BYHOUR=9,10,11,12,13,14,15,16;BYMINUTE=0,20,40
FREQ=MINUTELY;INTERVAL=20;BYHOUR=9,10,11,12,13,14,15,16
FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO
FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU
FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5
FREQ=YEARLY;INTERVAL=2;BYMONTH=1;BYDAY=SU;BYHOUR=8,9;BYMINUTE=30
RSCALE=GREGORIAN;FREQ=YEARLY;SKIP=FORWARD
RSCALE=GREGORIAN;FREQ=MONTHLY;SKIP=BACKWARD;COUNT=4
`)

func TestParseRuleRFC(t *testing.T) {
	for _, s := range rfcRules {
		r, errs := ParseRule(s)
		require.Empty(t, errs, s)
		assert.Equal(t, s, r.Text)
		again, errs := ParseRule(r.String())
		require.Empty(t, errs, r.String())
		again.Text = r.Text
		assert.Equal(t, r, again, s)
	}
}

func TestParseRuleParts(t *testing.T) {
	r, errs := ParseRule(" freq = monthly ; interval=2;byday=-1fr,mo, +2tu;bymonthday=+3,-1,3;wkst=su;bysecond=60,59;count=7")
	require.Empty(t, errs)
	assert.Equal(t, &Rule{
		Text: "FREQ=MONTHLY;INTERVAL=2;BYDAY=-1FR,MO,+2TU;BYMONTHDAY=+3,-1,3;WKST=SU;BYSECOND=60,59;COUNT=7",
		Freq: Monthly, Interval: 2, Count: 7, WeekStart: Sunday,
		ByDay:      []WeekdayNum{{-1, Friday}, {0, Monday}, {2, Tuesday}},
		ByMonthDay: []int{-1, 3},
		BySecond:   []int{59},
	}, r)
}

// The messages of every fault a rule can have, with what they underline. The ranges and the forbidden combinations are
// those of RFC 5545 §3.3.10 and RFC 7529 §4.1.
func TestParseRuleFaults(t *testing.T) {
	cases := []struct{ rule, marked, message string }{
		{"FREQ=DAILY;BYHOUR=7,25", "25", "BYHOUR=25 is outside 0 to 23"},
		{"FREQ=DAILY;BYHOUR=-1", "-1", "BYHOUR=-1 is outside 0 to 23"},
		{"FREQ=DAILY;BYMINUTE=60", "60", "BYMINUTE=60 is outside 0 to 59"},
		{"FREQ=DAILY;BYSECOND=61", "61", "BYSECOND=61 is outside 0 to 60"},
		{"FREQ=MONTHLY;BYMONTHDAY=0", "0", "BYMONTHDAY=0 is outside 1 to 31 and -31 to -1"},
		{"FREQ=MONTHLY;BYMONTHDAY=-32", "-32", "BYMONTHDAY=-32 is outside 1 to 31 and -31 to -1"},
		{"FREQ=YEARLY;BYYEARDAY=367", "367", "BYYEARDAY=367 is outside 1 to 366 and -366 to -1"},
		{"FREQ=YEARLY;BYWEEKNO=54", "54", "BYWEEKNO=54 is outside 1 to 53 and -53 to -1"},
		{"FREQ=YEARLY;BYMONTH=13", "13", "BYMONTH=13 is outside 1 to 12"},
		{"FREQ=YEARLY;BYMONTH=5L", "5L", "BYMONTH=5L is not a whole number from 1 to 12"},
		{"FREQ=DAILY;BYHOUR=7;BYSETPOS=0", "0", "BYSETPOS=0 is outside 1 to 366 and -366 to -1"},
		{"FREQ=MONTHLY;BYDAY=54MO", "54MO", "BYDAY=54MO: the number is outside 1 to 53 and -53 to -1"},
		{"FREQ=MONTHLY;BYDAY=0MO", "0MO", "BYDAY=0MO: the number is outside 1 to 53 and -53 to -1"},
		{"FREQ=WEEKLY;BYDAY=MONDAY", "MONDAY", "BYDAY=MONDAY is not a weekday"},
		{"FREQ=DAILY;INTERVAL=0", "0", "INTERVAL=0 must be at least 1"},
		{"FREQ=DAILY;INTERVAL=-1", "-1", "INTERVAL=-1 is not a whole number"},
		{"FREQ=DAILY;COUNT=0", "0", "COUNT=0 must be at least 1"},
		{"FREQ=DAILY;COUNT=1000000000", "1000000000", "COUNT=1000000000 is above 999999999"},
		{"FREQ=DAILY;COUNT=2;UNTIL=20270101", "UNTIL=20270101", "COUNT and UNTIL exclude each other"},
		{"FREQ=DAILY;UNTIL=20270230", "20270230", "UNTIL=20270230 does not exist"},
		{"FREQ=DAILY;UNTIL=2027-02-03", "2027-02-03", "UNTIL=2027-02-03 is not a date or date-time"},
		{"FREQ=DAILY;UNTIL=20270203T250000Z", "20270203T250000Z", "UNTIL=20270203T250000Z has no hour 25"},
		{"FREQ=DAILY;UNTIL=20270203Z", "20270203Z", "UNTIL=20270203Z is not a date or date-time"},
		{"FREQ=DAILY;FREQ=DAILY", "FREQ=DAILY", "FREQ is given twice"},
		{"FREQ=FORTNIGHTLY", "FORTNIGHTLY", "FREQ=FORTNIGHTLY does not exist"},
		{"INTERVAL=2", "INTERVAL=2", "the rule has no FREQ"},
		{"FREQ=DAILY;BYEASTER=1", "BYEASTER", `"BYEASTER" is not a part of a recurrence rule`},
		{"FREQ=DAILY;X-FOO=1", "X-FOO", `"X-FOO" is not a part of a recurrence rule`},
		{"RRULE:FREQ=DAILY", "RRULE", "the rule begins with its property name"},
		{"FREQ=DAILY;", ";", "a part of the rule is empty"},
		{"FREQ=DAILY;BYHOUR", "BYHOUR", `"BYHOUR" has no =`},
		{"FREQ=DAILY;BYHOUR=", "BYHOUR=", "BYHOUR has no value"},
		{"FREQ=DAILY;BYHOUR=1,,2", ",", "BYHOUR has an empty element"},
		{"FREQ=DAILY;BYHOUR=1 2", "1 2", "BYHOUR=1 2 is not a whole number from 0 to 23"},
		{"FREQ=DAILY;BYHOUR=7.5", "7.5", "BYHOUR=7.5 is not a whole number from 0 to 23"},
		{"FREQ=MONTHLY;BYWEEKNO=3", "BYWEEKNO=3", "BYWEEKNO cannot be used with FREQ=MONTHLY"},
		{"FREQ=DAILY;BYYEARDAY=3", "BYYEARDAY=3", "BYYEARDAY cannot be used with FREQ=DAILY"},
		{"FREQ=WEEKLY;BYYEARDAY=3", "BYYEARDAY=3", "BYYEARDAY cannot be used with FREQ=WEEKLY"},
		{"FREQ=MONTHLY;BYYEARDAY=3", "BYYEARDAY=3", "BYYEARDAY cannot be used with FREQ=MONTHLY"},
		{"FREQ=WEEKLY;BYMONTHDAY=5", "BYMONTHDAY=5", "BYMONTHDAY cannot be used with FREQ=WEEKLY"},
		{"FREQ=WEEKLY;BYDAY=2MO", "BYDAY=2MO", "a numbered weekday cannot be used with FREQ=WEEKLY"},
		{"FREQ=YEARLY;BYWEEKNO=3;BYDAY=1MO", "BYDAY=1MO", "a numbered weekday cannot be used with BYWEEKNO"},
		{"FREQ=DAILY;BYSETPOS=1", "BYSETPOS=1", "BYSETPOS needs another BY… part"},
		{"FREQ=MONTHLY;SKIP=FORWARD", "SKIP=FORWARD", "SKIP needs RSCALE (RFC 7529 §4.1)"},
		{"RSCALE=HEBREW;FREQ=YEARLY", "HEBREW", "RSCALE=HEBREW does not exist"},
		{"RSCALE=GREGORIAN;FREQ=YEARLY;SKIP=UP", "UP", "SKIP=UP does not exist"},
		{"", "", "the rule is empty"},
		{"   ", "   ", "the rule is empty"},
	}
	for _, c := range cases {
		r, errs := ParseRule(c.rule)
		assert.Nil(t, r, c.rule)
		if assert.Len(t, errs, 1, c.rule) {
			assert.Equal(t, c.message, errs[0].Error(), c.rule)
			assert.Equal(t, c.marked, c.rule[errs[0].From:errs[0].To], c.rule)
		}
	}
}

func TestParseRuleReportsAllFaultsInOrder(t *testing.T) {
	_, errs := ParseRule("FREQ=WEEKLY;BYHOUR=24,25;BYMONTHDAY=1;WKST=XX;BYMINUTE=99")
	var marks []string
	for _, e := range errs {
		marks = append(marks, fmt.Sprint(e.From))
	}
	assert.Equal(t, []string{"19", "22", "25", "43", "55"}, marks)
}

// ruleGen draws any rule that the combinations of RFC 5545 §3.3.10 allow.
func ruleGen(t *rapid.T) *Rule {
	r := &Rule{
		Freq:      Freq(rapid.IntRange(0, 6).Draw(t, "freq")),
		Interval:  rapid.IntRange(1, 400).Draw(t, "interval"),
		WeekStart: Weekday(rapid.IntRange(0, 6).Draw(t, "wkst")),
		Skip:      Skip(rapid.IntRange(0, 2).Draw(t, "skip")),
	}
	switch rapid.IntRange(0, 2).Draw(t, "end") {
	case 1:
		r.Count = rapid.IntRange(1, 10000).Draw(t, "count")
	case 2:
		r.Until = untilGen(t)
	}
	list := func(name string, lo, hi int, signed bool) []int {
		if rapid.IntRange(0, 2).Draw(t, name+"?") > 0 {
			return nil
		}
		n := rapid.IntRange(lo, hi)
		if signed {
			n = rapid.OneOf(n, rapid.IntRange(-hi, -lo))
		}
		l := rapid.SliceOfN(n, 1, 6).Draw(t, name)
		slices.Sort(l)
		return slices.Compact(l)
	}
	r.BySecond, r.ByMinute, r.ByHour = list("second", 0, 59, false), list("minute", 0, 59, false), list("hour", 0, 23, false)
	r.ByMonth = list("month", 1, 12, false)
	if r.Freq != Weekly {
		r.ByMonthDay = list("monthday", 1, 31, true)
	}
	if r.Freq == Yearly {
		r.ByWeekNo = list("weekno", 1, 53, true)
	}
	if r.Freq < Daily || r.Freq == Yearly {
		r.ByYearDay = list("yearday", 1, 366, true)
	}
	for _, n := range list("day", 0, 6, false) {
		r.ByDay = append(r.ByDay, WeekdayNum{0, Weekday(n)})
	}
	if r.Freq >= Monthly && r.ByWeekNo == nil {
		for i := range r.ByDay {
			r.ByDay[i].N = rapid.IntRange(-1, i).Draw(t, "n")
		}
		sortDays(r.ByDay)
	}
	if r.ByMonth != nil {
		r.BySetPos = list("setpos", 1, 366, true)
	}
	return r
}

func untilGen(t *rapid.T) *Until {
	u := &Until{Form: Form(rapid.IntRange(0, 2).Draw(t, "form"))}
	u.Local = Local{Year: rapid.IntRange(2000, 2099).Draw(t, "year"), Month: rapid.IntRange(1, 12).Draw(t, "month"), Day: rapid.IntRange(1, 28).Draw(t, "day")}
	if u.Form != Date {
		u.Local.Hour, u.Local.Minute, u.Local.Second = rapid.IntRange(0, 23).Draw(t, "h"), rapid.IntRange(0, 59).Draw(t, "m"), rapid.IntRange(0, 59).Draw(t, "s")
	}
	return u
}

func TestParseRuleOfStringIsTheRule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := ruleGen(t)
		again, errs := ParseRule(r.String())
		if len(errs) > 0 {
			t.Fatalf("%s: %v", r, errs)
		}
		r.Text = strings.ToUpper(r.String())
		if !assert.ObjectsAreEqual(r, again) {
			t.Fatalf("%+v became %+v", r, again)
		}
	})
}

// FuzzParseRule wants: no panic, spans inside the text, either a rule or a reason, and a rule that its own text gives.
func FuzzParseRule(f *testing.F) {
	for _, s := range rfcRules {
		f.Add(s)
	}
	f.Add("FREQ=DAILY;;BYHOUR=,1;=;BYDAY=+1MO,é")
	f.Fuzz(func(t *testing.T, s string) {
		r, errs := ParseRule(s)
		if (r == nil) != (len(errs) > 0) {
			t.Fatalf("rule %v with errors %v", r, errs)
		}
		for _, e := range errs {
			if e.From < 0 || e.To < e.From || e.To > len(s) || e.Message == "" {
				t.Fatalf("bad span or message: %+v in %q", e, s)
			}
		}
		if r == nil {
			return
		}
		for _, text := range []string{r.String(), r.Text} {
			again, errs := ParseRule(text)
			if len(errs) > 0 || again.String() != r.String() {
				t.Fatalf("%q gives %v, %v", text, again, errs)
			}
		}
	})
}
