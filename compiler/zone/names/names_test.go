package names_test

import (
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
	"mealtab/compiler/zone/names"
)

// goZone is a line pair of Go's own table for Windows: the IANA zone in the comment, the Windows name, the abbreviations
// of winter and summer.
var goZone = regexp.MustCompile(`"([^"]+)":\s+\{"([^"]*)", "([^"]*)"\},\s*// (\S+)`)

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
		got := names.OfWindows(name)
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

// Every zone of the data is spelt as names are said to be; where there is an area, the rest is a city or a country's part.
func TestNamesOfTheData(t *testing.T) {
	cities := 0
	for _, name := range zone.Embedded().Names() {
		assert.True(t, names.Spelled(name), name)
		assert.LessOrEqual(t, len(name), names.MaxLength, name)
		if names.City(name) != "" {
			cities++
			assert.True(t, names.InArea(name), name)
		}
	}
	assert.Greater(t, cities, 400)
	assert.Equal(t, "Buenos Aires", names.City("America/Argentina/Buenos_Aires"))
	assert.Empty(t, names.City("US/Eastern"))
	assert.False(t, names.InArea("Europe"))
	assert.True(t, names.Regional("Europe/Berlin"))
	assert.False(t, names.Regional("America/Indianapolis"), "Windows' US Eastern is a part that once had rules of its own")
}
