package saved

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"mealtab/compiler/table"
)

// Version is that of the text. A reader knows its own and older ones.
const Version = 1

// head is the first line without its version.
const head = "mealtab history "

// preamble is for whoever opens the file. It is written anew each time, and is nobody's note.
const preamble = `# What one feeder has done, oldest first, as it remembers it; mealtab journal --save adds to this file, mealtab fed reads it.
# Times are UTC, by the feeder's clock. The digits at the end of a line are what the feeder holds; the words before them say the same.
# Lines of your own may stand anywhere, if they begin with #.
`

// Text is the log as a file has it. The same log gives the same bytes.
func (l *Log) Text() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "%s%d\n%s", head, Version, preamble)
	fmt.Fprintf(&b, "feeder board=%d sensors=%d slots=%d name=%s\n", l.Feeder.Board, l.Feeder.Sensors, l.Feeder.Slots, strconv.Quote(l.Feeder.Name))
	for _, t := range l.Tables {
		meals := make([]string, len(t.Meals))
		for i, m := range t.Meals {
			meals[i] = " meal=" + strconv.Quote(m)
		}
		fmt.Fprintf(&b, "table %s plan=%s zone=%s%s bytes=%x\n", t.Key(), strconv.Quote(t.Plan), strconv.Quote(t.Zone), strings.Join(meals, ""), t.Bytes)
	}
	for _, r := range l.Runs {
		b.WriteString(runText(r))
	}
	return []byte(b.String())
}

func (k Key) String() string { return fmt.Sprintf("%d/%04x", k.Sequence, k.CRC) }

// runText is a run: a line that says that it begins, then all in order.
func runText(r Run) string {
	var b strings.Builder
	fmt.Fprintf(&b, "\nrecords without a gap:\n")
	for i := range len(r.Records) + 1 {
		for _, n := range r.Notes {
			if n.After == i {
				b.WriteString(n.What + "\n")
			}
		}
		for _, s := range r.States {
			if s.After == i {
				b.WriteString(stateText(s.What) + "\n")
			}
		}
		if i < len(r.Records) {
			b.WriteString(recordText(r.Records[i]) + "\n")
		}
	}
	return b.String()
}

// minuteLayout is that of a record's time.
const minuteLayout = "2006-01-02T15:04Z"

func recordText(h table.History) string {
	return fmt.Sprintf("%-46s  %s", recordWords(h), hex.EncodeToString(table.EncodeHistory(h)))
}

// recordWords are in the terms of the format, not in those of a report: they must be the same in years.
func recordWords(h table.History) string {
	event, value := fmt.Sprintf("event %d", h.Event), strconv.Itoa(int(h.Value))
	for _, e := range table.Events() {
		if e.Value != h.Event {
			continue
		}
		event = strings.ToLower(strings.ReplaceAll(e.Name, "_", " "))
		if h.Event == table.EventClockSet && h.Value != 0x8000 {
			value = strconv.Itoa(int(int16(h.Value)))
		}
		value += " " + e.Unit
	}
	return fmt.Sprintf("%s  %s %s", h.At.Time().Format(minuteLayout), event, value)
}

func stateText(s State) string {
	k := "none"
	if s.Table != nil {
		k = s.Table.String()
	}
	return fmt.Sprintf("read %s feeder=%s table=%s preset=%d adjust=%d faults=%d left=%d", s.Computer.Format(time.RFC3339), s.Feeder.Time().Format(minuteLayout),
		k, s.Preset, s.Adjust, s.Faults, s.Left)
}

// LineError is a line that cannot be read.
type LineError struct {
	Line int // from 1
	Why  string
}

func (e *LineError) Error() string {
	return fmt.Sprintf("line %d: %s; put the line back as it was, or a # before it", e.Line, e.Why)
}

// Parse reads a file. An empty one is an empty log. A last line that was cut off in the middle is left out, and torn says how it begins.
func Parse(text []byte) (l *Log, torn string, err error) {
	l = &Log{}
	if len(bytes.TrimSpace(text)) == 0 {
		return l, "", nil
	}
	lines := strings.Split(string(text), "\n")
	last := len(lines) - 1 // what stands behind the last line feed
	p := parser{log: l}
	for i, line := range lines {
		line = strings.TrimSuffix(line, "\r") // an editor may have added it
		bad := p.line(i, line, i == last)
		if bad != "" && i == last && line != "" && (i > 0 || strings.HasPrefix(head+"1", line)) {
			torn = line
			break
		}
		if bad != "" {
			return nil, "", &LineError{i + 1, bad}
		}
	}
	if torn != "" && len(lines) > 1 {
		p.note("# This line was cut off: " + torn)
	}
	return p.finish(), torn, nil
}

type parser struct {
	log   *Log
	run   *Run
	notes []string // before the first run
}

// line reads one; bad says why it cannot be read. An open one is not ended by a line feed: what has no check of its own may be cut off.
func (p *parser) line(i int, line string, open bool) (bad string) {
	if i == 0 {
		return versionOf(line)
	}
	word, rest, _ := strings.Cut(line, " ")
	switch {
	case strings.TrimSpace(line) == "" || slices.Contains(strings.Split(preamble, "\n"), line):
		return ""
	case line[0] == '#':
		p.note(line)
		return ""
	case word == "feeder":
		return p.feeder(rest)
	case word == "table":
		return p.table(rest)
	case line == "records without a gap:":
		p.log.Runs = append(p.log.Runs, Run{})
		p.run = &p.log.Runs[len(p.log.Runs)-1]
		for _, n := range p.notes {
			p.note(n)
		}
		p.notes = nil
		return ""
	case p.run == nil:
		return fmt.Sprintf("%q is not understood", clip(line))
	case word == "read" && open:
		return "it is cut off"
	case word == "read":
		return p.state(rest)
	}
	return p.record(line)
}

func (p *parser) note(line string) {
	if p.run == nil {
		p.notes = append(p.notes, line)
		return
	}
	p.run.Notes = append(p.run.Notes, Placed[string]{len(p.run.Records), line})
}

func versionOf(line string) (bad string) {
	n, found := strings.CutPrefix(line, head)
	v, err := strconv.Atoi(n)
	switch {
	case !found || err != nil || v < 1:
		return fmt.Sprintf("this is no history of a feeder: its first line would be %q", head+"1")
	case v > Version:
		return fmt.Sprintf("the file is of version %d, and this program reads versions up to %d: a newer mealtab is needed", v, Version)
	}
	return ""
}

// record reads a line of which the digits count; words that say something else were edited.
func (p *parser) record(line string) (bad string) {
	at := strings.LastIndexByte(line, ' ')
	raw, err := hex.DecodeString(line[at+1:])
	h, ok := table.DecodeHistory(raw)
	if err != nil || !ok || len(raw) != table.HistorySize {
		return fmt.Sprintf("%q is no record: it does not end in the %d digits of one", clip(line), 2*table.HistorySize)
	}
	if words := strings.TrimSpace(line[:at+1]); words != recordWords(h) {
		return fmt.Sprintf("its words say %q, its digits %q: one of the two was edited", clip(words), recordWords(h))
	}
	if n := len(p.run.Records); n > 0 && p.run.Records[n-1].Sequence+1 != h.Sequence {
		// A line was taken out: what is on either side is still true.
		p.log.Runs = append(p.log.Runs, Run{})
		p.run = &p.log.Runs[len(p.log.Runs)-1]
	}
	p.run.Records = append(p.run.Records, h)
	return ""
}

// fields reads key=value pairs; values may be quoted as in Go.
func fields(s string) (list [][2]string, ok bool) {
	for s = strings.TrimSpace(s); s != ""; s = strings.TrimSpace(s) {
		key, rest, found := strings.Cut(s, "=")
		if !found || strings.ContainsAny(key, " \"") {
			return nil, false
		}
		if strings.HasPrefix(rest, `"`) {
			quoted, err := strconv.QuotedPrefix(rest)
			if err != nil {
				return nil, false
			}
			value, _ := strconv.Unquote(quoted)
			list, s = append(list, [2]string{key, value}), rest[len(quoted):]
			continue
		}
		value, after, _ := strings.Cut(rest, " ")
		list, s = append(list, [2]string{key, value}), after
	}
	return list, true
}

// numbers puts the values of keys where they belong; all must be there. What is not named is skipped: a later version may say more.
func numbers(list [][2]string, into map[string]*int) bool {
	found := 0
	for _, f := range list {
		if n := into[f[0]]; n != nil {
			v, err := strconv.Atoi(f[1])
			if err != nil {
				return false
			}
			*n = v
			found++
		}
	}
	return found == len(into)
}

func (p *parser) feeder(rest string) (bad string) {
	list, ok := fields(rest)
	f, board := &p.log.Feeder, 0
	if !ok || !numbers(list, map[string]*int{"board": &board, "sensors": &f.Sensors, "slots": &f.Slots}) || board < 0 || board > 255 {
		return "it does not say which feeder: board=, sensors=, slots= and name=\"\" are wanted"
	}
	i := slices.IndexFunc(list, func(f [2]string) bool { return f[0] == "name" })
	if i < 0 {
		return "it does not say the feeder's name: name=\"\" where it has none"
	}
	f.Board, f.Name = uint8(board), list[i][1]
	return ""
}

func (p *parser) table(rest string) (bad string) {
	key, rest, _ := strings.Cut(rest, " ")
	list, ok := fields(rest)
	var t Table
	for _, f := range list {
		switch f[0] {
		case "plan":
			t.Plan = f[1]
		case "zone":
			t.Zone = f[1]
		case "meal":
			t.Meals = append(t.Meals, f[1])
		case "bytes":
			b, err := hex.DecodeString(f[1])
			ok = ok && err == nil
			t.Bytes = b
		}
	}
	decoded, err := table.Decode(t.Bytes)
	if !ok || err != nil || t.Key().String() != key || t.Meals != nil && len(t.Meals) != len(decoded.Meals) {
		return "it is no table: its bytes are not those of " + key + ", or its meals are not as many"
	}
	p.log.Tables = append(p.log.Tables, t)
	return ""
}

func (p *parser) state(rest string) (bad string) {
	const want = "it does not say what was read: a time, feeder=, table=, preset=, adjust=, faults= and left= are wanted"
	at, rest, _ := strings.Cut(rest, " ")
	list, ok := fields(rest)
	var s State
	var err, wrong error
	if s.Computer, err = time.Parse(time.RFC3339, at); err != nil || !ok {
		return want
	}
	if !numbers(list, map[string]*int{"preset": &s.Preset, "adjust": &s.Adjust, "faults": &s.Faults, "left": &s.Left}) {
		return want
	}
	had := 0
	for _, f := range list {
		switch f[0] {
		case "feeder":
			var m time.Time
			m, err = time.Parse(minuteLayout, f[1])
			s.Feeder = table.MinuteOf(m.Unix())
			had++
		case "table":
			s.Table, wrong = parseKey(f[1])
			had++
		}
	}
	if err != nil || wrong != nil || had != 2 {
		return want
	}
	p.run.States = append(p.run.States, Placed[State]{len(p.run.Records), s})
	return ""
}

func parseKey(s string) (*Key, error) {
	if s == "none" {
		return nil, nil
	}
	var k Key
	_, err := fmt.Sscanf(s, "%d/%x", &k.Sequence, &k.CRC)
	return &k, err
}

// finish drops runs that a cut has left empty, and puts all in the order in which merging would.
func (p *parser) finish() *Log {
	l := p.log
	if p.notes != nil {
		l.Runs = append(l.Runs, Run{})
		p.run = &l.Runs[len(l.Runs)-1]
		for _, n := range p.notes {
			p.note(n)
		}
	}
	l.Runs = slices.DeleteFunc(l.Runs, func(r Run) bool { return len(r.Records)+len(r.States)+len(r.Notes) == 0 })
	return Merge(l, &Log{Feeder: l.Feeder})
}

// clip is enough of a line to know it by.
func clip(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:59]) + "…"
	}
	return s
}
