package prove_test

import (
	"encoding/json"
	"fmt"
	"os"
	"regexp"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
	"mealtab/compiler/prove"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// rfcExample is one of the worked examples of RFC 5545 §3.8.5.3 and §3.3.10, erratum 3883 applied.
type rfcExample struct {
	ID, RRule, DTStart, TZID string
	ExDate, RDate, Expected  []string
	Complete                 bool
}

// shiftYears moves the examples into the table's calendar: after 28 years weekdays and leap years are the same.
const shiftYears = 28

const wallClock = "2006-01-02T15:04:05"

func shifted(t *testing.T, s string) time.Time {
	at, err := time.Parse(wallClock, s)
	require.NoError(t, err)
	return at.AddDate(shiftYears, 0, 0)
}

var untilYear = regexp.MustCompile(`UNTIL=(\d{4})`)

func shiftUntil(rule string) string {
	return untilYear.ReplaceAllStringFunc(rule, func(s string) string {
		year, _ := strconv.Atoi(s[len("UNTIL="):])
		return fmt.Sprintf("UNTIL=%d", year+shiftYears)
	})
}

func local(at time.Time) plan.Local {
	return plan.Local{Year: at.Year(), Month: int(at.Month()), Day: at.Day(), Hour: at.Hour(), Minute: at.Minute()}
}

func (e rfcExample) plan(t *testing.T) *plan.Plan {
	rule, errs := plan.ParseRule(shiftUntil(e.RRule))
	require.Empty(t, errs)
	set := plan.Recurrence{Start: local(shifted(t, e.DTStart)), Rule: rule}
	for _, s := range e.ExDate {
		set.ExDate = append(set.ExDate, local(shifted(t, s)))
	}
	for _, s := range e.RDate {
		set.RDate = append(set.RDate, local(shifted(t, s)))
	}
	return &plan.Plan{Name: e.ID, Zone: e.TZID, Meals: []plan.Meal{{Name: "meal", Portion: plan.Portion{Pockets: 1}, Set: set}}}
}

// Every worked example of RFC 5545 has a closed form, and the table serves just what the RFC lists.
func TestRFCExamplesThroughTheTable(t *testing.T) {
	text, err := os.ReadFile("../../testdata/recur/rfc5545-examples.json")
	require.NoError(t, err)
	var examples []rfcExample
	require.NoError(t, json.Unmarshal(text, &examples))
	require.Len(t, examples, 43)
	for _, e := range examples {
		t.Run(e.ID, func(t *testing.T) { e.check(t) })
	}
}

func (e rfcExample) check(t *testing.T) {
	z, err := zone.Default().Load(e.TZID)
	require.NoError(t, err)
	loc, err := time.LoadLocation(e.TZID)
	require.NoError(t, err)
	p := e.plan(t)
	const from = 8766 // 2024-01-01
	b, res, err := compile(p, z, from, table.MaxDay)
	require.NoError(t, err)
	require.Empty(t, res.Explicit, "has a closed form")
	_, err = prove.Prove(prove.Input{Bytes: b, Plan: p, Zone: z, MealOf: res.MealOf, From: from, Through: table.MaxDay})
	require.NoError(t, err)

	c := replay.New(res.Table, replay.Options{})
	for _, want := range e.Expected {
		s, ok := c.Next()
		require.True(t, ok, "nothing where the RFC has %s", want)
		require.Equal(t, shifted(t, want).Format(wallClock), s.At.Time().In(loc).Format(wallClock))
	}
	if e.Complete {
		s, more := c.Next()
		require.False(t, more, "%s is beyond the RFC's list", s.At)
	}
	t.Logf("%2d bytes: %s", len(b), e.RRule)
}
