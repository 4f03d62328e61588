package calendar_test

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/ical/calendar"
	"mealtab/compiler/plan"
	"mealtab/compiler/reader"
	"mealtab/compiler/zone"
)

var update = flag.Bool("update", false, "rewrite what is expected of calendars")

// checked are the options with which the program reads plans.
var checked = reader.With(zone.Embedded())

// written is when the tests write calendars.
var written = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)

// mustParse reads a plan that has nothing wrong.
func mustParse(t *testing.T, name, src string) *plan.Plan {
	t.Helper()
	p, ds := checked.Parse(name, []byte(src))
	var picture strings.Builder
	require.NoError(t, plan.Render(&picture, ds, false))
	require.Empty(t, ds, picture.String())
	return p
}

// calendarOf writes a plan as the program does.
func calendarOf(t require.TestingT, p *plan.Plan, at time.Time) string {
	z, err := zone.Embedded().Load(p.Zone)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, calendar.Write(&b, p, z, at))
	return b.String()
}

// inputs lists the files of a directory of testdata.
func inputs(t *testing.T, dir, pattern string) []string {
	files, err := filepath.Glob(filepath.Join("..", "..", "..", "testdata", dir, pattern))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	return files
}

func read(t *testing.T, file string) string {
	src, err := os.ReadFile(file)
	require.NoError(t, err)
	return string(src)
}

// settings are a plan without its meals and without places.
func settings(p *plan.Plan) plan.Plan {
	out := *p
	out.Meals, out.Source, out.Where = nil, nil, plan.Places{}
	return out
}
