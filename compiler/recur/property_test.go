package recur

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/teambition/rrule-go"
	"pgregory.net/rapid"

	"mealtab/compiler/plan"
	"mealtab/compiler/recur/rulegen"
)

// draws lets rapid choose, so that it can shrink what it finds.
type draws struct{ t *rapid.T }

func (d draws) IntN(n int) int { return rapid.IntRange(0, n-1).Draw(d.t, "choice") }

var propertyZones = []string{"America/New_York", "Europe/London", "Australia/Lord_Howe", "America/Santiago", "Asia/Beirut",
	"Africa/Cairo", "America/Nuuk", "America/Havana", "Antarctica/Troll", "Asia/Gaza", "Pacific/Apia"}

// TestOrder: a cursor's nominal times strictly ascend up to End and never precede DTSTART but for RDATE; Instants
// strictly ascend and are the same instants; the walk repeats itself.
func TestOrder(t *testing.T) {
	options := rulegen.Options{Skip: true, At: true, Explicit: true, Forms: []plan.Form{plan.Zoned, plan.UTC, plan.Date},
		UntilForms: []plan.Form{plan.Zoned, plan.UTC, plan.Date}}
	rapid.Check(t, func(t *rapid.T) {
		r := rulegen.Recurrence(draws{t}, options)
		z := load(t, rapid.SampledFrom(propertyZones).Draw(t, "zone"))
		s, err := New(r, z, rapid.SampledFrom([]plan.Gap{plan.GapShift, plan.GapOmit}).Draw(t, "gap"))
		require.NoError(t, err, r.Rule.Text)
		c, again := s.Cursor(), s.Cursor()
		last := int64(-1 << 62)
		for i := 0; i < 500; i++ {
			in, ok := c.Next()
			same, _ := again.Next()
			require.Equal(t, in, same)
			if !ok {
				break
			}
			require.Greater(t, in.Nominal, last, r.Rule.Text)
			require.LessOrEqual(t, in.Nominal, End)
			require.NotContains(t, s.exTimes, in.Nominal)
			if in.Nominal < s.start {
				require.Contains(t, s.explicit, in.Nominal)
			}
			last = in.Nominal
		}
		checkInstants(t, s)
	})
}

// TestLimits: every instance of a rule without SKIP satisfies every part of it, asked of Go's calendar.
func TestLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rec := rulegen.Recurrence(draws{t}, rulegen.Options{})
		rec.Form = plan.UTC
		s, err := New(rec, nil, plan.GapShift)
		require.NoError(t, err)
		o, r, count := newOracle(rec), rec.Rule, 0
		c := s.Cursor()
		for in, ok := c.Next(); ok && count < 100; in, ok = c.Next() {
			d := time.Unix(in.Nominal, 0).UTC()
			_, n, weeks := o.week(d)
			require.True(t, has(o.months, int(d.Month())) && hasEither(o.monthDays, d.Day(), daysIn(d.Year(), d.Month())) &&
				hasEither(r.ByYearDay, d.YearDay(), daysInYear(d.Year())) && hasEither(r.ByWeekNo, n, weeks) &&
				o.weekdayFits(d) && o.timeFits(d.Clock()), "%s: %v", r.Text, d)
			count++
		}
		if r.Count > 0 {
			require.LessOrEqual(t, count, r.Count)
		}
	})
}

// TestCountAndUntilCut: COUNT=n is the first n instances of the rule without it, and UNTIL those up to it.
func TestCountAndUntilCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rec := rulegen.Recurrence(draws{t}, rulegen.Options{Skip: true, NoEnd: true})
		z := load(t, rapid.SampledFrom(propertyZones).Draw(t, "zone"))
		n := rapid.IntRange(1, 40).Draw(t, "count")
		walk := func(change func(*plan.Rule)) []int64 {
			rule := *rec.Rule
			change(&rule)
			rule.Text = rule.String()
			r := rec
			r.Rule = &rule
			s, err := New(r, z, plan.GapShift)
			require.NoError(t, err, rule.Text)
			var out []int64
			c := s.Cursor()
			for in, ok := c.Next(); ok && len(out) < 60; in, ok = c.Next() {
				out = append(out, in.Nominal)
			}
			return out
		}
		all := walk(func(*plan.Rule) {})
		if len(all) == 0 {
			return
		}
		require.Equal(t, all[:min(n, len(all))], walk(func(r *plan.Rule) { r.Count = n }))
		cut := all[min(n, len(all))-1]
		got := walk(func(r *plan.Rule) { r.Until = &plan.Until{Form: plan.Zoned, Local: localOf(t, text(cut))} })
		require.Equal(t, all[:slices.Index(all, cut)+1], got)
	})
}

var partNames = [partCount]string{
	"BYMONTH", "BYWEEKNO", "BYYEARDAY", "BYMONTHDAY", "BYDAY", "BYHOUR", "BYMINUTE", "BYSECOND", "BYSETPOS",
}

// TestGeneratedRulesParse: what rulegen renders, rrule-go's parser and the referee read, and every FREQ and part
// comes up.
func TestGeneratedRulesParse(t *testing.T) {
	src := rand.New(rand.NewPCG(seed(), 1))
	var parts [partCount]int
	for range 3000 {
		rec := rulegen.Recurrence(src, rulegen.Options{Skip: true})
		r, err := parseRule(rec.Rule.Text, false)
		require.NoError(t, err, rec.Rule.Text)
		require.Equal(t, rec.Rule.Freq, r.freq)
		require.EqualValues(t, rec.Rule.Interval, r.interval)
		require.Equal(t, rec.Rule.WeekStart, r.weekStart)
		require.Equal(t, rec.Rule.Skip, r.skip)
		require.ElementsMatch(t, rec.Rule.ByDay, r.byDay)
		for p, list := range map[part][]int{byMonth: rec.Rule.ByMonth, byWeekNo: rec.Rule.ByWeekNo, byYearDay: rec.Rule.ByYearDay,
			byMonthDay: rec.Rule.ByMonthDay, byHour: rec.Rule.ByHour, byMinute: rec.Rule.ByMinute, bySecond: rec.Rule.BySecond, bySetPos: rec.Rule.BySetPos} {
			require.ElementsMatch(t, list, r.lists[p], partNames[p])
		}
		for p := range partCount {
			if r.has(p) {
				parts[p]++
			}
		}
	}
	for p, n := range parts {
		require.Greater(t, n, 50, partNames[p])
	}
}

// TestPrintedRulesAsTheLibraryHasThem: what plan prints, rrule-go parses into the same fields, and what rrule-go prints of those, plan
// parses into the same rule; but for SKIP, which rrule-go does not know, and UNTIL, which it writes in UTC whatever it was.
func TestPrintedRulesAsTheLibraryHasThem(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := *rulegen.Recurrence(draws{t}, rulegen.Options{UntilForms: []plan.Form{plan.UTC}}).Rule
		option, err := rrule.StrToROption(want.String())
		require.NoError(t, err, want.String())
		require.Equal(t, plan.FreqNames[want.Freq], option.Freq.String())
		require.Equal(t, want.Interval, max(option.Interval, 1))
		require.Equal(t, want.Count, option.Count)
		require.EqualValues(t, want.WeekStart, option.Wkst.Day())
		if want.Until != nil {
			require.Equal(t, want.Until.Local.Basic(plan.UTC), option.Until.Format("20060102T150405Z"))
		}
		require.Len(t, option.Byweekday, len(want.ByDay))
		for i, d := range option.Byweekday {
			require.Equal(t, want.ByDay[i], plan.WeekdayNum{N: d.N(), Day: plan.Weekday(d.Day())})
		}
		for _, lists := range [][2][]int{{want.ByMonth, option.Bymonth}, {want.ByWeekNo, option.Byweekno}, {want.ByYearDay, option.Byyearday},
			{want.ByMonthDay, option.Bymonthday}, {want.ByHour, option.Byhour}, {want.ByMinute, option.Byminute}, {want.BySecond, option.Bysecond},
			{want.BySetPos, option.Bysetpos}} {
			require.Equal(t, lists[0], lists[1], want.String())
		}
		back, errs := plan.ParseRule(option.RRuleString())
		require.Empty(t, errs, option.RRuleString())
		require.Equal(t, want.String(), back.String())
	})
}
