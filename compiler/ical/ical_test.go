package ical_test

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	goical "github.com/emersion/go-ical"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/ical"
	"mealtab/compiler/ical/icaltest"
)

var written = time.Date(2026, 11, 25, 9, 30, 15, 0, time.UTC)

var servings = []ical.ServingEvent{
	{At: time.Date(2027, 3, 28, 6, 0, 0, 0, time.UTC), Minutes: 10, Summary: "breakfast 18 g"},
	{At: time.Date(2027, 3, 28, 19, 30, 0, 0, time.FixedZone("", 3600)), Summary: "Juniper; Moss, both \\ supper", Description: "3 pockets\nwheel at 310 ms"},
	{At: time.Date(2027, 3, 28, 6, 0, 0, 0, time.UTC), Minutes: 10, Summary: "breakfast 18 g"},
	{At: time.Date(2096, 2, 29, 23, 59, 0, 0, time.UTC), Summary: strings.Repeat("pequeno-almoço 朝ごはん ", 9)},
}

// libical and go-ical, two independent readers, see the same events without a fault.
func TestServingsAsOthersReadThem(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, ical.WriteServings(&b, "Juniper and Moss", "Europe/Lisbon", written, servings))
	events, faults := icaltest.New(t).List(t, b.String(), time.Unix(0, 0), time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC))
	assert.Empty(t, faults)
	require.Len(t, events, len(servings))
	cal, err := goical.NewDecoder(bytes.NewReader(b.Bytes())).Decode()
	require.NoError(t, err)
	theirs := cal.Events()
	require.Len(t, theirs, len(servings))
	uids := map[string]bool{}
	for i, s := range servings {
		summary := strings.TrimSpace(s.Summary)
		assert.Equal(t, []int64{s.At.Unix()}, events[i].Starts)
		assert.Equal(t, summary, strings.TrimSpace(events[i].Summary))
		start, err := theirs[i].DateTimeStart(nil)
		require.NoError(t, err)
		assert.True(t, s.At.Equal(start))
		text, err := theirs[i].Props.Text("DESCRIPTION")
		require.NoError(t, err)
		assert.Equal(t, s.Description, text)
		uid, err := theirs[i].Props.Text("UID")
		require.NoError(t, err)
		assert.False(t, uids[uid], "UIDs differ, also those of equal servings (RFC 5545 §3.8.4.7)")
		uids[uid] = true
	}
}

func TestServingsAreDeterministic(t *testing.T) {
	var a, b bytes.Buffer
	require.NoError(t, ical.WriteServings(&a, "x", "", written, servings))
	require.NoError(t, ical.WriteServings(&b, "x", "", written, servings))
	assert.Equal(t, a.String(), b.String())
	assert.NotContains(t, a.String(), "X-WR-TIMEZONE")
	assert.NotContains(t, strings.ReplaceAll(a.String(), "\r\n", ""), "\n", "every line ends in CRLF (RFC 5545 §3.1)")
}

// RFC 5545 §3.1: no line over 75 octets without its break; a fold is CRLF and a space; taking the folds out gives the
// line back. We never split a character.
func TestFold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		line := strings.NewReplacer("\r", "", "\n", "").Replace(rapid.String().Draw(t, "line"))
		folded := ical.Fold(line)
		if got := strings.ReplaceAll(strings.TrimSuffix(folded, "\r\n"), "\r\n ", ""); got != line {
			t.Fatalf("%q became %q", line, got)
		}
		for _, physical := range strings.Split(strings.TrimSuffix(folded, "\r\n"), "\r\n") {
			if len(physical) > 75 || utf8.ValidString(line) && !utf8.ValidString(physical) {
				t.Fatalf("bad line %q", physical)
			}
		}
	})
	assert.Equal(t, strings.Repeat("x", 75)+"\r\n", ical.Fold(strings.Repeat("x", 75)))
	assert.Equal(t, strings.Repeat("x", 75)+"\r\n x\r\n", ical.Fold(strings.Repeat("x", 76)))
	assert.Equal(t, strings.Repeat("x", 74)+"\r\n é\r\n", ical.Fold(strings.Repeat("x", 74)+"é"))
}

// RFC 5545 §3.3.11.
func TestEscapeText(t *testing.T) {
	assert.Equal(t, `a\, b\; c\\n\n`+"\t", ical.EscapeText("a, b; c\\n\r\n\x00\t\x7f"))
}

// full fails after some bytes, as a full disk does.
type full int

func (f *full) Write(p []byte) (int, error) {
	if *f -= full(len(p)); *f < 0 {
		return 0, errors.New("disk full")
	}
	return len(p), nil
}

func TestWriteErrorsAreReported(t *testing.T) {
	many := make([]ical.ServingEvent, 1000)
	for _, room := range []full{0, 1000, 50_000} {
		assert.EqualError(t, ical.WriteServings(&room, "", "", written, many), "disk full")
	}
}

// A serving that was moved within its day, or has another portion, is a new revision of the same event.
func TestALaterServingReplaces(t *testing.T) {
	write := func(at time.Time, e ical.ServingEvent) *goical.Component {
		var b bytes.Buffer
		require.NoError(t, ical.WriteServings(&b, "x", "", at, []ical.ServingEvent{e}))
		cal, err := goical.NewDecoder(&b).Decode()
		require.NoError(t, err)
		return cal.Events()[0].Component
	}
	e := ical.ServingEvent{At: servings[0].At, Key: "breakfast\n2027-03-28", Summary: "breakfast 18 g"}
	before := write(written, e)
	e.At, e.Summary = e.At.Add(time.Hour), "breakfast 20 g"
	after := write(written.Add(time.Minute), e)
	assert.Equal(t, before.Props.Get("UID").Value, after.Props.Get("UID").Value)
	assert.Equal(t, "3629370", before.Props.Get("SEQUENCE").Value, "minutes since 2020: 2,520 days, 9 h 30 min")
	assert.Equal(t, "3629371", after.Props.Get("SEQUENCE").Value)
	e.Key = "breakfast\n2027-03-29"
	assert.NotEqual(t, before.Props.Get("UID").Value, write(written, e).Props.Get("UID").Value)
}
