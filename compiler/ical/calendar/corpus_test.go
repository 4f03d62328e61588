package calendar_test

import (
	"crypto/sha256"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/ical/icaltest"
	"mealtab/compiler/plan"
	"mealtab/compiler/reader"
)

// The window in which the corpus is compared, and how many instants of one series at most.
var (
	corpusFrom = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	corpusTo   = time.Date(2036, 1, 1, 0, 0, 0, 0, time.UTC)
)

const corpusMost = 2000

var (
	component = regexp.MustCompile(`(?s)BEGIN:(VEVENT|VTIMEZONE)\n.*?END:(?:VEVENT|VTIMEZONE)\n`)
	uidLine   = regexp.MustCompile(`(?m)^UID[^:\n]*:(.*)$`)
	titleLine = regexp.MustCompile(`(?m)^SUMMARY[^\n]*\n`)
	timezones = regexp.MustCompile(`(?s)BEGIN:VTIMEZONE\n.*?END:VTIMEZONE\n`)
	old       = regexp.MustCompile(`(?m)^DTSTART[^\n]*:1[0-9]{3}`)
	dated     = regexp.MustCompile(`(?m)^(DTSTART|RRULE|RDATE|EXDATE|RECURRENCE-ID)[^\n]*$`)
	year      = regexp.MustCompile(`\b[0-9]{8}(T[0-9]{6}Z?)?\b`)
	wholeDay  = regexp.MustCompile(`(?m)^DTSTART;VALUE=DATE:`)
	zoneLine  = regexp.MustCompile(`(?m)^X-WR-TIMEZONE:.*$`)
)

// oneForEachUID cuts a calendar into one for each UID, with its time zones, and gives every event a portion.
func oneForEachUID(src string) (list []string) {
	src = strings.ReplaceAll(src, "\r\n", "\n")
	src = strings.NewReplacer("\n ", "", "\n\t", "").Replace(src)
	head := "BEGIN:VCALENDAR\nVERSION:2.0\n"
	if z := zoneLine.FindString(src); z != "" {
		head += z + "\n"
	} else {
		head += "X-WR-TIMEZONE:Etc/UTC\n" // for floating times, which libical reads as UTC
	}
	events := map[string]string{}
	var order []string
	for _, m := range component.FindAllStringSubmatch(src, -1) {
		if m[1] == "VTIMEZONE" {
			head += m[0]
			continue
		}
		uid := "none"
		if u := uidLine.FindStringSubmatch(m[0]); u != nil {
			uid = u[1]
		}
		if events[uid] == "" {
			order = append(order, uid)
		}
		events[uid] += strings.Replace(titleLine.ReplaceAllString(m[0], ""), "BEGIN:VEVENT\n", "BEGIN:VEVENT\nSUMMARY:meal 1 pocket\n", 1)
	}
	for _, uid := range order {
		if old.MatchString(events[uid]) {
			list = append(list, timezones.ReplaceAllString(head, "")+later(events[uid])+"END:VCALENDAR\n")
		} else {
			list = append(list, head+events[uid]+"END:VCALENDAR\n")
		}
	}
	return list
}

// later moves events of before 2000 by 28 years, after which weekdays and leap years are the same. The file's rules for its zone are not:
// the zone must have a name that all know.
func later(events string) string {
	return dated.ReplaceAllStringFunc(events, func(line string) string {
		return year.ReplaceAllStringFunc(line, func(date string) string {
			n, err := strconv.Atoi(date[:4])
			if err != nil || n < 1901 || n > 2071 {
				return date
			}
			return strconv.Itoa(n+28) + date[4:]
		})
	})
}

// byLibical puts the instances of the events of one UID together as RFC 5545 §3.8.4.4 says: libical lists them event by event.
func byLibical(t *testing.T, l icaltest.Lister, ics string) []int64 {
	events, _ := l.List(t, ics, corpusFrom, corpusTo)
	var all []int64
	for _, e := range events {
		if len(e.Of) == 0 {
			all = append(all, e.Starts...)
		}
	}
	for _, e := range events {
		for _, of := range e.Of {
			if i := slices.Index(all, of); i >= 0 {
				all = slices.Delete(all, i, i+1)
			}
		}
	}
	cancelled := strings.Split(ics, "BEGIN:VEVENT\n")[1:]
	for i, e := range events {
		if len(e.Of) > 0 && i < len(cancelled) && !strings.Contains(cancelled[i], "STATUS:CANCELLED") {
			all = append(all, e.Starts[:min(1, len(e.Starts))]...)
		}
	}
	slices.Sort(all)
	return all[:min(len(all), corpusMost)]
}

// byUs is what the plan serves.
func byUs(t *testing.T, p *plan.Plan) (all []int64) {
	for _, m := range p.Meals {
		all = append(all, instants(t, p, m.Set, corpusFrom, corpusTo)...)
	}
	slices.Sort(all)
	return all[:min(len(all), corpusMost)]
}

// TestCalendarsOfOthers reads calendars that nobody here wrote: those in the directory CALENDARS (the check fetches the tests of packaged
// libraries), without it our own. What is read must be served as libical or dateutil says; where these two differ, one of them is right.
func TestCalendarsOfOthers(t *testing.T) {
	dir := os.Getenv("CALENDARS")
	least := 15_000
	if dir == "" {
		dir, least = filepath.Join("..", "..", "..", "testdata", "ics"), 2000
	}
	l := icaltest.New(t)
	seen := map[[32]byte]bool{}
	files, refused, agreed, both, onlyOne := 0, map[string]int{}, 0, 0, 0
	require.NoError(t, filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || !strings.EqualFold(filepath.Ext(path), ".ics") {
			return err
		}
		src, err := os.ReadFile(path)
		if err != nil || seen[sha256.Sum256(src)] || len(src) > reader.MaxBytes || !strings.Contains(string(src), "BEGIN:VEVENT") {
			return err
		}
		seen[sha256.Sum256(src)] = true
		files++
		for n, ics := range oneForEachUID(string(src)) {
			name := fmt.Sprintf("%s, event %d", path, n+1)
			p, ds := checked.Parse("x.ics", []byte(ics))
			if p == nil {
				refused[string(ds[slices.IndexFunc(ds, func(d plan.Diagnostic) bool { return d.Severity == plan.Error })].Code)]++
				continue
			}
			if wholeDay.MatchString(ics) {
				refused["a date with BYHOUR, which only we serve"]++
				continue
			}
			if strings.Count(ics, "BEGIN:VEVENT") > 1+strings.Count(ics, "\nRECURRENCE-ID") {
				refused["several revisions of one event, all of which the libraries serve"]++
				continue
			}
			ours, libical := byUs(t, p), byLibical(t, l, ics)
			dateutil, err := icaltest.ListByDateutil(t, ics, p.Zone, corpusFrom, corpusTo)
			dateutil = dateutil[:min(len(dateutil), corpusMost)]
			sameL, sameD := slices.Equal(ours, libical), err == nil && slices.Equal(ours, dateutil)
			switch {
			case sameL && sameD:
				both += len(ours)
			case sameL || sameD:
				onlyOne += len(ours)
			default:
				t.Errorf("%s: %d servings, libical has %d, dateutil %d (%v)\n%s\n%s", name, len(ours), len(libical), len(dateutil), err, difference(ours, libical), ics)
			}
			agreed++
		}
		return nil
	}))
	t.Logf("%d files, %d series compared, others by code %v; %d servings as libical and dateutil have them, %d as one of the two", files, agreed, refused, both, onlyOne)
	assert.Greater(t, both, least)
}

// difference is the first time that only one of two lists has.
func difference(a, b []int64) string {
	for i := range max(len(a), len(b)) {
		if i >= len(a) || i >= len(b) || a[i] != b[i] {
			word := "neither has more"
			if i < len(a) {
				word = "ours goes on with " + time.Unix(a[i], 0).UTC().Format(time.RFC3339)
			}
			if i < len(b) {
				word += ", libical with " + time.Unix(b[i], 0).UTC().Format(time.RFC3339)
			}
			return fmt.Sprintf("serving %d: %s", i+1, word)
		}
	}
	return "no difference"
}
