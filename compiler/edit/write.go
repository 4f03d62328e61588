package edit

import (
	"bytes"
	"fmt"
	"slices"
	"sort"
	"strings"
	"unicode/utf8"
)

// newline is the text's own.
func (d *Doc) newline() string {
	if i := bytes.IndexByte(d.src, '\n'); i > 0 && d.src[i-1] == '\r' {
		return "\r\n"
	}
	return "\n"
}

// splice replaces src[from:to].
func (d *Doc) splice(from, to int, text string) []byte {
	return slices.Concat(d.src[:from], []byte(text), d.src[to:])
}

// order is that in which the keys of a plan are usually written.
var order = map[string]int{}

func init() {
	for i, name := range []string{"plan", "zone", "late", "board", "gap", "pocket", "turn", "trim", "holds", "name", "portion", "per-hour", "per-day", "dtstart", "rrule", "at", "exdate", "rdate", "presets"} {
		order[name] = i
	}
}

// Set puts a value, given as TOML, in the place of the old one, or where its key usually stands.
func (d *Doc) Set(k Key, value string) []byte {
	if e := d.find(k); e != nil {
		return d.splice(e.value, e.end, value)
	}
	t := d.table(k)
	if t == nil {
		return d.addTable(k, value)
	}
	if t.inline {
		return d.setInline(t, k.Name+" = "+value)
	}
	at := t.body
	for _, e := range t.keys {
		if order[e.name] < order[k.Name] {
			at = max(at, d.lineEnd(e.end))
		}
	}
	if t.heading == -1 { // dotted: write it the same way
		return d.insert(at, k.Table+"."+k.Name+" = "+value)
	}
	if len(t.keys) == 0 {
		return d.insert(at, k.Name+" = "+value)
	}
	e := t.keys[0] // as the first one is written
	indent := string(d.src[d.lineStart(e.from):e.from])
	return d.insert(at, indent+pad(k.Name, utf8.RuneCount(d.src[e.from:e.equals]))+"= "+value)
}

// setInline adds a pair to { … }.
func (d *Doc) setInline(t *table, pair string) []byte {
	if n := len(t.keys); n > 0 {
		return d.splice(t.keys[n-1].end, t.keys[n-1].end, ", "+pair)
	}
	return d.splice(t.body, t.body, " "+pair)
}

// pad brings the = sign under that of the other keys.
func pad(name string, width int) string { return fmt.Sprintf("%-*s", max(width, len(name)+1), name) }

// insert adds a line before the one that starts at off.
func (d *Doc) insert(off int, line string) []byte {
	nl := d.newline()
	if off > 0 && d.src[off-1] != '\n' {
		return d.splice(off, off, nl+line)
	}
	return d.splice(off, off, line+nl)
}

// addTable writes a heading with its first key before the meals.
func (d *Doc) addTable(k Key, value string) []byte {
	at, nl := len(d.src), d.newline()
	for _, t := range d.tables {
		if t.name == "meal" {
			at = d.above(t.heading)
			break
		}
	}
	text := "[" + k.Table + "]" + nl + k.Name + " = " + value + nl
	if at == len(d.src) {
		return d.appendText(text)
	}
	if at > d.start && !d.blank(d.lineStart(at-1)) {
		text = nl + text
	}
	return d.splice(at, at, text+nl)
}

// Remove takes a key out, and with the last key of a table its heading: an empty one means something. Comments stay.
func (d *Doc) Remove(k Key) []byte {
	e := d.find(k)
	if e == nil {
		return d.src
	}
	start, end := d.lineStart(e.from), d.lineEnd(e.end)
	t := d.table(k)
	if t.inline {
		return d.removeInline(t, k)
	}
	if k.Table != "" && k.Table != "meal" && t.heading >= 0 && len(t.keys) == 1 {
		return d.removeTable(t, start, end, d.comment(e.end, end))
	}
	return d.splice(start, end, d.comment(e.end, end))
}

// removeInline takes a pair out of { … }, and the last one with the whole.
func (d *Doc) removeInline(t *table, k Key) []byte {
	i := slices.IndexFunc(t.keys, func(e entry) bool { return e.name == k.Name })
	switch {
	case len(t.keys) == 1:
		return d.Remove(Key{Name: k.Table})
	case i == 0:
		return d.splice(t.keys[0].from, t.keys[1].from, "")
	}
	return d.splice(t.keys[i-1].end, t.keys[i].end, "")
}

// comment is that of a line from off on, "" if there is none; end is after the line.
func (d *Doc) comment(off, end int) string {
	if i := bytes.IndexByte(d.src[off:end], '#'); i >= 0 {
		return string(d.src[off+i : end])
	}
	return ""
}

// removeTable takes out a heading and its one key, whose line is [start, end), with one of the blank lines around them.
func (d *Doc) removeTable(t *table, start, end int, comment string) []byte {
	rest := d.comment(t.heading, t.body) + string(d.src[t.body:start]) + comment
	if strings.TrimSpace(rest) == "" && (t.heading == 0 || d.blank(d.lineStart(t.heading-1))) && end < len(d.src) && d.blank(end) {
		end = d.lineEnd(end)
	}
	return d.splice(t.heading, end, rest)
}

// blank reports whether the line that starts at off is empty.
func (d *Doc) blank(off int) bool { return len(bytes.TrimSpace(d.src[off:d.lineEnd(off)])) == 0 }

// AddMeal appends a meal; pairs are keys and their values as TOML.
func (d *Doc) AddMeal(pairs [][2]string) []byte {
	nl := d.newline()
	var b strings.Builder
	b.WriteString("[[meal]]" + nl)
	for _, p := range pairs {
		b.WriteString(pad(p[0], 8) + "= " + p[1] + nl)
	}
	return d.appendText(b.String())
}

// appendText adds text at the end, after one blank line; where there are some, these stay.
func (d *Doc) appendText(text string) []byte {
	nl, end := d.newline(), len(d.src)
	switch {
	case len(bytes.TrimSpace(d.src[d.start:])) == 0:
	case d.src[end-1] != '\n':
		text = nl + nl + text
	case !d.blank(d.lineStart(end - 1)):
		text = nl + text
	}
	return d.splice(end, end, text)
}

// RemoveMeal takes a meal out with the comments above its heading, and the last one with the blank line that was put before it.
func (d *Doc) RemoveMeal(n int) []byte {
	for i, t := range d.tables {
		if t.name != "meal" {
			continue
		}
		if n == 0 {
			from, to := d.above(t.heading), d.end(i)
			if to == len(d.src) && from > d.start && d.blank(d.lineStart(from-1)) {
				from = d.lineStart(from - 1)
			}
			return d.splice(from, to, "")
		}
		n--
	}
	return d.src
}

// MealPairs gives a meal's keys and values as they are written, for a copy.
func (d *Doc) MealPairs(n int) (pairs [][2]string) {
	t := d.table(Key{Table: "meal", Meal: n})
	if t == nil {
		return nil
	}
	for _, e := range t.keys {
		pairs = append(pairs, [2]string{e.name, string(d.src[e.value:e.end])})
	}
	sort.SliceStable(pairs, func(i, j int) bool { return order[pairs[i][0]] < order[pairs[j][0]] })
	return pairs
}
