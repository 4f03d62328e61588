package page

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// model is what the plan must be: its text, changed by lines and patterns with none of the program's own code, and which meal is which.
type model struct {
	text       string
	ids        []int
	next       int
	revision   int
	file       string
	undo, redo []past
}

type past struct {
	text string
	ids  []int
}

// zoo is a plan with comments in all places.
const zoo = `# Two cats (invented).
plan = "Juniper and Moss"   # a name
zone = "Europe/Lisbon"
late = "2h"

[wheel]
pocket = "6 g"   # weighed

# Mornings.
# Not on Sundays.
[[meal]]
name    = "breakfast"   # early
portion = "18 g"
rrule   = "FREQ=WEEKLY;BYDAY=MO,TU,WE" # days
at      = ["07:00"]

[[meal]]
# inside
name    = "supper"
portion = "24 g"        # most
rrule   = "FREQ=WEEKLY;BYDAY=SA,SU"
at      = ["18:30"]     # late


# Last.
[[meal]]
name    = "night"
portion = "6 g"
rrule   = "FREQ=WEEKLY;BYDAY=MO,FR"
at      = ["23:00"]
`

func newModel() *model {
	return &model{text: zoo, ids: []int{0, 1, 2}, next: 3, revision: 1, file: zoo}
}

// set is a change of the text.
func (m *model) set(text string, ids []int) {
	if text == m.text {
		return
	}
	m.undo = append(m.undo, past{m.text, m.ids})
	if len(m.undo) > mostSteps {
		m.undo = m.undo[1:]
	}
	m.redo = nil
	m.text, m.ids = text, ids
	m.revision++
}

func (m *model) travel(from, to *[]past) {
	if len(*from) == 0 {
		return
	}
	p := (*from)[len(*from)-1]
	*from = (*from)[:len(*from)-1]
	*to = append(*to, past{m.text, m.ids})
	m.text, m.ids = p.text, p.ids
	m.revision++
}

// blocks are the text before the meals and that of each: the comments right above its heading, and all up to those of the next.
func (m *model) blocks() []string {
	lines := strings.SplitAfter(m.text, "\n")
	var starts []int
	for i, l := range lines {
		if strings.HasPrefix(l, "[[meal]]") {
			for i > 0 && strings.HasPrefix(lines[i-1], "#") {
				i--
			}
			starts = append(starts, i)
		}
	}
	out := []string{}
	from := 0
	for _, s := range append(starts, len(lines)) {
		out = append(out, strings.Join(lines[from:s], ""))
		from = s
	}
	return out
}

// line is the value of a key in a block, and the comment after it.
var modelLine = map[string]*regexp.Regexp{}

func init() {
	for _, key := range []string{"name", "portion", "rrule", "at"} {
		modelLine[key] = regexp.MustCompile(`(?m)^(` + key + ` *= )("[^"]*"|\[[^\]]*\])`)
	}
}

func (m *model) value(place int, key string) string {
	v := modelLine[key].FindStringSubmatch(m.blocks()[place+1])[2]
	return strings.ReplaceAll(strings.Trim(v, `[]"`), `"`, "")
}

func (m *model) put(place int, key, value string) {
	b := m.blocks()
	b[place+1] = modelLine[key].ReplaceAllStringFunc(b[place+1], func(l string) string {
		return modelLine[key].FindStringSubmatch(l)[1] + value
	})
	m.set(strings.Join(b, ""), m.ids)
}

func (m *model) remove(place int) {
	b := m.blocks()
	text := strings.Join(slices.Delete(b, place+1, place+2), "")
	if place == len(m.ids)-1 && strings.HasSuffix(text, "\n\n") {
		text = strings.TrimSuffix(text, "\n") // the blank line before the last meal goes with it
	}
	m.set(text, slices.Delete(slices.Clone(m.ids), place, place+1))
}

func (m *model) copy(place int) {
	name := strings.TrimRight(m.value(place, "name"), " 0123456789")
	n, unique := 2, ""
	for ; unique == "" || slices.ContainsFunc(m.names(), func(s string) bool { return strings.EqualFold(s, unique) }); n++ {
		unique = fmt.Sprintf("%s %d", name, n)
	}
	m.append(unique, `"`+m.value(place, "portion")+`"`, m.value(place, "rrule"), modelLine["at"].FindStringSubmatch(m.blocks()[place+1])[2])
}

// add is a meal whose portion and times are still to be said.
func (m *model) add() {
	n := 2
	for slices.Contains(m.names(), fmt.Sprintf("meal %d", n)) {
		n++
	}
	m.append(fmt.Sprintf("meal %d", n), `""`, "FREQ=DAILY", "[]")
}

func (m *model) append(name, portion, rule, at string) {
	text := strings.TrimRight(m.text, "\n \t") + fmt.Sprintf("\n\n[[meal]]\nname    = %q\nportion = %s\nrrule   = %q\nat      = %s\n", name, portion, rule, at)
	m.set(text, append(slices.Clone(m.ids), m.next))
	m.next++
}

func (m *model) names() (list []string) {
	for i := range m.ids {
		list = append(list, m.value(i, "name"))
	}
	return list
}

// toggle ticks a day or takes it away.
func (m *model) toggle(place, day int) {
	rule := m.value(place, "rrule")
	days := ""
	if i := strings.Index(rule, "BYDAY="); i >= 0 {
		days = rule[i+len("BYDAY="):]
	}
	var out []string
	for i, code := range []string{"MO", "TU", "WE", "TH", "FR", "SA", "SU"} {
		if strings.Contains(days, code) != (i == day) {
			out = append(out, code)
		}
	}
	m.put(place, "rrule", `"FREQ=WEEKLY;BYDAY=`+strings.Join(out, ",")+`"`)
}

func (m *model) weekly(place int) bool {
	return strings.HasPrefix(m.value(place, "rrule"), "FREQ=WEEKLY")
}

func (m *model) days(place int) (list []int) {
	for i, code := range []string{"MO", "TU", "WE", "TH", "FR", "SA", "SU"} {
		if strings.Contains(strings.TrimPrefix(m.value(place, "rrule"), "FREQ=WEEKLY"), code) {
			list = append(list, i)
		}
	}
	return list
}
