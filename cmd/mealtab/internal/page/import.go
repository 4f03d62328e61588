package page

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"path/filepath"
	"strings"

	"mealtab/compiler/edit"
	"mealtab/compiler/plan"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// importFile takes meals from a calendar, or a whole plan.
func (s *Server) importFile(w http.ResponseWriter, r *http.Request) {
	var q struct {
		Tab              string
		Number, Revision int
		Change           struct{ Name, Text string }
	}
	err := decodeRequest(w, r, &q)
	s.mu.Lock()
	defer s.mu.Unlock()
	var a answered
	if err == nil {
		err = s.s.ask(request{Tab: q.Tab, Number: q.Number, Revision: q.Revision}, func(s *session, _ string, _ json.RawMessage) (err error) {
			a.Said, a.Left, err = s.take(filepath.Base(q.Change.Name), []byte(q.Change.Text))
			return err
		})
	}
	s.answer(w, a, err)
}

// take replaces the meals by those of a calendar file, or the whole text by that of a plan. left is what was left out, and why.
func (s *session) take(name string, text []byte) (said string, left []string, err error) {
	if s.calendar() {
		return "", nil, errors.New("this plan is a calendar file: nothing can be put into it here")
	}
	if !strings.EqualFold(filepath.Ext(name), ".ics") {
		c := s.o.Compile(name, text)
		if c.Plan == nil {
			return "", nil, fmt.Errorf("%s cannot be taken over: %s", name, faultWords(c.Diagnostics, nil))
		}
		s.change(text, "", nil)
		return fmt.Sprintf("The plan %s is taken over.", name), nil, nil
	}
	if s.doc == nil {
		return "", nil, s.docErr
	}
	return s.takeCalendar(name, text)
}

// faultWords is the first error, with its line where it has one; lineOf gives the line that the owner sees (nil: the same).
func faultWords(ds plan.Diagnostics, lineOf func(int) int) string {
	for _, d := range ds {
		if d.Severity != plan.Error {
			continue
		}
		line := d.Pos.Line
		if lineOf != nil {
			line = lineOf(line)
		}
		if line > 0 {
			return fmt.Sprintf("line %d: %s", line, d.Message)
		}
		return d.Message
	}
	return "it has nothing that can be served"
}

// takeCalendar takes each event for itself, so that one that is no meal keeps no other out. Wheel, zone and board stay those of the plan.
func (s *session) takeCalendar(name string, text []byte) (said string, left []string, err error) {
	cal, err := splitCalendar(text)
	if err != nil {
		return "", nil, fmt.Errorf("%s cannot be taken over: %w", name, err)
	}
	d := s.doc
	for d.Meals() > 0 {
		d = reparse(d, d.RemoveMeal(0))
	}
	taken := map[string]bool{}
	for _, e := range cal.events {
		why := ""
		d, why = s.takeEvent(d, cal, e, taken)
		if why != "" {
			left = append(left, fmt.Sprintf("“%s” (line %d): %s", e.title, e.line, why))
		}
	}
	if d.Meals() == 0 {
		return "", left, fmt.Errorf("%s has no event that can be a meal here, so that nothing is changed", name)
	}
	s.change(d.Source(), "", s.meals.all(d.Meals()))
	said = fmt.Sprintf("%s taken over from %s.", units.Count(d.Meals(), "meal"), name)
	if len(left) > 0 {
		said += fmt.Sprintf(" %s left out: see In and out.", units.Count(len(left), "event"))
	}
	return said, left, nil
}

// takeEvent adds the meals of an event; why says why not.
func (s *session) takeEvent(d *edit.Doc, cal *calendarFile, e calendarEvent, taken map[string]bool) (_ *edit.Doc, why string) {
	if d.Meals() >= table.MaxMeals {
		return d, fmt.Sprintf("a plan has at most %d meals", table.MaxMeals)
	}
	src, lineOf := cal.alone(e, s.calendarKeys())
	c := s.o.Compile("event.ics", src)
	if c.Plan == nil {
		return d, faultWords(c.Diagnostics, lineOf)
	}
	zone := s.doc.Text(planFields["plan.zone"])
	if zone != "" && c.Plan.Zone != zone {
		return d, fmt.Sprintf("its times are those of %s, the plan's of %s", c.Plan.Zone, zone)
	}
	if w := c.Plan.Wheel; cal.pocket && w != nil && w.PocketMilligrams > 0 && !d.Has(planFields["wheel.pocket"]) {
		d = reparse(d, d.Set(planFields["wheel.pocket"], edit.Quote(plan.Portion{Milligrams: w.PocketMilligrams}.String())))
	}
	if zone == "" {
		d = reparse(d, d.Set(planFields["plan.zone"], edit.Quote(c.Plan.Zone)))
	}
	for i := range c.Plan.Meals {
		m := &c.Plan.Meals[i]
		m.Name = freeName(m.Name, taken)
		d = reparse(d, d.AddMeal(pairs(c.Plan, m)))
	}
	return d, ""
}

// freeName numbers meals of the same name.
func freeName(name string, taken map[string]bool) string {
	free := name
	for n := 2; taken[strings.ToLower(free)]; n++ {
		free = fmt.Sprintf("%s (%d)", name, n)
	}
	taken[strings.ToLower(free)] = true
	return free
}

// calendarKeys are the lines that tell a calendar what the plan says: its zone, and what a pocket holds, without which no weight can be read.
func (s *session) calendarKeys() (lines []string) {
	if zone := s.doc.Text(planFields["plan.zone"]); zone != "" {
		lines = append(lines, "X-WR-TIMEZONE:"+zone)
	}
	if pocket := s.doc.Text(planFields["wheel.pocket"]); pocket != "" {
		lines = append(lines, "X-MEALTAB-POCKET:"+pocket)
	}
	return lines
}

// calendarFile is an iCalendar file (RFC 5545) taken apart by its lines, as far as that is needed to look at its events one by one.
type calendarFile struct {
	head   []calendarLine // properties of the calendar and its time zones
	pocket bool           // X-MEALTAB-POCKET is among them
	events []calendarEvent
}

type calendarLine struct {
	n    int // from 1
	text string
}

// calendarEvent is an event with its overrides, which have the same UID.
type calendarEvent struct {
	uid, title string
	line       int
	lines      []calendarLine
}

// splitCalendar takes a calendar apart.
func splitCalendar(text []byte) (*calendarFile, error) {
	cal := &calendarFile{}
	text = bytes.TrimPrefix(text, []byte("\xEF\xBB\xBF"))
	var event *calendarEvent
	began := false
	for i, raw := range strings.Split(string(text), "\n") {
		line := calendarLine{i + 1, strings.TrimSuffix(raw, "\r")}
		word := strings.ToUpper(strings.TrimSpace(line.text))
		switch {
		case word == "BEGIN:VCALENDAR" && began, word == "END:VCALENDAR", word == "" && event == nil:
			continue
		case word == "BEGIN:VCALENDAR":
			began = true
		case word == "BEGIN:VEVENT" && event == nil:
			event = &calendarEvent{line: line.n}
		}
		if event == nil {
			cal.addHead(line, word)
			continue
		}
		event.lines = append(event.lines, line)
		if word == "END:VEVENT" {
			cal.add(event)
			event = nil
		}
	}
	switch {
	case !began:
		return nil, errors.New("an iCalendar file begins with BEGIN:VCALENDAR")
	case event != nil:
		return nil, fmt.Errorf("line %d: the event that begins here has no end", event.line)
	case len(cal.events) == 0:
		return nil, errors.New("the calendar has no events")
	}
	return cal, nil
}

func (cal *calendarFile) addHead(line calendarLine, word string) {
	cal.pocket = cal.pocket || strings.HasPrefix(word, "X-MEALTAB-POCKET")
	cal.head = append(cal.head, line)
}

// add puts an event to the one whose override it is, or after the others.
func (cal *calendarFile) add(e *calendarEvent) {
	e.uid, e.title = e.value("UID"), e.value("SUMMARY")
	if e.title == "" {
		e.title = "an event without a title"
	}
	for i := range cal.events {
		if e.uid != "" && cal.events[i].uid == e.uid {
			cal.events[i].lines = append(cal.events[i].lines, e.lines...)
			return
		}
	}
	cal.events = append(cal.events, *e)
}

// value is that of the first property of a name, unfolded (§3.1).
func (e *calendarEvent) value(name string) (v string) {
	found := false
	for _, l := range e.lines {
		if found && (strings.HasPrefix(l.text, " ") || strings.HasPrefix(l.text, "\t")) {
			v += l.text[1:]
			continue
		}
		if found {
			break
		}
		head, value, ok := strings.Cut(l.text, ":")
		head, _, _ = strings.Cut(head, ";")
		if found = ok && strings.EqualFold(strings.TrimSpace(head), name); found {
			v = value
		}
	}
	return strings.TrimSpace(v)
}

// alone is a calendar with one event, and with the plan's own keys in the place of the calendar's; lineOf leads back to the lines of the file.
// Weights can be read without knowing what a pocket holds: whether the plan needs it is said where the plan is shown.
func (cal *calendarFile) alone(e calendarEvent, keys []string) (src []byte, lineOf func(int) int) {
	has := func(name string) bool {
		return strings.Contains(strings.Join(keys, "\n"), name+":")
	}
	if !cal.pocket && !has("X-MEALTAB-POCKET") {
		keys = append(keys, "X-MEALTAB-POCKET:1 g")
	}
	var lines []calendarLine
	skip := false
	for i, l := range cal.head {
		folded := strings.HasPrefix(l.text, " ") || strings.HasPrefix(l.text, "\t")
		name, _, _ := strings.Cut(strings.ToUpper(l.text), ":")
		name, _, _ = strings.Cut(name, ";")
		skip = has(name) || skip && folded
		if !skip {
			lines = append(lines, l)
		}
		if i == 0 {
			for _, k := range keys {
				lines = append(lines, calendarLine{0, k})
			}
		}
	}
	lines = append(append(lines, e.lines...), calendarLine{0, "END:VCALENDAR"})
	var b bytes.Buffer
	for _, l := range lines {
		b.WriteString(l.text + "\r\n")
	}
	return b.Bytes(), func(n int) int {
		if n < 1 || n > len(lines) {
			return 0
		}
		return lines[n-1].n
	}
}
