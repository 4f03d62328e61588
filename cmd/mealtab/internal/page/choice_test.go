package page

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/plan"
	"mealtab/compiler/recur"
	"mealtab/compiler/zone"
)

var someStart = plan.Local{Year: 2026, Month: 12, Day: 30, Hour: 7}

// A choice that is written as a rule and read again is the same choice.
func TestChoiceThereAndBack(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		c := drawChoice(r)
		rule, errs := plan.ParseRule(c.rule())
		require.Empty(r, errs, c.rule())
		got := choiceOf(rule, someStart)
		require.Equal(r, c.Kind, got.Kind, c.rule())
		require.Equal(r, c.rule(), got.rule())
	})
}

func drawChoice(r *rapid.T) Choice {
	c := Choice{
		Kind:     rapid.SampledFrom([]string{kindDaily, kindWeekly, kindDates, kindNth, kindHours, kindMinutes}).Draw(r, "kind"),
		Interval: rapid.IntRange(1, 40).Draw(r, "interval"), Nth: rapid.SampledFrom([]int{1, 2, 3, 4, 5, -1}).Draw(r, "nth"), Weekday: rapid.IntRange(0, 6).Draw(r, "weekday"),
		MonthDays: rapid.SampledFrom([]string{"1", "1, 15", "15, last", "31", "last"}).Draw(r, "days of the month"),
		Days:      rapid.SliceOfNDistinct(rapid.IntRange(0, 6), 1, 7, rapid.ID[int]).Draw(r, "days"),
	}
	switch rapid.IntRange(0, 2).Draw(r, "end") {
	case 1:
		c.Count = rapid.IntRange(1, 50).Draw(r, "count")
	case 2:
		c.Until = rapid.SampledFrom([]string{"2027-02-28", "2028-12-31"}).Draw(r, "until")
	}
	if rapid.Bool().Draw(r, "with months") {
		c.Months = rapid.SliceOfNDistinct(rapid.IntRange(1, 12), 1, 11, rapid.ID[int]).Draw(r, "months")
	}
	return c
}

// Whatever rule is typed: if it is shown as a choice, the choice means the same times, by the referee.
func TestChoiceMeansTheRule(t *testing.T) {
	z, err := zone.Embedded().Load("Europe/Lisbon")
	require.NoError(t, err)
	times := func(r *rapid.T, text string) (list []int64) {
		rule, errs := plan.ParseRule(text)
		require.Empty(r, errs, text)
		s, err := recur.New(plan.Recurrence{Start: someStart, Rule: rule}, z, plan.GapShift)
		require.NoError(r, err)
		for c := s.Cursor(); len(list) < 60; {
			in, ok := c.Next()
			if !ok {
				break
			}
			list = append(list, in.Nominal)
		}
		return list
	}
	shown := 0
	rapid.Check(t, func(r *rapid.T) {
		text := drawRule(r)
		rule, errs := plan.ParseRule(text)
		if len(errs) > 0 {
			return
		}
		c := choiceOf(rule, someStart)
		if c.Kind == kindTyped {
			return
		}
		shown++
		require.Equal(r, times(r, text), times(r, c.rule()), "%s is shown as %s", text, c.rule())
	})
	assert.Greater(t, shown, 2, "most rules drawn were never shown as a choice")
}

// drawRule puts parts together that may or may not go with each other.
func drawRule(r *rapid.T) string {
	text := "FREQ=" + rapid.SampledFrom([]string{"YEARLY", "MONTHLY", "WEEKLY", "DAILY", "HOURLY", "MINUTELY"}).Draw(r, "freq")
	for _, part := range []struct{ name, values string }{
		{"INTERVAL", "2"}, {"COUNT", "10"}, {"UNTIL", "20280101"}, {"WKST", "SU"}, {"BYMONTH", "1,7"}, {"BYMONTHDAY", "31"}, {"BYMONTHDAY", "-1,15"},
		{"BYDAY", "MO,WE"}, {"BYDAY", "-1FR"}, {"BYDAY", "2TU,4TU"}, {"BYHOUR", "7,19"}, {"BYSETPOS", "1"}, {"BYYEARDAY", "100"},
	} {
		if rapid.SampledFrom([]bool{false, false, false, false, false, false, true}).Draw(r, part.name) {
			text += ";" + part.name + "=" + part.values
		}
	}
	return text
}
