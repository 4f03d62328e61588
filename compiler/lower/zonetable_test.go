package lower

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

func date(text string) int64 {
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err)
	}
	return t.Unix()
}

// releases are the two releases of the IANA data at hand: 2026f whole, and of 2025c the zones that 2026 changed.
func releases(t testing.TB) map[string]*zone.Database {
	t.Helper()
	old, err := zone.Dir("../../testdata/zone/2025c")
	require.NoError(t, err)
	return map[string]*zone.Database{"2026f": zone.Embedded(), "2025c": old}
}

// eachCanonical calls check for the 447 canonical zones of 2026f and for those of 2025c in testdata.
func eachCanonical(t *testing.T, check func(t *testing.T, z *zone.Zone)) {
	b, err := os.ReadFile("../../testdata/zone/canonical.txt")
	require.NoError(t, err)
	for release, db := range releases(t) {
		names := strings.Fields(string(b))
		require.Len(t, names, 447)
		if release == "2025c" {
			names = db.Names()
			require.Len(t, names, 9)
		}
		t.Run(release, func(t *testing.T) {
			for _, name := range names {
				z, err := db.Load(name)
				require.NoError(t, err)
				check(t, z)
			}
		})
	}
}

// literal reads a table's zone literally, with Go's calendar.
type literal struct {
	t     *table.Zone
	years map[int][2]int64 // start and end of daylight saving
}

func readLiterally(t *table.Zone) *literal { return &literal{t, map[int][2]int64{}} }

// offset is that of an override that contains the instant, else by the rule of the year that standard time
// shows. In seconds.
func (l *literal) offset(unix int64) int {
	for _, g := range l.t.Overrides {
		for _, s := range g.Spans {
			if s.Start.Time().Unix() <= unix && unix < s.End.Time().Unix() {
				return int(g.Offset) * 900
			}
		}
	}
	std := int(l.t.Standard) * 900
	if l.t.DST == nil {
		return std
	}
	start, end := l.daylight(time.Unix(unix+int64(std), 0).UTC().Year())
	if start < end && start <= unix && unix < end || start > end && (unix >= start || unix < end) {
		return std + int(l.t.DST.Shift)*900
	}
	return std
}

func (l *literal) daylight(year int) (start, end int64) {
	bounds, known := l.years[year]
	if !known {
		std := int64(l.t.Standard) * 900
		dst := std + int64(l.t.DST.Shift)*900
		bounds = [2]int64{wallRule(year, l.t.DST.Start).Unix() - std, wallRule(year, l.t.DST.End).Unix() - dst}
		l.years[year] = bounds
	}
	return bounds[0], bounds[1]
}

// wallRule finds the day by looking at the month's days one after the other.
func wallRule(year int, r table.Transition) time.Time {
	var found time.Time
	count := 0
	for d := time.Date(year, time.Month(r.Month), 1, 0, 0, 0, 0, time.UTC); int(d.Month()) == r.Month; d = d.AddDate(0, 0, 1) {
		if int(d.Weekday()+6)%7 == r.Weekday && count < r.Week {
			found = d
			count++
		}
	}
	return found.Add(time.Duration(r.Minutes) * time.Minute)
}

// checkOffsets compares at and around every change of the data and of the table, and every 9 days and a bit.
func checkOffsets(t *testing.T, z *zone.Zone, zt *table.Zone, from, to int64) {
	t.Helper()
	var instants []int64
	around := func(at int64) { instants = append(instants, at-1800, at-1, at, at+1, at+1800) }
	for _, tr := range z.Transitions(from, to) {
		around(tr.At)
	}
	reader := readLiterally(zt)
	for year := 2000; year < 2100 && zt.DST != nil; year++ {
		start, end := reader.daylight(year)
		around(start)
		around(end)
	}
	for _, g := range zt.Overrides {
		for _, s := range g.Spans {
			around(s.Start.Time().Unix())
			around(s.End.Time().Unix())
		}
	}
	for at := from; at < to; at += 9*86400 + 3600 {
		instants = append(instants, at)
	}
	for _, at := range append(instants, from, to-1) {
		if at < from || at >= to {
			continue
		}
		if got, want := reader.offset(at), z.At(at).Seconds; got != want {
			t.Fatalf("%s at %s: table %d s, data %d s", z.Name(), time.Unix(at, 0).UTC(), got, want)
		}
	}
}

var (
	from2000 = date("2000-01-01")
	from2026 = date("2026-01-01")
	to2100   = date("2100-01-03")
)

// The reference is the data themselves, read by package zone, which is checked against Go's reader.
func TestZoneTableIsTheDataFrom2026(t *testing.T) {
	eachCanonical(t, func(t *testing.T, z *zone.Zone) {
		zt, err := ZoneTable(z, from2026, to2100)
		require.NoError(t, err)
		checkOffsets(t, z, &zt, from2026, to2100)
		checkEncodes(t, z, zt)
	})
}

// offQuarter lists the zones that since 2000 had changes off the quarter hours and outside the rule of today:
// all at one minute past midnight, local time. The value is the first year from which a table holds them.
var offQuarter = map[string]int{
	"America/Goose_Bay": 2012, "America/Moncton": 2007, "America/St_Johns": 2012,
	"Antarctica/Casey": 2023, "Asia/Gaza": 2012, "Asia/Hebron": 2012,
}

func TestZoneTableIsTheDataFrom2000(t *testing.T) {
	eachCanonical(t, func(t *testing.T, z *zone.Zone) {
		from := from2000
		if year, ok := offQuarter[z.Name()]; ok {
			_, err := ZoneTable(z, date(fmt.Sprintf("%d-01-01", year-1)), to2100)
			require.ErrorContains(t, err, "time zone "+z.Name()+": a change at ")
			from = date(fmt.Sprintf("%d-01-01", year))
		}
		zt, err := ZoneTable(z, from, to2100)
		require.NoError(t, err)
		checkOffsets(t, z, &zt, from, to2100)
		checkEncodes(t, z, zt)
	})
}

// checkEncodes sends the zone through the table's bytes.
func checkEncodes(t *testing.T, z *zone.Zone, zt table.Zone) {
	t.Helper()
	b, err := table.Encode(dailyTable(zt))
	require.NoError(t, err, z.Name())
	decoded, err := table.Decode(b)
	require.NoError(t, err, z.Name())
	require.Equal(t, zt, decoded.Zone, z.Name())
}

// dailyTable serves every day at times in and near all gaps and overlaps of today's rules.
func dailyTable(zt table.Zone, times ...uint16) *table.Table {
	if len(times) == 0 {
		times = []uint16{720}
	}
	return &table.Table{
		Start:   table.Day((from2026 - table.Epoch) / 86400),
		Through: table.MaxDay,
		Zone:    zt,
		Button:  table.DefaultButton(table.Wheel{PocketUnits: 1}),
		Wheel:   table.Wheel{PocketUnits: 1},
		Meals:   []table.Meal{{Portion: 1, Parts: []table.Part{{Times: table.Times{List: times}}}}},
	}
}

// A whole path: the replay of a table serves at the instants to which package zone resolves the nominal times,
// on every day from 2026 to 2099. Zones with the same table are tried once.
func TestReplayInZonesIsResolve(t *testing.T) {
	times := []uint16{15, 90, 135, 150, 1410}
	tried := map[string]bool{}
	eachCanonical(t, func(t *testing.T, z *zone.Zone) {
		zt, err := ZoneTable(z, from2026-86400, to2100)
		require.NoError(t, err)
		tab := dailyTable(zt, times...)
		b, err := table.Encode(tab)
		require.NoError(t, err)
		if zt.DST == nil && len(zt.Overrides) == 0 || tried[string(b)] {
			return
		}
		tried[string(b)] = true
		var want []int64
		for day := tab.Start; day <= tab.Through; day++ {
			for _, m := range times {
				unix, _ := z.Resolve(unixDay(day) + int64(m)*60)
				want = append(want, unix)
			}
		}
		slices.Sort(want)
		want = slices.Compact(want) // instants of one meal that coincide count once
		cursor := replay.New(tab, replay.Options{Preset: replay.AllPresets})
		for i, unix := range want {
			s, ok := cursor.Next()
			if !ok || s.At.Time().Unix() != unix {
				t.Fatalf("%s: serving %d at %s, want %s", z.Name(), i, s.At.Time(), time.Unix(unix, 0).UTC())
			}
		}
		_, more := cursor.Next()
		require.False(t, more, z.Name())
	})
	assert.Greater(t, len(tried), 30) // 31 different footers with daylight saving, counted in the files of 2026f
}

// Zones whose data depart from their footers, with the spans that the data ask for.
func TestZoneTableOverrides(t *testing.T) {
	span := func(from, to string) table.Span {
		minute := func(text string) table.Minute {
			at, err := time.Parse("2006-01-02T15:04Z", text)
			require.NoError(t, err)
			return table.MinuteOf(at.Unix())
		}
		return table.Span{Start: minute(from), End: minute(to)}
	}
	for _, c := range []struct {
		release, zone, from string
		want                []table.OverrideGroup
	}{
		{"2026f", "Europe/Lisbon", "2026-12-01", nil},
		{"2026f", "Europe/Dublin", "2026-12-01", nil},
		{"2026f", "Asia/Kathmandu", "2026-01-01", nil},
		// Summer time goes on from November 2026 to November 2027; in between the rule has its own summer.
		{"2026f", "America/Havana", "2026-07-01", []table.OverrideGroup{{Offset: -16, Spans: []table.Span{span("2026-11-01T05:00Z", "2027-03-14T05:00Z")}}}},
		{"2026f", "America/Havana", "2027-04-01", nil},
		{"2025c", "America/Havana", "2026-07-01", nil},
		// The last summer time of British Columbia became its time for good in 2026, and so on.
		{"2026f", "America/Vancouver", "2026-01-01", []table.OverrideGroup{{Offset: -32, Spans: []table.Span{span("2026-01-01T00:00Z", "2026-03-08T10:00Z")}}}},
		{"2026f", "America/Edmonton", "2026-01-01", []table.OverrideGroup{{Offset: -28, Spans: []table.Span{span("2026-01-01T00:00Z", "2026-03-08T09:00Z")}}}},
		{"2026f", "America/Winnipeg", "2026-01-01", []table.OverrideGroup{{Offset: -24, Spans: []table.Span{span("2026-01-01T00:00Z", "2026-03-08T08:00Z")}}}},
		{"2026f", "America/Vancouver", "2026-04-01", nil},
		{"2026f", "Africa/Casablanca", "2026-10-01", nil},
	} {
		z, err := releases(t)[c.release].Load(c.zone)
		require.NoError(t, err)
		got, err := ZoneTable(z, date(c.from), to2100)
		require.NoError(t, err)
		assert.Equal(t, c.want, got.Overrides, "%s %s from %s", c.release, c.zone, c.from)
	}
}

// made is a zone without transitions and with the given footer.
func made(t *testing.T, footer string) *zone.Zone {
	t.Helper()
	header := func(typ, char byte) string {
		return "TZif3" + strings.Repeat("\x00", 15+16+3) + string(typ) + "\x00\x00\x00" + string(char)
	}
	file := header(0, 0) + header(1, 4) + "\x00\x00\x00\x00\x00\x00UTC\x00\n" + footer + "\n"
	z, err := zone.Parse("Test/Zone", "", []byte(file))
	require.NoError(t, err)
	return z
}

// Footers beyond a table's rules become spans, two changes a year: forms of POSIX.1-2017 §8.3 that no zone of
// today has.
func TestZoneTableOfStrangeFooters(t *testing.T) {
	for _, footer := range []string{
		"AAA-1BBB,J60,J300",               // days of the year without 29 February
		"AAA-1BBB,59/1,299/3",             // and with it
		"AAA5BBB,M3.2.0/140,M11.1.0/-140", // more hours than a rule of a table holds
		"AAA5BBB,M12.5.6/167,M6.1.0",      // into the next year
		"XXX3EDT4,0/0,J365/23",            // all the year
	} {
		z := made(t, footer)
		zt, err := ZoneTable(z, from2026, to2100)
		require.NoError(t, err, footer)
		assert.Nil(t, zt.DST, footer)
		checkOffsets(t, z, &zt, from2026, to2100)
		checkEncodes(t, z, zt)
	}
}

func TestZoneTableErrors(t *testing.T) {
	for _, c := range []struct {
		zone *zone.Zone
		want string
	}{
		{made(t, "LMT-0:19:32"), "time zone Test/Zone: its offset of 1172 s is not a number of quarter hours from −16:00 to +15:45"},
		{made(t, "FAR-16"), "time zone Test/Zone: its offset of 57600 s is not a number of quarter hours from −16:00 to +15:45"},
		{made(t, "AAA-1BBB,J60/2:01,J300"), "time zone Test/Zone: a change at 2099-03-01T01:01:00Z is neither by its yearly rule nor on a quarter hour, " +
			"as a table's exceptions must be; a table that starts on 2099-03-04 or later can hold it"},
	} {
		_, err := ZoneTable(c.zone, from2026, to2100)
		assert.ErrorContains(t, err, c.want)
	}
}

// Any range is answered, for the range.
func TestZoneTableRanges(t *testing.T) {
	z, err := zone.Embedded().Load("America/Havana")
	require.NoError(t, err)
	for _, c := range []struct{ from, to int64 }{
		{from2026 + 1, from2026 + 1}, {date("2026-11-01") + 4*3600 + 59*60, date("2026-11-01") + 5*3600 + 1},
		{date("2027-03-13"), date("2027-03-15")}, {math.MinInt64 / 4, date("2001-01-01")}, {date("2099-12-30"), to2100},
	} {
		zt, err := ZoneTable(z, c.from, c.to)
		require.NoError(t, err)
		from := max(c.from, from2000)
		checkOffsets(t, z, &zt, from, max(c.to, from+1))
		checkEncodes(t, z, zt)
	}
}

// What one compile pays for its zone: from the embedded data to the table's form.
func BenchmarkZoneTable(b *testing.B) {
	for _, name := range []string{"America/New_York", "Asia/Tokyo", "Asia/Gaza"} {
		z, err := zone.Embedded().Load(name)
		require.NoError(b, err)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := ZoneTable(z, from2026, to2100); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
