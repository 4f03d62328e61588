package page

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"mealtab/cmd/mealtab/internal/page/edit"
)

// session is the text being changed, with what came before it.
type session struct {
	o         Options
	text      []byte
	saved     []byte // as it is in the file
	undo      []step // texts before each change, the newest last
	redo      []step
	version   int    // of the text; every change counts
	structure int    // changes when cards must be built anew
	group     string // of the newest change: changes of one group are one step
	c         *Compiled
	good      *Compiled // the newest that was right, for the pictures
	doc       *edit.Doc // nil: the text cannot be shown as cards
	docErr    error
}

type step struct {
	text      []byte
	structure int
}

// mostSteps bounds the memory of undo.
const mostSteps = 500

func newSession(o Options) *session {
	s := &session{o: o, saved: o.Text}
	if o.New {
		s.saved = nil
	}
	s.set(o.Text)
	return s
}

// set makes a text the present one and compiles it.
func (s *session) set(text []byte) {
	s.text = text
	s.version++
	s.doc, s.docErr = nil, nil
	if s.calendar() {
		s.docErr = errors.New("this plan is a calendar file (.ics)")
	} else {
		s.doc, s.docErr = edit.Parse(text)
	}
	s.c = s.o.Compile(s.fileName(), text)
	if s.c.ok() {
		s.good = s.c
	}
}

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

// change makes a new text the present one; changes that follow each other in one group are undone together.
func (s *session) change(text []byte, group string, structural bool) {
	if bytes.Equal(text, s.text) {
		return
	}
	if group == "" || group != s.group || len(s.undo) == 0 {
		s.undo = append(s.undo, step{s.text, s.structure})
		if len(s.undo) > mostSteps {
			s.undo = s.undo[1:]
		}
	}
	s.group, s.redo = group, nil
	if structural {
		s.structure = s.version + 1
	}
	s.set(text)
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
	*to = append(*to, step{s.text, s.structure})
	s.group = ""
	s.set(last.text)
	s.structure = s.version // any card may have changed
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
	s.change(now, "", true)
	s.saved = now
	return nil
}

// mealKey is a key of a meal.
func mealKey(n int, name string) edit.Key { return edit.Key{Table: "meal", Meal: n, Name: name} }

// addMeal appends a meal that is right as it stands: at noon, of the size of the first meal's portion.
func (s *session) addMeal() {
	portion := edit.Quote("1 pocket")
	if p := s.doc.Text(mealKey(0, "portion")); p != "" {
		portion = edit.Quote(p)
	}
	s.change(s.doc.AddMeal([][2]string{{"name", edit.Quote(s.newName("meal"))}, {"portion", portion}, {"rrule", edit.Quote("FREQ=DAILY")}, {"at", `["12:00"]`}}), "", true)
}

// copyMeal appends a copy under another name.
func (s *session) copyMeal(n int) {
	pairs := s.doc.MealPairs(n)
	for i := range pairs {
		if pairs[i][0] == "name" {
			pairs[i][1] = edit.Quote(s.newName(s.doc.Text(mealKey(n, "name"))))
		}
	}
	s.change(s.doc.AddMeal(pairs), "", true)
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
