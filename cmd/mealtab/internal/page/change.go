package page

import (
	"html/template"
	"slices"
	"strconv"

	"mealtab/compiler/profile"
)

// changeView is the view in which a plan is changed.
type changeView struct {
	frame
	Cards    []card
	Boards   []string
	WeekName string
}

// card is a meal with its fields.
type card struct {
	Name   string
	ID     string // of the meal
	Fields map[string]string
	Issues map[string][]Issue
	Own    []Issue // about the meal as a whole
	MealState
}

func (s *session) cards() changeView {
	v := changeView{frame: s.frame("change"), Boards: profile.Names()}
	if s.good != nil {
		_, v.WeekName = s.firstDay(s.good, presetOf(s.good, ""))
	}
	for _, m := range v.State.Meals {
		v.Cards = append(v.Cards, v.card(m))
	}
	return v
}

// card gathers what concerns a meal.
func (v *changeView) card(m MealState) card {
	id := strconv.Itoa(m.ID)
	c := card{ID: id, MealState: m, Fields: map[string]string{}, Issues: map[string][]Issue{}, Own: v.State.Issues["meal."+id]}
	for _, name := range slices.Concat(mealFields, choiceFields) {
		c.Fields[name] = v.State.Fields[mealField(m.ID, name)]
		c.Issues[name] = v.State.Issues[mealField(m.ID, name)]
	}
	c.Name = c.Fields["name"]
	return c
}

// newCard is the number that stands in the pattern from which the script makes the cards of new meals.
const newCard = "NEW"

// Pattern is a card without a meal.
func (v changeView) Pattern() card {
	c := v.card(MealState{ID: -1, Choice: Choice{Kind: kindDaily, Interval: 1, Nth: 1}})
	c.ID = newCard
	return c
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
	"field": func(id, name string) string { return "meal." + id + "." + name },
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
