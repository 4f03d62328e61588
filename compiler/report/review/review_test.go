package review

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// meal writes a meal of two pockets, twice a day unless the lines say otherwise.
func meal(name, lines string) string {
	return "\n[[meal]]\nname = \"" + name + "\"\nportion = \"2 pockets\"\n" + lines + "\n"
}

const twice = `at = ["07:00", "19:00"]`

// shown is the warnings as "code: message | hint", which tests compare.
func shown(ds plan.Diagnostics) (list []string) {
	for _, d := range ds {
		text := string(d.Code) + ": " + d.Message
		if d.Hint != "" {
			text += " | " + d.Hint
		}
		list = append(list, text)
	}
	return list
}

// The dates are those of the calendar: 2026-12-01 is a Tuesday. Clock changes are those of the IANA data.
func TestWarnings(t *testing.T) {
	lisbon := "zone = \"Europe/Lisbon\"\n"
	for _, c := range []struct {
		what, src string
		want      []string
		line      int // of the first warning; 0: concerns the whole plan
	}{
		{"a good plan", lisbon + meal("pellets", twice), nil, 0},
		{"one meal a day at the same time is no fast, even on the day of 25 hours", lisbon + meal("pellets", `at = ["07:00"]`), nil, 0},
		{"gap and overlap", lisbon + meal("night bite", `at = ["01:30", "13:00"]`), []string{
			`overlap: "night bite" falls in the repeated hour on 2027-10-31 and is served the first time it is 01:30 | also on 2028-10-29, 2029-10-28, 2030-10-27, 2031-10-26; a time before 01:00 or from 02:00 on keeps clear of it`,
			`gap: "night bite" falls in the skipped hour on 2027-03-28 and is served at 02:30 instead of 01:30 | also on 2028-03-26, 2029-03-25, 2030-03-31, 2031-03-30; a time before 01:00 or from 02:00 on keeps clear of it`}, 6},
		{"gap left out", "gap = \"omit\"\n" + lisbon + meal("night bite", "at = [\"01:30\", \"13:00\"]"), []string{
			`unusual-day: on Sun 2027-03-28 the feeder gives 2 pockets instead of the usual 4 pockets | also on Sun 2028-03-26 and on 3 more days by 2031`,
			`overlap: "night bite" falls in the repeated hour on 2027-10-31 and is served the first time it is 01:30 | also on 2028-10-29, 2029-10-28, 2030-10-27, 2031-10-26; a time before 01:00 or from 02:00 on keeps clear of it`,
			`gap: "night bite" falls in the skipped hour on 2027-03-28 and is left out (gap = "omit") | also on 2028-03-26, 2029-03-25, 2030-03-31, 2031-03-30; a time before 01:00 or from 02:00 on keeps clear of it`}, 0},
		{"times in UTC have no gaps", lisbon + meal("tide", "dtstart = 2026-12-01T01:30:00Z"), nil, 0},
		{"half an hour", "zone = \"Australia/Lord_Howe\"\n" + meal("night bite", "dtstart = 2026-12-01T02:15:00\nrrule = \"FREQ=DAILY;UNTIL=20271231\""), []string{
			`gap: "night bite" falls in the skipped hour on 2027-10-03 and is served at 02:45 instead of 02:15 | a time before 02:00 or from 02:30 on keeps clear of it`}, 6},
		{"every other day", lisbon + meal("pellets", "dtstart = 2026-12-01T07:00:00\nrrule = \"FREQ=DAILY;INTERVAL=2\""), []string{
			`hunger: nothing is served for 48 h, from Tue 2026-12-01 07:00 to Thu 2026-12-03 07:00 | 913 times more by 2031, at most 2 days 1 h; a day without food can harm a pet, a cat above all: add a meal, unless somebody feeds by hand`}, 0},
		{"one day off", lisbon + meal("pellets", twice+"\nexdate = [2026-12-24]"), []string{
			`hunger: nothing is served for 36 h, from Wed 2026-12-23 19:00 to Fri 2026-12-25 07:00 | a day without food can harm a pet, a cat above all: add a meal, unless somebody feeds by hand`}, 0},
		{"close together", lisbon + meal("pellets", twice) + meal("pill", `at = ["07:10"]`), []string{
			`crowded: "pellets" is served on Wed 2026-11-25 07:00 and "pill" 10 min later | 1829 times more by 2031; if both are meant, make them one meal`}, 11},
		{"eleven minutes are enough", lisbon + meal("pellets", twice) + meal("pill", `at = ["07:11"]`), nil, 0},
		{"double on a holiday", lisbon + meal("pellets", twice) + meal("feast", "rdate = [2026-12-25T07:00:00]"), []string{
			`unusual-day: on Fri 2026-12-25 the feeder gives 6 pockets instead of the usual 4 pockets`}, 0},
		{"a weekly treat is usual", lisbon + meal("pellets", twice) + meal("treat", "dtstart = 2026-12-06T12:00:00\nrrule = \"FREQ=WEEKLY\""), nil, 0},
		{"a rare treat has no usual amount", lisbon + meal("pellets", twice+"\npresets = [\"home\"]") + meal("treat", "dtstart = 2026-12-25T12:00:00\nrrule = \"FREQ=YEARLY\"\npresets = [\"away\"]"), []string{
			`hunger: with preset "away" nothing is served for 365 days, from Fri 2026-12-25 12:00 to Sat 2027-12-25 12:00 | 3 times more by 2031, at most 366 days; a day without food can harm a pet, a cat above all: add a meal, unless somebody feeds by hand`}, 0},
		{"start off its rule", lisbon + meal("pellets", twice) + meal("treat", "dtstart = 2026-12-01T12:00:00\nrrule = \"FREQ=WEEKLY;BYDAY=SU\""), []string{
			`start: "treat" does not begin on this date: the rule leaves it out | the first serving is on Sun 2026-12-06 12:00`}, 11},
		{"never", lisbon + meal("pellets", twice) + meal("treat", "dtstart = 2026-12-01T12:00:00\nrrule = \"FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30\""), []string{
			`never: "treat" is never served: its rule gives no date up to 2099`}, 11},
		{"ended", lisbon + meal("pellets", twice) + meal("treat", "dtstart = 2025-12-01T12:00:00\nrrule = \"FREQ=DAILY;COUNT=3\""), []string{
			`ended: "treat" has ended: it was last served on Wed 2025-12-03 12:00`}, 11},
		{"all ended", lisbon + meal("treat", "dtstart = 2025-12-01T12:00:00\nrrule = \"FREQ=DAILY;COUNT=3\""), []string{
			`ended: the plan has ended: its last serving was on Wed 2025-12-03 12:00`,
			`ended: "treat" has ended: it was last served on Wed 2025-12-03 12:00`}, 0},
		{"exdate off its time", lisbon + meal("pellets", twice+"\nexdate = [2026-12-24T08:00:00]"), []string{
			`ignored: 2026-12-24T08:00 leaves nothing out: "pellets" is not served then | "pellets" is served on that day at another time; a date alone (2026-12-24) leaves out the whole day`}, 7},
		{"rdate twice, and excluded", lisbon + meal("pellets", twice+"\nrdate = [2026-12-24T07:00:00, 2026-12-24T12:00:00]\nexdate = [2026-12-24T12:00:00]\nrrule = \"FREQ=DAILY\""), []string{
			`ignored: 2026-12-24T07:00 adds nothing: the rule already has it | the same meal at the same time is served once`,
			`ignored: 2026-12-24T12:00 is excluded again by exdate: "pellets" is not served then | remove one of the two`}, 7},
		{"presets", lisbon + meal("pellets", twice+"\npresets = [\"home\"]") + meal("rare", "dtstart = 2026-12-01T07:00:00\nrrule = \"FREQ=WEEKLY\"\npresets = [\"away\"]"), []string{
			`hunger: with preset "away" nothing is served for 7 days, from Tue 2026-12-01 07:00 to Tue 2026-12-08 07:00 | 259 times more by 2031, at most 7 days 1 h; a day without food can harm a pet, a cat above all: add a meal, unless somebody feeds by hand`}, 0},
	} {
		t.Run(c.what, func(t *testing.T) {
			ds := Warnings(compiled(t, c.src))
			assert.Equal(t, c.want, shown(ds))
			if len(ds) > 0 {
				assert.Equal(t, c.line, ds[0].Pos.Line)
			}
		})
	}
}

// Go's package time, which reads the same data by other code, says which times of a day exist and which come twice:
// every quarter of an hour of a daily meal in three zones, for two years.
func TestNightsAgreeWithGoTime(t *testing.T) {
	for _, name := range []string{"Europe/Lisbon", "America/New_York", "Australia/Lord_Howe"} {
		loc, err := time.LoadLocation(name)
		require.NoError(t, err)
		in := compiled(t, "zone = \""+name+"\"\n"+meal("often", "dtstart = 2026-11-25T00:00:00\nrrule = \"FREQ=MINUTELY;INTERVAL=15;UNTIL=20290101\""))
		r := newReview(in)
		end := start + 2*366*table.MinutesPerDay
		got := map[table.Minute]zone.Kind{}
		for _, n := range r.findNights(start, end) {
			got[n.nominal] = n.kind
		}
		shows := map[table.Minute]int{} // by reading of the clock on the wall: how often
		for at := start; at < end; at += 15 {
			_, east := at.Time().In(loc).Zone()
			shows[at+table.Minute(east/60)]++
		}
		want := map[table.Minute]zone.Kind{}
		for nominal := start + table.MinutesPerDay; nominal < end-table.MinutesPerDay; nominal += 15 {
			switch shows[nominal] {
			case 0:
				want[nominal] = zone.Gap
			case 2:
				want[nominal] = zone.Overlap
			}
		}
		assert.Equal(t, want, got, name)
		assert.NotEmpty(t, want)
	}
}

// Amounts of a plan that one can count: 20 g and 11 g every day, 9.3 g more on Sundays, in pockets of 6.2 g.
// A pocket holds 6.2 g and a portion is 1 g, so that the wheel turns at every sixth serving or so, and only then does food
// fall: the remainder's running total, by hand, passes half a pocket at the servings 4, 10, 16 (3.1, 9.3, 15.5 g).
func TestServingsWithoutAPocketAreNoFood(t *testing.T) {
	in := compiled(t, "zone = \"Europe/Lisbon\"\n[wheel]\npocket = \"6.2 g\"\n[[meal]]\nname = \"crumbs\"\nportion = \"1 g\"\ndtstart = 2026-12-01T07:00:00\n"+twice)
	got := shown(Warnings(in))
	require.NotEmpty(t, got)
	assert.Contains(t, got[0], "hunger: nothing is served for 3 days, from Wed 2026-12-02 19:00 to Sat 2026-12-05 19:00 | ")
	assert.Contains(t, got[0], "portions smaller than a pocket are saved up until they fill one")

	s := Summarize(in, replay.AllPresets)
	longest := s.Hungry.To - s.Hungry.From
	assert.Greater(t, longest, table.Minute(3*table.MinutesPerDay), "seven servings from one turn to the next, three days and a half")
	assert.Less(t, longest, table.Minute(4*table.MinutesPerDay))
	assert.EqualValues(t, 2, s.Day.Servings.Least, "the plan's servings are counted all the same")

	// One look a year later, from the same table, is at the same servings: what is carried over does not begin anew.
	later := in
	later.Now = s.Hungry.From
	assert.Equal(t, s.Hungry, Summarize(later, replay.AllPresets).Hungry)
	assert.Contains(t, shown(Warnings(later))[0], "from "+newReview(in).local(s.Hungry.From)+" to "+newReview(in).local(s.Hungry.To))
}

// What was served last counts: a hole that has begun is one.
func TestHungerSinceTheLastServing(t *testing.T) {
	in := compiled(t, "zone = \"Europe/Lisbon\"\n[[meal]]\nname = \"supper\"\nportion = \"3 pockets\"\ndtstart = 2026-12-01T18:30:00\nexdate = [2026-12-04, 2026-12-05]\n")
	in.Now = table.MinuteOf(time.Date(2026, 12, 3, 20, 0, 0, 0, time.UTC).Unix())
	assert.Contains(t, strings.Join(shown(Warnings(in)), "\n"), "nothing is served for 3 days, from Thu 2026-12-03 18:30 to Sun 2026-12-06 18:30")
}

// Before the first turn and after the last one nobody has eaten either: in pockets of 100 g the first gram falls at the fiftieth serving.
func TestHungerBeforeTheFirstTurn(t *testing.T) {
	in := compiled(t, "zone = \"Europe/Lisbon\"\n[wheel]\npocket = \"100 g\"\n[[meal]]\nname = \"crumb\"\nportion = \"1 g\"\ndtstart = 2026-12-01T07:00:00\nrrule = \"FREQ=DAILY;COUNT=120\"\n")
	s := Summarize(in, replay.AllPresets)
	assert.Equal(t, "2027-01-19T07:00Z", s.Hungry.From.String(), "the one turn, at the fiftieth serving")
	assert.Equal(t, "2027-03-30T06:00Z", s.Hungry.To.String(), "the last serving")
}

func TestNothingFalls(t *testing.T) {
	in := compiled(t, "zone = \"Europe/Lisbon\"\n[wheel]\npocket = \"6.2 g\"\n[[meal]]\nname = \"crumb\"\nportion = \"1 g\"\nrdate = [2026-12-01T07:00:00]\n")
	got := shown(Warnings(in))
	require.NotEmpty(t, got)
	assert.Contains(t, got[0], "hunger: nothing is served from ")
	assert.True(t, strings.HasSuffix(got[0], " | portions smaller than a pocket are saved up until they fill one"), got[0])
}

func TestSummarize(t *testing.T) {
	in := compiled(t, `zone = "Europe/Lisbon"
wheel = { pocket = "6.2 g" }
hopper = { holds = "310 g" }
`+strings.ReplaceAll(meal("morning", "dtstart = 2026-12-01T07:00:00"), "2 pockets", "20 g")+
		strings.ReplaceAll(meal("evening", "dtstart = 2026-12-01T19:00:00"), "2 pockets", "11 g")+
		strings.ReplaceAll(meal("sunday", "dtstart = 2026-12-06T12:00:00\nrrule = \"FREQ=WEEKLY\""), "2 pockets", "9.3 g"))
	s := Summarize(in, replay.AllPresets)
	assert.Equal(t, "2026-12-01", dateText(s.First, "2006-01-02"))
	assert.Equal(t, 364, s.Days)
	assert.Equal(t, Spread{Least: 31000, Most: 40300, Sum: 364*31000 + 52*9300, Count: 364}, s.Day.Milligrams)
	assert.Equal(t, Spread{Least: 7*31000 + 9300, Most: 7*31000 + 9300, Sum: 52 * (7*31000 + 9300), Count: 52}, s.Week.Milligrams)
	assert.Equal(t, Spread{Least: 2, Most: 3, Sum: 2*364 + 52, Count: 364}, s.Day.Servings)
	// What is turned differs from the plan by half a pocket at most: 36.5 pockets a week.
	assert.InDelta(t, float64(52*(7*31000+9300))/6200, float64(s.Day.Pockets.Sum), 0.5)
	// Every night has 12 h, that of the change to winter time 13; 310 g are ten days of 31 g less the 9.3 g of Sunday the 6th, so the tenth evening is short.
	assert.Equal(t, table.Minute(13*60), s.Hungry.To-s.Hungry.From)
	assert.True(t, s.Hopper.Known)
	assert.False(t, s.Hopper.Lasts)
	assert.Equal(t, "2026-12-10T07:00Z", s.Hopper.Last.String())
	assert.Equal(t, 15, s.Hopper.Days) // from 25 November
}

func TestSummaryOfAPlanThatEnds(t *testing.T) {
	in := compiled(t, "zone = \"Europe/Lisbon\"\nhopper = { holds = \"2 kg\" }\nwheel = { pocket = \"10 g\" }\n"+meal("course", "dtstart = 2026-12-01T07:00:00\nrrule = \"FREQ=DAILY;COUNT=10\""))
	s := Summarize(in, replay.AllPresets)
	assert.Equal(t, 10, s.Days)
	assert.Equal(t, Spread{Least: 14, Most: 14, Sum: 14, Count: 1}, s.Week.Pockets)
	assert.True(t, s.Hopper.Lasts)
	in.Now = start + 60*table.MinutesPerDay
	s = Summarize(in, replay.AllPresets)
	assert.Zero(t, s.Days)
	assert.Nil(t, Surprises(in))
}

func TestSurprises(t *testing.T) {
	in := compiled(t, "zone = \"Europe/Lisbon\"\n"+
		meal("pellets", twice+"\nexdate = [2026-12-24T19:00:00]")+
		meal("month end", "dtstart = 2027-01-30T12:00:00\nrrule = \"FREQ=MONTHLY;UNTIL=20270430\"")+
		meal("night bite", "dtstart = 2027-03-28T01:30:00\nrrule = \"FREQ=DAILY;COUNT=1\""))
	var got []string
	for _, s := range Surprises(in) {
		if s.Day < 10200 { // until 5 December 2027
			got = append(got, s.Date()+" "+s.Text)
		}
	}
	assert.Equal(t, []string{
		"Thu 2026-12-24 1 serving instead of 2",
		"Sat 2027-01-30 first serving of month end",
		"Sat 2027-01-30 3 servings instead of 2",
		"Sun 2027-02-28 month end is skipped: February 2027 has no such day",
		"Sun 2027-03-28 the clocks go from 01:00 to 02:00: night bite is served at 02:30 instead of 01:30",
		"Sun 2027-03-28 first serving of night bite",
		"Sun 2027-03-28 last serving of night bite",
		"Sun 2027-03-28 3 servings instead of 2",
		"Tue 2027-03-30 3 servings instead of 2",
		"Fri 2027-04-30 last serving of month end",
		"Fri 2027-04-30 3 servings instead of 2",
		"Sun 2027-10-31 the clocks go from 02:00 to 01:00, and no meal falls in between; nor does one at 4 more changes",
	}, got)
}

// What happens on one day in five is a rhythm.
func TestRhythmIsNoSurprise(t *testing.T) {
	in := compiled(t, "zone = \"Asia/Tokyo\"\n"+meal("round the clock", "dtstart = 2026-11-01T06:00:00\nrrule = \"FREQ=HOURLY;INTERVAL=5\""))
	assert.Empty(t, Surprises(in))
}

// A meal every minute must not make a review slow: the walk is bounded.
func TestBounded(t *testing.T) {
	in := compiled(t, "zone = \"Europe/Lisbon\"\n"+meal("often", "dtstart = 2026-12-01T00:00:00\nrrule = \"FREQ=MINUTELY;UNTIL=20270601\""))
	ds := Warnings(in)
	assert.Contains(t, strings.Join(shown(ds), "\n"), "crowded: ")
	assert.NotEmpty(t, Surprises(in))
}

// Beyond two days people count days.
func TestDuration(t *testing.T) {
	for minutes, want := range map[table.Minute]string{
		5: "5 min", 60: "1 h", 690: "11 h 30 min", 25 * 60: "25 h", 48 * 60: "48 h", 49 * 60: "2 days 1 h", 72 * 60: "3 days", 73*60 + 5: "3 days 1 h 5 min",
	} {
		assert.Equal(t, want, Duration(minutes))
	}
}
