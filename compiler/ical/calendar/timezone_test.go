package calendar

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/ical"
	"mealtab/compiler/zone"
)

// onsets are all changes of a description up to the end of 2099, "instant offset", in order. Rules are laid out by counting weekdays
// with package time, which neither the data's reader nor the writer uses for it.
func onsets(t *testing.T, z ical.Zone) (list []string, first int) {
	type change struct {
		at     int64
		offset int
	}
	var all []change
	for _, o := range z.Observances {
		nominal := slices.Clone(o.Onsets)
		if o.Rule != "" {
			m := regexp.MustCompile(`^FREQ=YEARLY;BYMONTH=(\d+);BYDAY=(-?\d)(\w\w)$`).FindStringSubmatch(o.Rule)
			require.NotNil(t, m, o.Rule)
			month, _ := strconv.Atoi(m[1])
			n, _ := strconv.Atoi(m[2])
			weekday := time.Weekday(slices.Index([]string{"SU", "MO", "TU", "WE", "TH", "FR", "SA"}, m[3]))
			start := o.Onsets[0]
			for year := start.Year(); year < 2100; year++ {
				var days []time.Time
				for d := time.Date(year, time.Month(month), 1, start.Hour(), start.Minute(), start.Second(), 0, time.UTC); int(d.Month()) == month; d = d.AddDate(0, 0, 1) {
					if d.Weekday() == weekday {
						days = append(days, d)
					}
				}
				d := days[len(days)-1]
				if n > 0 {
					d = days[n-1]
				}
				if year == start.Year() {
					require.Equal(t, start, d, "DTSTART is the first onset of %s", o.Rule)
				} else {
					nominal = append(nominal, d)
				}
			}
		}
		for _, at := range nominal {
			all = append(all, change{at.Unix() - int64(o.From), o.To})
		}
	}
	slices.SortFunc(all, func(a, b change) int { return int(a.at - b.at) })
	for _, c := range all[1:] {
		if c.at < time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC).Unix() {
			list = append(list, fmt.Sprint(c.at, " ", c.offset))
		}
	}
	return list, all[0].offset
}

// Every zone is described exactly, from any year on.
func TestDescribe(t *testing.T) {
	changes := 0
	for _, name := range zone.Embedded().Names() {
		z, err := zone.Embedded().Load(name)
		require.NoError(t, err)
		for _, year := range []int{2000, 2026, 2090} {
			described := describe(z, year)
			from := time.Date(year-1, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
			var want []string
			for _, c := range z.Transitions(from+1, time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC).Unix()) {
				want = append(want, fmt.Sprint(c.At, " ", c.After.Seconds))
			}
			got, first := onsets(t, described)
			assert.Equal(t, z.At(from).Seconds, first, name)
			assert.Equal(t, want, got, "%s from %d", name, year)
			assert.Equal(t, name, described.ID)
			changes += len(got)
		}
	}
	assert.Greater(t, changes, 50_000)
}
