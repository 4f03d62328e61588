// Package ical is iCalendar itself (RFC 5545), written and read: content lines folded at 75 octets, values of type TEXT and UTC-OFFSET, time
// zones as VTIMEZONE, components, and calendars of servings. What an event means for a plan is the business of package ical/calendar.
//
// Writing. In: names, values, instants (time.Time, written in UTC) and the time of writing. Out: bytes that depend on these alone. UIDs are
// derived from what does not change with a revision, and SEQUENCE grows with the time of writing: a calendar program that imports a
// newer file replaces what it has of an older one.
//
// Reading. In: a file. Out: its components, each value with its place, and what is no iCalendar in it.
package ical

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// ProdID is the PRODID of everything written here (RFC 5545 §3.7.3).
const ProdID = "-//mealtab//EN"

// maxOctets is the length of a content line without its line break (RFC 5545 §3.1).
const maxOctets = 75

// Writer writes content lines. The first error stays and is returned by Flush.
type Writer struct {
	out     *bufio.Writer
	written time.Time
	err     error
}

// NewWriter starts a stream with BEGIN:VCALENDAR and its required properties. written is the time of writing.
func NewWriter(w io.Writer, written time.Time) *Writer {
	cal := &Writer{out: bufio.NewWriter(w), written: written.UTC()}
	cal.Line("BEGIN", "VCALENDAR")
	cal.Line("VERSION", "2.0")
	cal.Line("PRODID", ProdID)
	cal.Line("CALSCALE", "GREGORIAN")
	return cal
}

// Line writes NAME:value as it is. The name may carry parameters, as in "DTSTART;TZID=Europe/Lisbon".
func (c *Writer) Line(name, value string) {
	if c.err == nil {
		_, c.err = c.out.WriteString(Fold(name + ":" + value))
	}
}

// Text writes a property whose value is TEXT, escaped.
func (c *Writer) Text(name, value string) { c.Line(name, EscapeText(value)) }

// Event begins a VEVENT and says which revision of which event it is (RFC 5545 §3.8.4.7, §3.8.7.2, §3.8.7.4). Of two files the
// one written later has the higher SEQUENCE, or within a minute the later DTSTAMP.
func (c *Writer) Event(uid string) {
	c.Line("BEGIN", "VEVENT")
	c.Line("UID", uid)
	c.Line("DTSTAMP", c.written.Format(utcLayout))
	c.Line("SEQUENCE", strconv.FormatInt(max(0, int64(c.written.Sub(sequenceZero)/time.Minute)), 10))
}

// sequenceZero is from where SEQUENCE counts minutes; its 31 bits last for four thousand years.
var sequenceZero = time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)

const utcLayout = "20060102T150405Z"

// Close ends the calendar and writes out what is buffered.
func (c *Writer) Close() error {
	c.Line("END", "VCALENDAR")
	if c.err != nil {
		return c.err
	}
	return c.out.Flush()
}

// Fold breaks a content line so that no physical line has more than 75 octets, never inside a UTF-8 sequence, and
// ends it with CRLF (RFC 5545 §3.1).
func Fold(line string) string {
	var b strings.Builder
	room := maxOctets
	for i := 0; i < len(line); {
		_, size := utf8.DecodeRuneInString(line[i:])
		if size > room {
			b.WriteString("\r\n ")
			room = maxOctets - 1
		}
		b.WriteString(line[i : i+size])
		room -= size
		i += size
	}
	b.WriteString("\r\n")
	return b.String()
}

// textEscaper is RFC 5545 §3.3.11; control characters other than a line break are not allowed in TEXT.
var textEscaper = strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\r\n", `\n`, "\n", `\n`, "\r", `\n`)

// EscapeText makes any string a TEXT value.
func EscapeText(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' || r == 0x7f {
			return -1
		}
		return r
	}, textEscaper.Replace(s))
}

// UID derives a globally unique identifier (RFC 5545 §3.8.4.7) from the parts: 64 bits of their SHA-256.
func UID(parts ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	return hex.EncodeToString(sum[:8]) + "@mealtab"
}

// ServingEvent is one serving as a calendar shows it.
type ServingEvent struct {
	At          time.Time // to the second
	Key         string    // what stays when the serving is moved within its day or gets another portion: names and date
	Minutes     int       // how long the event is shown; 0: no duration is written
	Summary     string    // "breakfast 18 g"
	Description string    // may be empty
}

// WriteServings writes one VEVENT for each serving, in UTC and thus without VTIMEZONE, in the order given. The zone
// name is a wish for display (X-WR-TIMEZONE, which many programs read). Servings with the same key are told apart by their order.
func WriteServings(w io.Writer, calendarName, zoneName string, written time.Time, servings []ServingEvent) error {
	c := NewWriter(w, written)
	if calendarName != "" {
		c.Text("X-WR-CALNAME", calendarName)
	}
	if zoneName != "" {
		c.Text("X-WR-TIMEZONE", zoneName)
	}
	seen := map[string]int{}
	for _, s := range servings {
		seen[s.Key]++
		c.Event(UID(calendarName, s.Key, fmt.Sprint(seen[s.Key])))
		c.Line("DTSTART", s.At.UTC().Format(utcLayout))
		if s.Minutes > 0 {
			c.Line("DURATION", fmt.Sprintf("PT%dM", s.Minutes))
		}
		c.Text("SUMMARY", s.Summary)
		if s.Description != "" {
			c.Text("DESCRIPTION", s.Description)
		}
		c.Line("TRANSP", "TRANSPARENT") // feeding does not make the owner busy
		c.Line("END", "VEVENT")
	}
	return c.Close()
}
