package page

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"mealtab/compiler/edit"
	"mealtab/compiler/plan"
	"mealtab/compiler/table"
)

// session is the text being changed, with what came before it.
type session struct {
	o        Options
	text     []byte
	saved    []byte // as it is in the file
	undo     []step // texts before each change, the newest last
	redo     []step
	revision int            // of the text; every change counts
	makers   []string       // tab that made each revision; makers[0] is of no revision
	tab      string         // whose change is being made
	done     map[string]int // newest change of each tab that was dealt with
	group    string         // of the newest change: changes of one group are one step
	c        *Compiled
	good     *Compiled // the newest that was right, for the pictures
	doc      *edit.Doc // nil: the text cannot be shown as cards
	docErr   error
	meals    identities
}

type step struct {
	text  []byte
	meals identities
}

// mostSteps bounds the memory of undo.
const mostSteps = 500

func newSession(o Options) *session {
	s := &session{o: o, saved: o.Text, done: map[string]int{}, makers: []string{""}}
	if o.New {
		s.saved = nil
	}
	s.set(o.Text, nil)
	return s
}

// set makes a text the present one and compiles it. ids are those of its meals, in order; nil: they are found by comparing it with the text
// before.
func (s *session) set(text []byte, ids []int) {
	s.text = text
	s.revision++
	s.makers = append(s.makers, s.tab)
	s.doc, s.docErr = s.read(text)
	if s.doc != nil {
		s.meals = s.meals.follow(s.doc, ids)
	}
	if n := mealHeadings(text); n > table.MaxMeals {
		s.c = &Compiled{Diagnostics: plan.Diagnostics{{Severity: plan.Error, Message: s.docErr.Error()}}}
		return
	}
	s.c = s.o.Compile(s.fileName(), text)
	if s.c.ok() {
		s.good = s.c
	}
}

// read finds the keys of a text. A text that has more meals than a table can hold is not looked at any further: that takes time, and nothing can
// come of it.
func (s *session) read(text []byte) (*edit.Doc, error) {
	if s.calendar() {
		return nil, errors.New("this plan is a calendar file (.ics)")
	}
	if n := mealHeadings(text); n > table.MaxMeals {
		return nil, fmt.Errorf("a plan has at most %d meals, this text has %d", table.MaxMeals, n)
	}
	return edit.Parse(text)
}

// mealHeading is the line that begins a meal in TOML.
var mealHeading = regexp.MustCompile(`(?m)^[ \t]*\[\[[ \t]*["']?meal["']?[ \t]*\]\]`)

func mealHeadings(text []byte) int { return len(mealHeading.FindAllIndex(text, -1)) }

// calendar reports whether the plan is iCalendar, which is not changed here.
func (s *session) calendar() bool {
	return bytes.HasPrefix(bytes.ToUpper(bytes.TrimLeft(s.text, "\xEF\xBB\xBF \t\r\n")), []byte("BEGIN:VCALENDAR"))
}

// fileName names the plan in messages.
func (s *session) fileName() string {
	if s.o.Name == "" {
		return "plan.toml"
	}
	return s.o.Name
}

// Unsaved is the text, if it is not that of the file.
func (s *Server) Unsaved() (text []byte, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.s.text, s.s.dirty() && s.o.Name != ""
}

func (s *session) dirty() bool { return !bytes.Equal(s.text, s.saved) }

// change makes a new text the present one, whose meals have the given ids (nil: compare); changes that follow each other in one group are
// undone together.
func (s *session) change(text []byte, group string, ids []int) {
	if bytes.Equal(text, s.text) {
		return
	}
	if group == "" || group != s.group || len(s.undo) == 0 {
		s.undo = append(s.undo, step{s.text, s.meals})
		if len(s.undo) > mostSteps {
			s.undo = s.undo[1:]
		}
	}
	s.group, s.redo = group, nil
	s.set(text, ids)
}

// back undoes the newest change; forth does it again.
func (s *session) back() { s.travel(&s.undo, &s.redo) }

func (s *session) forth() { s.travel(&s.redo, &s.undo) }

func (s *session) travel(from, to *[]step) {
	if len(*from) == 0 {
		return
	}
	last := (*from)[len(*from)-1]
	*from = (*from)[:len(*from)-1]
	*to = append(*to, step{s.text, s.meals})
	s.group = ""
	s.meals = last.meals
	s.set(last.text, last.meals.ids)
}

// errChangedOutside is a file that another program has written meanwhile.
var errChangedOutside = errors.New("the file has been changed by another program since it was read here; save again to replace it, or load it to see what it says")

// save writes the text into the plan's file. A file that has changed meanwhile is replaced only when that is asked for.
func (s *session) save(replace bool) error {
	if s.o.Name == "" {
		return errors.New("this is the built-in example: start mealtab page with the name of a file to keep a plan")
	}
	now, err := s.o.ReadFile()
	if err != nil {
		return err
	}
	if !replace && !bytes.Equal(now, s.saved) {
		return errChangedOutside
	}
	if err := s.o.WriteFile(s.text); err != nil {
		return err
	}
	s.saved, s.group = s.text, ""
	return nil
}

// reload takes the text from the file; what was here can be had back by undo.
func (s *session) reload() error {
	if s.o.Name == "" {
		return errors.New("there is no file to load")
	}
	now, err := s.o.ReadFile()
	if err != nil {
		return err
	}
	s.change(now, "", nil)
	s.saved = now
	return nil
}

// mealKey is a key of a meal.
func mealKey(n int, name string) edit.Key { return edit.Key{Table: "meal", Meal: n, Name: name} }

// fullPlan refuses one meal more than a table holds.
func (s *session) fullPlan() error {
	if s.doc.Meals() >= table.MaxMeals {
		return fmt.Errorf("the plan has %d meals, and no more go into a table", s.doc.Meals())
	}
	return nil
}

// addMeal appends a meal whose portion and times are for its owner to say: nothing is served by it before.
func (s *session) addMeal() error {
	if err := s.fullPlan(); err != nil {
		return err
	}
	text := s.doc.AddMeal([][2]string{{"name", edit.Quote(s.newName("meal"))}, {"portion", `""`}, {"rrule", edit.Quote("FREQ=DAILY")}, {"at", "[]"}})
	s.change(text, "", s.meals.with())
	return nil
}

// copyMeal appends a copy under another name.
func (s *session) copyMeal(n int) error {
	if err := s.fullPlan(); err != nil {
		return err
	}
	pairs := s.doc.MealPairs(n)
	for i := range pairs {
		if pairs[i][0] == "name" {
			pairs[i][1] = edit.Quote(s.newName(s.doc.Text(mealKey(n, "name"))))
		}
	}
	s.change(s.doc.AddMeal(pairs), "", s.meals.with())
	return nil
}

// newName is a name that no meal has.
func (s *session) newName(like string) string {
	like = strings.TrimRight(like, " 0123456789")
	for n := 2; ; n++ {
		name := fmt.Sprintf("%s %d", like, n)
		taken := false
		for i := range s.doc.Meals() {
			taken = taken || strings.EqualFold(s.doc.Text(mealKey(i, "name")), name)
		}
		if !taken {
			return name
		}
	}
}
