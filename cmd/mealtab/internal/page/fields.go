package page

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"mealtab/compiler/edit"
)

// Fields of the page have ids: "plan.zone" is a key at the top, "wheel.pocket" one of a table, "meal.7.portion" one of the meal whose number
// is 7 (see [identities]). Of a meal, "times" and "from" are two views of dtstart and at.

// planFields are those that do not belong to a meal.
var planFields = map[string]edit.Key{
	"plan.plan": {Name: "plan"}, "plan.zone": {Name: "zone"}, "plan.late": {Name: "late"}, "plan.board": {Name: "board"}, "plan.gap": {Name: "gap"},
	"wheel.pocket": {Table: "wheel", Name: "pocket"}, "wheel.turn": {Table: "wheel", Name: "turn"}, "wheel.trim": {Table: "wheel", Name: "trim"},
	"hopper.holds":   {Table: "hopper", Name: "holds"},
	"button.portion": {Table: "button", Name: "portion"}, "button.per-hour": {Table: "button", Name: "per-hour"}, "button.per-day": {Table: "button", Name: "per-day"},
}

// mealFields are those of a meal.
var mealFields = []string{"name", "portion", "times", "from", "rrule", "exdate", "rdate", "presets"}

func mealField(meal int, name string) string { return fmt.Sprintf("meal.%d.%s", meal, name) }

// mealOf takes the id of a meal's field apart, or that of the meal (then the name is empty), and finds the place of the meal.
func (s *session) mealOf(id string) (n int, name string, err error) {
	parts := strings.SplitN(id+".", ".", 3)
	if len(parts) != 3 || parts[0] != "meal" {
		return 0, "", fmt.Errorf("there is no field %q", id)
	}
	name = strings.TrimSuffix(parts[2], ".")
	meal, err := strconv.Atoi(parts[1])
	if err != nil {
		return 0, "", fmt.Errorf("there is no field %q", id)
	}
	n, err = s.placeOf(meal)
	return n, name, err
}

// placeOf is where a meal stands.
func (s *session) placeOf(meal int) (int, error) {
	if s.doc == nil {
		return 0, s.docErr
	}
	n, ok := s.meals.place(meal)
	if !ok {
		return 0, errors.New("this meal is not in the plan any more")
	}
	return n, nil
}

// fields gives the value of every field.
func (s *session) fields() map[string]string {
	values := map[string]string{}
	if s.doc == nil {
		return values
	}
	for id, k := range planFields {
		values[id] = s.doc.Text(k)
	}
	for n, meal := range s.meals.ids {
		for _, name := range mealFields {
			values[mealField(meal, name)] = s.mealValue(n, name)
		}
	}
	return values
}

// stampForm takes a date-time apart.
var stampForm = regexp.MustCompile(`^(\d{4}-\d\d-\d\d)(?:[Tt ](\d\d:\d\d)(:\d\d(?:\.\d+)?)?(.*))?$`)

func (s *session) mealValue(n int, name string) string {
	start := stampForm.FindStringSubmatch(s.doc.Text(mealKey(n, "dtstart")))
	switch name {
	case "times":
		if s.doc.Has(mealKey(n, "at")) || start == nil {
			return s.doc.Text(mealKey(n, "at"))
		}
		return start[2]
	case "from":
		if start == nil {
			return s.doc.Text(mealKey(n, "dtstart"))
		}
		return start[1]
	case "exdate", "rdate":
		words := s.doc.List(mealKey(n, name))
		for i, w := range words {
			words[i] = shortStamp(w)
		}
		return strings.Join(words, ", ")
	}
	return s.doc.Text(mealKey(n, name))
}

// shortStamp leaves out what people do not write: the T and seconds of zero.
func shortStamp(w string) string {
	m := stampForm.FindStringSubmatch(w)
	if m == nil || m[2] == "" || m[3] != "" && m[3] != ":00" {
		return w
	}
	return m[1] + " " + m[2] + m[4]
}

// setField puts what was typed into the text.
func (s *session) setField(id, value, group string) error {
	if s.doc == nil {
		return s.docErr
	}
	value = strings.TrimSpace(value)
	if k, ok := planFields[id]; ok {
		s.change(s.put(s.doc, k, value), group, s.meals.ids)
		return nil
	}
	n, name, err := s.mealOf(id)
	if err != nil {
		return err
	}
	text, err := s.setMeal(n, name, value)
	if err == nil {
		s.change(text, group, s.meals.ids)
	}
	return err
}

// put writes a scalar; an empty one is taken out, except where the plan must have it: then the message stands at the field.
func (s *session) put(d *edit.Doc, k edit.Key, value string) []byte {
	must := k.Name == "zone" || k.Name == "name" || k.Name == "portion" && k.Table == "meal"
	if value == "" && !must {
		return d.Remove(k)
	}
	if _, err := strconv.Atoi(value); err == nil && (k.Name == "per-hour" || k.Name == "per-day") {
		return d.Set(k, value)
	}
	return d.Set(k, edit.Quote(value))
}

func (s *session) setMeal(n int, name, value string) ([]byte, error) {
	k := mealKey(n, name)
	switch name {
	case "name", "portion", "rrule":
		return s.put(s.doc, k, value), nil
	case "times":
		return s.setTimes(n, value)
	case "from":
		return s.setFrom(n, value)
	case "exdate", "rdate":
		words := edit.Split(value)
		if len(words) == 0 {
			return s.doc.Remove(k), nil
		}
		return s.doc.Set(k, edit.Moments(words)), nil
	case "presets":
		words := edit.Split(value)
		if len(words) == 0 {
			return s.doc.Remove(k), nil
		}
		return s.doc.Set(k, edit.Strings(words)), nil
	}
	return nil, fmt.Errorf("there is no field %q", name)
}

// clockForm is a time of day in full.
var clockForm = regexp.MustCompile(`^\d\d:\d\d$`)

// setTimes changes the times of day. One time of a meal whose start says it is changed there, with the exceptions that name it;
// several go into at, and the start becomes a date.
func (s *session) setTimes(n int, value string) ([]byte, error) {
	words := edit.Split(strings.ReplaceAll(value, " ", ","))
	for i, w := range words {
		words[i] = fullClock(w)
	}
	at, start := mealKey(n, "at"), mealKey(n, "dtstart")
	m := stampForm.FindStringSubmatch(s.doc.Text(start))
	timed := m != nil && m[2] != ""
	switch {
	case len(words) == 0:
		return s.doc.Set(at, "[]"), nil // so that the field says what is missing
	case len(words) == 1 && timed && !s.doc.Has(at) && clockForm.MatchString(words[0]):
		text := s.doc.Set(start, m[1]+"T"+words[0]+":00"+m[4])
		return moveExceptions(text, n, m[2], words[0])
	case s.singleDates(n):
		return nil, fmt.Errorf("the times of single dates stand with the dates: write 2026-12-25 10:00")
	}
	text := s.doc.Set(at, edit.Strings(words))
	if timed {
		d, err := edit.Parse(text)
		if err != nil {
			return nil, err
		}
		text = d.Set(start, m[1])
	}
	return text, nil
}

// fullClock makes 7:00 07:00, and 7 07:00.
func fullClock(w string) string {
	if n, err := strconv.Atoi(w); err == nil && n >= 0 && n < 24 && len(w) <= 2 {
		return fmt.Sprintf("%02d:00", n)
	}
	if len(w) == 4 && w[1] == ':' {
		return "0" + w
	}
	return w
}

// moveExceptions brings exceptions that name the old time of day to the new one: they mean the meal, whatever its time.
func moveExceptions(text []byte, n int, from, to string) ([]byte, error) {
	d, err := edit.Parse(text)
	if err != nil {
		return nil, err
	}
	k := mealKey(n, "exdate")
	words, moved := d.List(k), false
	for i, w := range words {
		if m := stampForm.FindStringSubmatch(w); m != nil && m[2] == from {
			words[i], moved = m[1]+"T"+to+":00"+m[4], true
		}
	}
	if !moved {
		return text, nil
	}
	return d.Set(k, edit.Moments(words)), nil
}

// setFrom changes the date on which a meal begins and keeps its time; without a date the time moves into at.
func (s *session) setFrom(n int, value string) ([]byte, error) {
	k := mealKey(n, "dtstart")
	m := stampForm.FindStringSubmatch(s.doc.Text(k))
	timed := m != nil && m[2] != ""
	if value != "" {
		if timed && stampForm.MatchString(value) && len(value) == len("2026-12-01") {
			value += "T" + m[2] + ":00" + m[4]
		}
		return s.doc.Set(k, edit.Moment(value)), nil
	}
	text := s.doc.Remove(k)
	if !timed || s.doc.Has(mealKey(n, "at")) {
		return text, nil
	}
	d, err := edit.Parse(text)
	if err != nil {
		return nil, err
	}
	return d.Set(mealKey(n, "at"), edit.Strings([]string{m[2]})), nil
}
