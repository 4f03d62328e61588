package reader_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/zone"
)

// goZone is a line pair of Go's own table for Windows: the IANA zone in the comment, the Windows name, the abbreviations
// of winter and summer.
var goZone = regexp.MustCompile(`"([^"]+)":\s+\{"([^"]*)", "([^"]*)"\},\s*// (\S+)`)

// zoneAfter is a calendar's zone when its only event is in this TZID.
func zoneAfter(t *testing.T, id string) string {
	t.Helper()
	p, ds := checked.Parse("x.ics", fmt.Appendf(nil,
		"BEGIN:VCALENDAR\nVERSION:2.0\nBEGIN:VEVENT\nDTSTART;TZID=%q:20261201T070000\nSUMMARY:breakfast 3 pockets\nEND:VEVENT\nEND:VCALENDAR\n", id))
	require.NotNil(t, p, "%s: %v", id, ds)
	assert.Empty(t, ds, id)
	return p.Zone
}

// Windows' names mean what Go's table says (time/zoneinfo_abbrs_windows.go, made by Go's authors from CLDR), as clock
// times through 2037: either the same IANA zone, or one that has the same offsets.
func TestWindowsNamesAsGoHasThem(t *testing.T) {
	root, err := exec.Command("go", "env", "GOROOT").Output()
	require.NoError(t, err)
	src, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(root)), "src", "time", "zoneinfo_abbrs_windows.go"))
	require.NoError(t, err)
	found := goZone.FindAllStringSubmatch(string(src), -1)
	require.Greater(t, len(found), 130)
	for _, m := range found {
		name, want := m[1], m[4]
		got := zoneAfter(t, name)
		if got == want {
			continue
		}
		ours, err := zone.Embedded().Load(got)
		require.NoError(t, err, name)
		theirs, err := zone.Embedded().Load(want)
		require.NoError(t, err, name)
		for at := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC); at.Year() < 2038; at = at.AddDate(0, 0, 1) {
			if !assert.Equal(t, theirs.At(at.Unix()).Seconds, ours.At(at.Unix()).Seconds, "%s: %s and %s on %s", name, got, want, at) {
				break
			}
		}
	}
}

func TestWindowsNameOfTheCalendar(t *testing.T) {
	p := mustParse(t, "x.ics", "BEGIN:VCALENDAR\nX-WR-TIMEZONE:Tokyo Standard Time\nBEGIN:VEVENT\nDTSTART:20261201T070000\nSUMMARY:a 1 pocket\nEND:VEVENT\nEND:VCALENDAR\n")
	assert.Equal(t, "Asia/Tokyo", p.Zone)
}

// Two events may name one zone in both ways; two zones are still two.
func TestWindowsAndIANANamesTogether(t *testing.T) {
	event := func(id string) string {
		return "BEGIN:VEVENT\nDTSTART;TZID=" + id + ":20261201T070000\nSUMMARY:" + id[:1] + " 1 pocket\nEND:VEVENT\n"
	}
	p := mustParse(t, "x.ics", "BEGIN:VCALENDAR\n"+event("W. Europe Standard Time")+event("Europe/Berlin")+"END:VCALENDAR\n")
	assert.Equal(t, "Europe/Berlin", p.Zone)
	p, ds := checked.Parse("x.ics", []byte("BEGIN:VCALENDAR\n"+event("W. Europe Standard Time")+event("Tokyo Standard Time")+"END:VCALENDAR\n"))
	assert.Nil(t, p)
	require.Len(t, ds, 1)
	assert.Equal(t, "this event is in Asia/Tokyo, but the plan is in Europe/Berlin", ds[0].Message)
}
