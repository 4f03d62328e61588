package zone

import (
	"fmt"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func hms(h, m, s int) int { return h*3600 + m*60 + s }

// Every form of the grammar of POSIX.1-2017 §8.3 and RFC 9636 §3.3.1. The strings marked IANA stand in files
// of release 2026f, those marked RFC in RFC 9636 §3.3.1 (from memory), the others are made for one form each.
func TestParseFooterForms(t *testing.T) {
	m := func(month, week, day, seconds int) FooterRule {
		return FooterRule{Kind: 'M', Month: month, Week: week, Day: day, Seconds: seconds}
	}
	std := func(seconds int, name string) Offset { return Offset{Seconds: seconds, Abbrev: name} }
	dst := func(seconds int, name string, start, end FooterRule) *FooterDST {
		return &FooterDST{Offset{Seconds: seconds, Abbrev: name, DST: true}, start, end}
	}
	for _, c := range []struct {
		form, text string
		std        Offset
		dst        *FooterDST
	}{
		{"offset west is positive; IANA", "HST10", std(hms(-10, 0, 0), "HST"), nil},
		{"offset with sign", "EST+5", std(hms(-5, 0, 0), "EST"), nil},
		{"offset with minutes; IANA", "IST-5:30", std(hms(5, 30, 0), "IST"), nil},
		{"offset with seconds", "LMT-0:19:32", std(hms(0, 19, 32), "LMT"), nil},
		{"offset of 24 h", "XXX24", std(hms(-24, 0, 0), "XXX"), nil},
		{"quoted name; IANA", "<+0545>-5:45", std(hms(5, 45, 0), "+0545"), nil},
		{"quoted letters", "<abc>0", std(0, "abc"), nil},
		{"defaults: +1 h, 02:00; IANA", "EST5EDT,M3.2.0,M11.1.0", std(hms(-5, 0, 0), "EST"),
			dst(hms(-4, 0, 0), "EDT", m(3, 2, 0, hms(2, 0, 0)), m(11, 1, 0, hms(2, 0, 0)))},
		{"rule left out: the one of the United States", "EST5EDT", std(hms(-5, 0, 0), "EST"),
			dst(hms(-4, 0, 0), "EDT", m(3, 2, 0, hms(2, 0, 0)), m(11, 1, 0, hms(2, 0, 0)))},
		{"rule time with minutes; IANA", "<+1245>-12:45<+1345>,M9.5.0/2:45,M4.1.0/3:45", std(hms(12, 45, 0), "+1245"),
			dst(hms(13, 45, 0), "+1345", m(9, 5, 0, hms(2, 45, 0)), m(4, 1, 0, hms(3, 45, 0)))},
		{"daylight offset given; IANA", "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0", std(hms(10, 30, 0), "+1030"),
			dst(hms(11, 0, 0), "+11", m(10, 1, 0, hms(2, 0, 0)), m(4, 1, 0, hms(2, 0, 0)))},
		{"negative daylight saving; IANA", "IST-1GMT0,M10.5.0,M3.5.0/1", std(hms(1, 0, 0), "IST"),
			dst(0, "GMT", m(10, 5, 0, hms(2, 0, 0)), m(3, 5, 0, hms(1, 0, 0)))},
		{"time below zero; RFC, IANA", "<-02>2<-01>,M3.5.0/-1,M10.5.0/0", std(hms(-2, 0, 0), "-02"),
			dst(hms(-1, 0, 0), "-01", m(3, 5, 0, hms(-1, 0, 0)), m(10, 5, 0, 0))},
		{"time above 24 h; IANA", "IST-2IDT,M3.4.4/26,M10.5.0", std(hms(2, 0, 0), "IST"),
			dst(hms(3, 0, 0), "IDT", m(3, 4, 4, hms(26, 0, 0)), m(10, 5, 0, hms(2, 0, 0)))},
		{"the limits of time", "EET-2EEST,M3.4.4/-167,M10.4.4/+167:59:59", std(hms(2, 0, 0), "EET"),
			dst(hms(3, 0, 0), "EEST", m(3, 4, 4, hms(-167, 0, 0)), m(10, 4, 4, hms(167, 59, 59)))},
		{"J days; RFC", "XXX3EDT4,0/0,J365/23", std(hms(-3, 0, 0), "XXX"),
			dst(hms(-4, 0, 0), "EDT", FooterRule{Kind: 'n', Day: 0}, FooterRule{Kind: 'J', Day: 365, Seconds: hms(23, 0, 0)})},
		{"J and n days, limits", "AAA3BBB,J1,365/1:02:03", std(hms(-3, 0, 0), "AAA"),
			dst(hms(-2, 0, 0), "BBB", FooterRule{Kind: 'J', Day: 1, Seconds: hms(2, 0, 0)}, FooterRule{Kind: 'n', Day: 365, Seconds: hms(1, 2, 3)})},
	} {
		got, err := ParseFooter(c.text)
		if assert.NoError(t, err, c.form) {
			assert.Equal(t, Footer{Text: c.text, Std: c.std, DST: c.dst}, got, c.form)
		}
	}
}

func TestParseFooterErrors(t *testing.T) {
	for _, c := range []struct {
		text   string
		column int
		want   string
	}{
		{"", 1, "a name of at least 3 letters expected"},
		{"ES5", 3, "a name of at least 3 letters expected"},
		{"EST", 4, "a number from 0 to 24 expected"},
		{"EST25", 4, "a number from 0 to 24 expected"},
		{"EST99999999999999999999999", 4, "a number from 0 to 24 expected"},
		{"EST5:60", 6, "a number from 0 to 59 expected"},
		{"<+01-1", 7, "'>' expected"},
		{"<+0é>1", 4, "a name of at least 3 letters expected"},
		{"EST5E", 6, "a name of at least 3 letters expected"},
		{"EST5EDT,", 9, "a number from 0 to 365 expected"},
		{"EST5EDT,M3.2.0", 15, "',' expected"},
		{"EST5EDT,M13.2.0,M11.1.0", 10, "a number from 1 to 12 expected"},
		{"EST5EDT,M3.6.0,M11.1.0", 12, "a number from 1 to 5 expected"},
		{"EST5EDT,M3.2.7,M11.1.0", 14, "a number from 0 to 6 expected"},
		{"EST5EDT,M3-2-0,M11.1.0", 11, "'.' expected"},
		{"EST5EDT,J0,J365", 10, "a number from 1 to 365 expected"},
		{"EST5EDT,366,J365", 9, "a number from 0 to 365 expected"},
		{"EST5EDT,M3.2.0/168,M11.1.0", 16, "a number from 0 to 167 expected"},
		{"EST5EDT,M3.2.0,M11.1.0 ", 23, "nothing may follow here"},
		{"EST5\x00", 5, "a name of at least 3 letters expected"},
	} {
		_, err := ParseFooter(c.text)
		want := fmt.Sprintf("TZ string %q, column %d: %s", c.text, c.column, c.want)
		assert.EqualError(t, err, want)
	}
}

// RFC 9636 §3.3.1 explains this string (from memory): daylight saving, 4 h west, all the year.
func TestDaylightSavingAllTheYear(t *testing.T) {
	for _, text := range []string{"XXX3EDT4,0/0,J365/23", "EST5EDT,0/0,J365/25"} {
		f, err := ParseFooter(text)
		require.NoError(t, err)
		for unix := startOfYear(2026); unix < startOfYear(2030); unix += 3600 {
			require.Equal(t, Offset{Seconds: -4 * 3600, Abbrev: "EDT", DST: true}, f.At(unix), "%s at %s", text, utc(unix))
		}
		require.Equal(t, int64(never), f.NextAfter(startOfYear(2027)))
	}
}

// footerText draws a TZ string with any kind of rule. Rules lie at least a fortnight from the turn of the year and
// four weeks from each other, where the C library and the standard leave no room for opinions.
func footerText(t *rapid.T) string {
	rule := func(label string, firstMonth, lastMonth int) string {
		day := ""
		switch rapid.SampledFrom([]string{"M", "J", "n"}).Draw(t, label+" kind") {
		case "M":
			day = fmt.Sprintf("M%d.%d.%d", rapid.IntRange(firstMonth, lastMonth).Draw(t, label+" month"),
				rapid.IntRange(1, 5).Draw(t, label+" week"), rapid.IntRange(0, 6).Draw(t, label+" day"))
		case "J":
			day = fmt.Sprintf("J%d", rapid.IntRange(monthStart[firstMonth-1]+1, monthStart[lastMonth]).Draw(t, label+" J"))
		default:
			day = fmt.Sprintf("%d", rapid.IntRange(monthStart[firstMonth-1], monthStart[lastMonth]-1).Draw(t, label+" n"))
		}
		if rapid.Bool().Draw(t, label+" has time") {
			day += fmt.Sprintf("/%d:%02d:%02d", rapid.IntRange(-167, 167).Draw(t, label+" h"),
				rapid.IntRange(0, 59).Draw(t, label+" m"), rapid.IntRange(0, 59).Draw(t, label+" s"))
		}
		return day
	}
	std := rapid.IntRange(-12*60, 12*60).Draw(t, "std minutes west")
	shift := rapid.SampledFrom([]int{60, 30, 120, -60, 20}).Draw(t, "shift")
	spring, autumn := rule("spring", 2, 5), rule("autumn", 8, 11)
	if rapid.Bool().Draw(t, "south") {
		spring, autumn = autumn, spring
	}
	return fmt.Sprintf("<S+0>%s<D+1>%s,%s,%s", west(std), west(std-shift), spring, autumn)
}

func west(minutes int) string {
	sign := ""
	if minutes < 0 {
		sign, minutes = "-", -minutes
	}
	return fmt.Sprintf("%s%d:%02d", sign, minutes/60, minutes%60)
}

// cLibraryOffsets asks the C library, through Python's time.tzset, for the offset at each instant.
const cLibraryOffsets = `
import os, sys, time
for line in sys.stdin:
    tz, *instants = line.split()
    os.environ["TZ"] = tz
    time.tzset()
    print(*[time.localtime(int(t)).tm_gmtoff for t in instants])
`

// The reference is the C library's reader of TZ strings, at and around every change of a dozen years and
// in the middle between them.
func TestFooterIsTheCLibrarys(t *testing.T) {
	texts := []string{"<ABC>3", "EST5EDT,M3.2.0,M11.1.0"}
	for seed := range 300 {
		texts = append(texts, rapid.Custom(footerText).Example(seed))
	}
	var input strings.Builder
	instants := make([][]int64, len(texts))
	for i, text := range texts {
		f, err := ParseFooter(text)
		require.NoError(t, err)
		fmt.Fprint(&input, text)
		instants[i] = probes(&f)
		for _, unix := range instants[i] {
			fmt.Fprint(&input, " ", unix)
		}
		fmt.Fprintln(&input)
	}
	python := exec.Command("/usr/bin/python3", "-c", cLibraryOffsets)
	python.Stdin = strings.NewReader(input.String())
	output, err := python.Output()
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(output)), "\n")
	require.Len(t, lines, len(texts))
	for i, line := range lines {
		f, _ := ParseFooter(texts[i])
		for j, want := range strings.Fields(line) {
			got := fmt.Sprint(f.At(instants[i][j]).Seconds)
			require.Equal(t, want, got, "%s at %s", texts[i], utc(instants[i][j]))
		}
	}
}

// probes are the instants worth asking about: 2026 to 2037, three around each change, and mid-months.
func probes(f *Footer) []int64 {
	var out []int64
	end := startOfYear(2038)
	for unix := startOfYear(2026); unix < end; unix += 30*86400 + 4321 {
		out = append(out, unix)
	}
	for unix := f.NextAfter(startOfYear(2026)); unix < end; unix = f.NextAfter(unix) {
		out = append(out, unix-1, unix, unix+1)
	}
	return out
}

// Arbitrary text is read or refused; what is read has answers.
func FuzzParseFooter(f *testing.F) {
	for _, text := range []string{"UTC0", "EST5EDT", "CET-1CEST,M3.5.0,M10.5.0/3", "XXX3EDT4,0/0,J365/23",
		"<-02>2<-01>,M3.5.0/-1,M10.5.0/0", "EET-2EEST,M3.4.4/50,M10.4.4/50"} {
		f.Add(text, int64(1798758000))
	}
	f.Fuzz(func(t *testing.T, text string, unix int64) {
		footer, err := ParseFooter(text)
		if err != nil {
			if err.Error() == "" || footer != (Footer{}) {
				t.Fatalf("%q: refused without a reason, or with a result", text)
			}
			return
		}
		o := footer.At(unix)
		if footer.DST == nil && o != footer.Std {
			t.Fatalf("%q: offset %v in a zone without daylight saving", text, o)
		}
		if o != footer.Std && o != footer.DST.Offset {
			t.Fatalf("%q: offset %v is neither of the two", text, o)
		}
		if next := footer.NextAfter(unix); next <= unix && unix < latest {
			t.Fatalf("%q: change %d does not come after %d", text, next, unix)
		}
	})
}
