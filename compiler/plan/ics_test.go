package plan_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	goical "github.com/emersion/go-ical"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/ical/icaltest"
	"mealtab/compiler/plan"
	"mealtab/compiler/recur"
	"mealtab/compiler/zone"
)

// TestExports reads files shaped as calendar programs write them, and compares what was understood with the text beside
// each. What the times mean is checked against libical below.
func TestExports(t *testing.T) {
	for _, file := range inputs(t, filepath.Join("..", "..", "testdata", "ics")) {
		src, err := os.ReadFile(file)
		require.NoError(t, err)
		p, ds := checked.Parse(file, src)
		require.Empty(t, ds, file)
		got := dump(p)
		if *update {
			require.NoError(t, os.WriteFile(file+".want", []byte(got), 0o644))
			continue
		}
		want, err := os.ReadFile(file + ".want")
		require.NoError(t, err)
		assert.Equal(t, string(want), got, file)
	}
}

// dump writes all of a plan, one line for each thing.
func dump(p *plan.Plan) string {
	var b strings.Builder
	fmt.Fprintf(&b, "plan %q zone %s late %d board %q gap %d hopper %d\n", p.Name, p.Zone, p.Late, p.Board, p.Gap, p.Hopper)
	if p.Wheel != nil {
		fmt.Fprintf(&b, "wheel %+v\n", *p.Wheel)
	}
	if p.Button != nil {
		fmt.Fprintf(&b, "button %v, %d an hour\n", p.Button.Portion, p.Button.PerHour)
	}
	for _, m := range p.Meals {
		fmt.Fprintf(&b, "meal on line %d: %q %v presets %b of %q\n", m.Pos.Line, m.Name, m.Portion, m.Presets, p.Presets)
		fmt.Fprintf(&b, "     form %d start %v rule %v\n     %s\n", m.Set.Form, m.Set.Start, m.Set.Rule, plan.Describe(m.Set))
	}
	return b.String()
}

// instants are the instances of a set in [from, to), by the referee, as Unix seconds.
func instants(t *testing.T, p *plan.Plan, r plan.Recurrence, from, to time.Time) []int64 {
	t.Helper()
	z, err := zone.Embedded().Load(p.Zone)
	require.NoError(t, err)
	set, err := recur.New(r, z, p.Gap)
	require.NoError(t, err)
	var out []int64
	for c := set.Instants(); ; {
		i, ok := c.Next()
		if !ok || i.Unix >= to.Unix() {
			return out
		}
		if i.Unix >= from.Unix() {
			out = append(out, i.Unix)
		}
	}
}

var (
	from = time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)
	to   = time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
)

// tolerated are libical's complaints about what we read all the same: METHOD without ORGANIZER (RFC 5546, not 5545), an
// empty DESCRIPTION, and x- names in lower case, which RFC 5545 §1.3 allows.
var tolerated = regexp.MustCompile(`iTIP|No value for DESCRIPTION|Parse error in property name: x-`)

// TestExportsAsLibicalReadsThem compares the instants of whole calendars with libical 3.0, event by event.
func TestExportsAsLibicalReadsThem(t *testing.T) {
	departs := map[string]string{
		"office-suite.ics":   "foreach_recurrence does not apply RECURRENCE-ID; checked in TestOverrides",
		"lower-case.ics":     "foreach_recurrence ignores X-MEALTAB-AT and EXDATE;VALUE=DATE beside date-times",
		"web-feed.ics":       "floating times and an all-day DTSTART with BYHOUR have no instant for libical",
		"registry-zones.ics": "libical takes the zone's rules from VTIMEZONE; same instants, but only with its own TZID prefix",
	}
	l := icaltest.New(t)
	compared := 0
	for _, file := range inputs(t, filepath.Join("..", "..", "testdata", "ics")) {
		src, err := os.ReadFile(file)
		require.NoError(t, err)
		events, faults := l.List(t, string(src), from, to)
		for _, f := range faults {
			assert.Regexp(t, tolerated, f, file)
		}
		if departs[filepath.Base(file)] != "" {
			continue
		}
		p := mustParse(t, file, string(src))
		require.Len(t, p.Meals, len(events), file)
		for i, m := range p.Meals {
			assert.Equal(t, events[i].Starts, instants(t, p, m.Set, from, to), "%s %s", file, m.Name)
			compared += len(events[i].Starts)
		}
	}
	assert.Greater(t, compared, 1000)
}

// RFC 5545 §3.8.4.4: an event with RECURRENCE-ID stands for that instance of the series.
func TestOverrides(t *testing.T) {
	src, err := os.ReadFile(filepath.Join("..", "..", "testdata", "ics", "office-suite.ics"))
	require.NoError(t, err)
	p := mustParse(t, "office-suite.ics", string(src))
	require.Len(t, p.Meals, 2)
	in := func(m plan.Meal, day string) (out []string) {
		d, err := time.Parse("2006-01-02", day)
		require.NoError(t, err)
		for _, u := range instants(t, p, m.Set, d, d.AddDate(0, 0, 1)) {
			out = append(out, time.Unix(u, 0).UTC().Format("15:04"))
		}
		return out
	}
	supper, guests := p.Meals[0], p.Meals[1]
	assert.Equal(t, []string{"17:00"}, in(supper, "2026-12-24"))
	assert.Equal(t, []string{"14:00"}, in(supper, "2026-12-25"), "moved")
	assert.Empty(t, in(supper, "2026-12-31"), "another portion: a meal of its own")
	assert.Equal(t, []string{"17:00"}, in(guests, "2026-12-31"))
	assert.Empty(t, in(guests, "2027-01-01"))
	assert.Equal(t, 6, guests.Portion.Pockets)
	assert.Empty(t, in(supper, "2027-01-05"), "cancelled")
	assert.Equal(t, []string{"17:00"}, in(supper, "2027-01-06"), "only the description was changed")
}

// A moved instance whose new time the series excludes cannot be an extra date of it (EXDATE wins): two instances that
// change places.
func TestOverridesThatChangePlaces(t *testing.T) {
	event := func(lines string) string {
		return "BEGIN:VEVENT\nUID:a\nSUMMARY:supper 3 pockets\n" + lines + "\nEND:VEVENT\n"
	}
	p := mustParse(t, "x.ics", "BEGIN:VCALENDAR\nX-WR-TIMEZONE:Etc/UTC\n"+
		event("DTSTART:20261201T170000Z\nRRULE:FREQ=DAILY;COUNT=3")+
		event("RECURRENCE-ID:20261201T170000Z\nDTSTART:20261202T170000Z")+
		event("RECURRENCE-ID:20261202T170000Z\nDTSTART:20261201T170000Z")+"END:VCALENDAR\n")
	var all []int64
	for _, m := range p.Meals {
		all = append(all, instants(t, p, m.Set, from, to)...)
	}
	slices.Sort(all)
	first := time.Date(2026, 12, 1, 17, 0, 0, 0, time.UTC).Unix()
	assert.Equal(t, []int64{first, first + 86400, first + 2*86400}, all)
}

// TestWrittenPlans writes every household plan as iCalendar: read back it has the same settings and the same sets, and
// libical and go-ical read it without a fault; libical finds the same instants.
func TestWrittenPlans(t *testing.T) {
	l := icaltest.New(t)
	files := inputs(t, filepath.Join("..", "..", "testdata", "plans"))
	files = append(files, "design")
	for _, file := range files {
		p := mustParse(t, "plan.toml", designPlan)
		if file != "design" {
			p = mustRead(t, file)
		}
		var b bytes.Buffer
		require.NoError(t, plan.WriteICS(&b, p, convert))
		again := mustParse(t, "plan.ics", b.String())
		assert.Equal(t, settings(p), settings(again), file)
		assert.Equal(t, servings(t, p), servings(t, again), file)
		_, err := goical.NewDecoder(bytes.NewReader(b.Bytes())).Decode()
		require.NoError(t, err, file)
		events, faults := l.List(t, b.String(), from, to)
		assert.Empty(t, faults, file)
		compareWithLibical(t, file, again, events)
	}
}

// libicalDeparts names plans whose instants libical 3.0.16 gives otherwise, and why we believe ours.
var libicalDeparts = map[string]string{
	"05-holidays.toml":        "reads the local times of RDATE;TZID= as UTC",
	"14-ninety-minutes.toml":  "loses the phase of the cycle where Santiago's clocks skip midnight",
	"19-havana-midnight.toml": "is an hour off at 00:30 of the days on which Havana's clocks change at midnight, or do not change in 2027",
	"22-nuuk-cells.toml":      "changes to Nuuk's summer time a day late: the change is at 23:00 of the day before",
}

func compareWithLibical(t *testing.T, file string, p *plan.Plan, events []icaltest.Event) {
	t.Helper()
	require.Len(t, events, len(p.Meals), file)
	same := true
	departs := libicalDeparts[filepath.Base(file)]
	for i, m := range p.Meals {
		slices.Sort(events[i].Starts) // RDATE comes last
		want := instants(t, p, m.Set, from, to)
		same = same && slices.Equal(want, events[i].Starts)
		if departs == "" {
			assert.Equal(t, want, events[i].Starts, "%s %s", file, m.Name)
		}
	}
	assert.False(t, same && departs != "", "%s no longer departs: take it off the list", file)
}

// servings lists all servings of a plan to the end of 2030, with what is served: a meal that was written as several
// events still has them all.
func servings(t *testing.T, p *plan.Plan) []string {
	t.Helper()
	var out []string
	for _, m := range p.Meals {
		name, _, _ := strings.Cut(m.Name, " (")
		for _, u := range instants(t, p, m.Set, time.Unix(0, 0), to) {
			out = append(out, fmt.Sprintf("%d %s %v %b", u, name, m.Portion, m.Presets))
		}
	}
	slices.Sort(out)
	return out
}
