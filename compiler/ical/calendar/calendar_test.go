package calendar_test

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
	"mealtab/compiler/plan/describe"
	"mealtab/compiler/recur"
	"mealtab/compiler/zone"
)

// TestExports reads files shaped as calendar programs write them, and compares what was understood with the text beside
// each. What the times mean is checked against libical below.
func TestExports(t *testing.T) {
	for _, file := range inputs(t, "ics", "*.ics") {
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
		fmt.Fprintf(&b, "     form %d start %v rule %v\n     %s\n", m.Set.Form, m.Set.Start, m.Set.Rule, describe.Set(m.Set))
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
	for _, file := range inputs(t, "ics", "*.ics") {
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
	p := mustParse(t, "office-suite.ics", read(t, filepath.Join("..", "..", "..", "testdata", "ics", "office-suite.ics")))
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
	files := append(inputs(t, "plans", "*.toml"), filepath.Join("..", "..", "reader", "testdata", "every-key.toml"))
	for _, file := range files {
		p := mustParse(t, filepath.Base(file), read(t, file))
		text := calendarOf(t, p, written)
		again := mustParse(t, "plan.ics", text)
		assert.Equal(t, settings(p), settings(again), file)
		assert.Equal(t, servings(t, p), servings(t, again), file)
		strict(t, file, text)
		events, faults := l.List(t, text, from, to)
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

// TestWrittenZones writes a plan of four meals a day in every zone with its VTIMEZONE under a name that libical cannot know, so that
// it must go by what was written: it finds the same instants. The times are those at which no clock changes, where libical has ideas of
// its own; the changes themselves are checked in TestDescribe. ICS_ZONES=all takes every zone, not each twelfth.
func TestWrittenZones(t *testing.T) {
	l := icaltest.New(t)
	src := `zone = "%s"
[[meal]]
name    = "a"
portion = "1 pocket"
dtstart = 2026-12-01T04:15:00
rrule   = "FREQ=DAILY;BYHOUR=4,8,12,20;BYMINUTE=15;UNTIL=20301231T000000Z"
`
	compared, rules := 0, 0
	for i, name := range zone.Embedded().Names() {
		if os.Getenv("ICS_ZONES") != "all" && i%12 != 0 {
			continue
		}
		p := mustParse(t, "plan.toml", fmt.Sprintf(src, name))
		ours := calendarOf(t, p, written)
		text := strings.NewReplacer("TZID:"+name+"\r", "TZID:Invented\r", "TZID="+name+":", "TZID=Invented:").Replace(ours)
		strict(t, name, ours)
		events, faults := l.List(t, text, from, to)
		require.Empty(t, faults, "%s\n%s", name, text)
		require.Len(t, events, 1, name)
		want := instants(t, p, p.Meals[0].Set, from, to)
		slices.Sort(events[0].Starts)
		assert.Equal(t, want, events[0].Starts, "%s\n%s", name, text)
		compared += len(want)
		rules += strings.Count(text, "BEGIN:DAYLIGHT\r\n") // some have a rule, some dates
	}
	t.Logf("%d instants compared with libical, %d observances of daylight saving time", compared, rules)
	assert.Greater(t, compared, 100_000)
	assert.Positive(t, rules)
}

// strict is a reader of a calendar that takes nothing but what RFC 5545 §3.1, §3.6 and §3.8 allow.
func strict(t *testing.T, name, text string) {
	t.Helper()
	require.True(t, strings.HasSuffix(text, "\r\n"), name)
	for _, line := range strings.Split(strings.TrimSuffix(text, "\r\n"), "\r\n") {
		require.LessOrEqual(t, len(line), 75, "%s: %s", name, line)
		require.NotRegexp(t, `[\x00-\x08\x0a-\x1f\x7f]`, line, name)
	}
	cal, err := goical.NewDecoder(strings.NewReader(text)).Decode()
	require.NoError(t, err, name)
	var again bytes.Buffer
	require.NoError(t, goical.NewEncoder(&again).Encode(cal), "%s: go-ical refuses to write what RFC 5545 does not allow", name)
	defined := map[string]bool{}
	uids := map[string]bool{}
	for _, c := range cal.Children {
		switch c.Name {
		case "VTIMEZONE":
			id := c.Props.Get("TZID").Value
			require.False(t, defined[id], "%s: %s is defined twice (§3.6.5)", name, id)
			defined[id] = true
			require.NotEmpty(t, c.Children, name)
			for _, o := range c.Children {
				for _, prop := range []string{"DTSTART", "TZOFFSETFROM", "TZOFFSETTO"} {
					require.Len(t, o.Props.Values(prop), 1, "%s: %s of %s (§3.6.5)", name, prop, o.Name)
				}
			}
		case "VEVENT":
			for _, prop := range []string{"UID", "DTSTAMP", "DTSTART", "SEQUENCE"} {
				require.Len(t, c.Props.Values(prop), 1, "%s: %s (§3.6.1)", name, prop)
			}
			uid := c.Props.Get("UID").Value
			require.False(t, uids[uid], "%s: UID twice (§3.8.4.7)", name)
			uids[uid] = true
			for _, list := range c.Props {
				for _, prop := range list {
					if id := prop.Params.Get("TZID"); id != "" {
						require.True(t, defined[id], "%s: TZID %s has no VTIMEZONE before it (§3.2.19)", name, id)
					}
				}
			}
		}
	}
}

// A calendar program that imports an export again replaces what it has: same UIDs, higher SEQUENCE, later DTSTAMP (RFC 5546 §2.1.5).
func TestALaterExportReplaces(t *testing.T) {
	write := func(src string, minutes int) *goical.Component {
		text := calendarOf(t, mustParse(t, "plan.toml", src), written.Add(time.Duration(minutes)*time.Minute))
		cal, err := goical.NewDecoder(strings.NewReader(text)).Decode()
		require.NoError(t, err)
		events := cal.Events()
		require.NotEmpty(t, events)
		return events[len(events)-1].Component
	}
	one := "zone = \"Europe/Lisbon\"\nplan = \"x\"\n[[meal]]\nname = \"a\"\nportion = \"1 pocket\"\nat = [\"07:00\"]\n"
	two := strings.Replace(one, "[[meal]]", "[[meal]]\nname = \"new\"\nportion = \"2 pockets\"\nat = [\"06:00\"]\n[[meal]]", 1)
	before, after := write(one, 0), write(strings.Replace(two, "07:00", "08:00", 1), 1)
	assert.Equal(t, before.Props.Get("UID").Value, after.Props.Get("UID").Value)
	sequence := func(c *goical.Component) int {
		n, err := c.Props.Get("SEQUENCE").Int()
		require.NoError(t, err)
		return n
	}
	assert.Greater(t, sequence(after), sequence(before))
	assert.Greater(t, after.Props.Get("DTSTAMP").Value, before.Props.Get("DTSTAMP").Value)
}
