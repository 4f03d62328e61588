package page

import (
	"html/template"
	"slices"

	"mealtab/compiler/profile"
)

// changeView is the view in which a plan is changed.
type changeView struct {
	frame
	Cards    []card
	NoCards  string // why the text cannot be shown as cards
	Calendar bool   // it is iCalendar
	Boards   []string
	WeekName string
}

// card is a meal with its fields.
type card struct {
	N      int
	Name   string
	Fields map[string]string
	Issues map[string][]Issue
	Own    []Issue // about the meal as a whole
	MealState
}

func (s *session) cards() changeView {
	v := changeView{frame: s.frame("change"), Calendar: s.calendar(), Boards: profile.Names()}
	if s.good != nil {
		_, v.WeekName = s.firstDay(s.good, presetOf(s.good, ""))
	}
	if s.docErr != nil {
		v.NoCards = s.docErr.Error()
		return v
	}
	for n, m := range v.State.Meals {
		c := card{N: n, MealState: m, Fields: map[string]string{}, Issues: map[string][]Issue{}, Own: v.State.Issues[mealField(n, "")[:len(mealField(n, ""))-1]]}
		for _, name := range mealFields {
			c.Fields[name] = v.State.Fields[mealField(n, name)]
			c.Issues[name] = v.State.Issues[mealField(n, name)]
		}
		c.Name = c.Fields["name"]
		v.Cards = append(v.Cards, c)
	}
	return v
}

// input is a field with what is said about it, for the template.
type input struct {
	ID, Label, Help, Value string
	Kind                   string // text, date, number
	Issues                 []Issue
	List                   string // id of a list of suggestions
}

// nthWord is a place of a weekday in its month.
type nthWord struct {
	Value int
	Word  string
}

var templateFuncs = template.FuncMap{
	"input": func(id, label, help, value, kind string, issues []Issue) input {
		return input{ID: id, Label: label, Help: help, Value: value, Kind: kind, Issues: issues}
	},
	"field": mealField,
	"has":   func(list []int, n int) bool { return slices.Contains(list, n) },
	"weekdays": func() []string {
		return []string{"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"}
	},
	"months": func() []string {
		return []string{"January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"}
	},
	"nths": func() []nthWord {
		return []nthWord{{1, "the first"}, {2, "the second"}, {3, "the third"}, {4, "the fourth"}, {5, "the fifth"}, {-1, "the last"}}
	},
	"plus":  func(a, b int) int { return a + b },
	"short": func(s string) string { return s[:3] },
}
