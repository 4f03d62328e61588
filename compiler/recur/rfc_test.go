package recur

import (
	"encoding/json"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
	"mealtab/compiler/zone"
)

// example is one worked example of an RFC: a recurrence set and its first instances in local time.
type example struct {
	ID       string
	DTStart  string
	TZID     string
	RRule    string
	ExDate   []string
	RDate    []string
	Expected []string
	Complete bool // Expected is the whole set
	Note     string
}

// tester is what testing.TB and rapid.T have in common.
type tester interface {
	require.TestingT
	Helper()
}

var zones sync.Map // by name: reading one takes longer than most tests

func load(t tester, name string) *zone.Zone {
	t.Helper()
	if z, ok := zones.Load(name); ok {
		return z.(*zone.Zone)
	}
	z, err := zone.Default().Load(name)
	require.NoError(t, err)
	zones.Store(name, z)
	return z
}

const localLayout = "2006-01-02T15:04:05"

func localOf(t tester, s string) plan.Local {
	t.Helper()
	u, err := time.Parse(localLayout, s)
	require.NoError(t, err)
	return plan.Local{Year: u.Year(), Month: int(u.Month()), Day: u.Day(), Hour: u.Hour(), Minute: u.Minute(), Second: u.Second()}
}

func localsOf(t tester, list []string) (out []plan.Local) {
	for _, s := range list {
		out = append(out, localOf(t, s))
	}
	return out
}

func text(nominal int64) string { return time.Unix(nominal, 0).UTC().Format(localLayout) }

// texts are the first n local times of a set, or all of them if n < 0.
func texts(s *Set, n int) (out []string) {
	c := s.Cursor()
	for len(out) != n {
		in, ok := c.Next()
		if !ok {
			break
		}
		out = append(out, text(in.Nominal))
	}
	return out
}

// ruleSet builds a set from a local DTSTART and the text of a rule.
func ruleSet(t tester, z *zone.Zone, dtstart, rrule string) *Set {
	t.Helper()
	s, err := New(plan.Recurrence{Start: localOf(t, dtstart), Rule: &plan.Rule{Text: rrule}}, z, plan.GapShift)
	require.NoError(t, err, "%s %s", dtstart, rrule)
	return s
}

// TestWorkedExamples runs every worked example of RFC 5545 §3.8.5.3 (with erratum 3883) and that of §3.3.10, then
// RFC 7529 §4.3.
func TestWorkedExamples(t *testing.T) {
	counts := map[string]int{"rfc5545-examples.json": 43, "rfc7529-examples.json": 1}
	for file, count := range counts {
		data, err := os.ReadFile("../../testdata/recur/" + file)
		require.NoError(t, err)
		var examples []example
		require.NoError(t, json.Unmarshal(data, &examples))
		require.Len(t, examples, count)
		for _, e := range examples {
			t.Run(e.ID, func(t *testing.T) {
				r := plan.Recurrence{Start: localOf(t, e.DTStart), Rule: &plan.Rule{Text: e.RRule},
					RDate: localsOf(t, e.RDate), ExDate: localsOf(t, e.ExDate)}
				s, err := New(r, load(t, e.TZID), plan.GapShift)
				require.NoError(t, err)
				n := len(e.Expected)
				if e.Complete {
					n = -1
				}
				require.Equal(t, e.Expected, texts(s, n))
				require.Equal(t, slices.Contains(e.Expected, e.DTStart), s.StartMatches())
			})
		}
	}
}

// TestShiftedExamples runs the same examples 28 years later: in the Gregorian calendar from 1901 to 2099 that
// keeps weekdays and leap years. UNTIL in UTC is replaced by its local time, since New York's rules have changed
// meanwhile.
func TestShiftedExamples(t *testing.T) {
	data, err := os.ReadFile("../../testdata/recur/rfc5545-examples.json")
	require.NoError(t, err)
	var examples []example
	require.NoError(t, json.Unmarshal(data, &examples))
	shift := func(s string) string {
		u, err := time.Parse(localLayout, s)
		require.NoError(t, err)
		return u.AddDate(28, 0, 0).Format(localLayout)
	}
	for _, e := range examples {
		if strings.Contains(e.RRule, "UNTIL") {
			z := load(t, e.TZID)
			before, value, _ := strings.Cut(e.RRule, "UNTIL=")
			value, after, _ := strings.Cut(value, ";")
			u, err := time.Parse("20060102T150405Z", value)
			require.NoError(t, err)
			local := u.Add(time.Duration(z.At(u.Unix()).Seconds)*time.Second).AddDate(28, 0, 0)
			e.RRule = strings.TrimSuffix(before+"UNTIL="+local.Format("20060102T150405")+";"+after, ";")
		}
		var want []string
		for _, x := range e.Expected {
			want = append(want, shift(x))
		}
		r := plan.Recurrence{Start: localOf(t, shift(e.DTStart)), Rule: &plan.Rule{Text: e.RRule}}
		for _, x := range e.ExDate {
			r.ExDate = append(r.ExDate, localOf(t, shift(x)))
		}
		s, err := New(r, load(t, e.TZID), plan.GapShift)
		require.NoError(t, err)
		n := len(want)
		if e.Complete {
			n = -1
		}
		require.Equal(t, want, texts(s, n), e.ID)
	}
}
