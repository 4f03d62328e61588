package page

import (
	"fmt"
	"html/template"

	"mealtab/compiler/plan"
	"mealtab/compiler/plan/describe"
	"mealtab/compiler/units"
)

// Issue is a diagnostic as it is shown beside a field.
type Issue struct {
	Severity string `json:"severity"` // "error" or "warning"
	Message  string `json:"message"`
	Hint     string `json:"hint,omitempty"`
	Line     int    `json:"line,omitempty"` // 0: of no line
}

// State is all that the script of the page shows after a change.
type State struct {
	Revision int                `json:"revision"` // of the plan; what is changed next must name it
	Title    string             `json:"title"`
	Fields   map[string]string  `json:"fields"`
	Issues   map[string][]Issue `json:"issues"` // by field
	General  []Issue            `json:"general"`
	Meals    []MealState        `json:"meals"`    // in order
	NoCards  string             `json:"noCards"`  // why the text cannot be shown as cards
	Calendar bool               `json:"calendar"` // it is iCalendar, which is not changed here
	Source   string             `json:"source"`   // the text
	Errors   int                `json:"errors"`
	Warnings int                `json:"warnings"`
	Dirty    bool               `json:"dirty"`
	CanUndo  bool               `json:"canUndo"`
	CanRedo  bool               `json:"canRedo"`
	Week     template.HTML      `json:"week"`
	Summary  string             `json:"summary"`
	Brief    string             `json:"brief"`   // the summary where there is little room
	Verdict  string             `json:"verdict"` // "good", "look" (warnings) or "bad" (errors)
}

// MealState is what a card says about its meal beside its fields.
type MealState struct {
	ID     int    `json:"id"`
	Words  string `json:"words"`
	Choice Choice `json:"choice"`
	Color  int    `json:"color"`
}

func (s *session) state() State {
	st := State{
		Revision: s.revision, Title: s.title(), Fields: s.fields(), Source: string(s.text), Calendar: s.calendar(),
		Dirty: s.dirty(), CanUndo: len(s.undo) > 0, CanRedo: len(s.redo) > 0, Meals: []MealState{},
	}
	if s.docErr != nil {
		st.NoCards = sentence(s.docErr.Error())
	}
	st.Issues, st.General = s.issues()
	for _, d := range s.c.Diagnostics {
		if d.Severity == plan.Error && !s.saidAtTheTime(d) {
			st.Errors++
		}
	}
	st.Warnings = len(s.c.Diagnostics) - st.Errors
	if s.doc != nil {
		for n, id := range s.meals.ids {
			st.Meals = append(st.Meals, s.mealState(n, id))
		}
	}
	st.Week = s.weekNow()
	st.Summary, st.Brief, st.Verdict = s.verdict()
	return st
}

// verdict says what the compiler made of the newest text.
func (s *session) verdict() (summary, brief, kind string) {
	c := s.c
	errors := c.Diagnostics.Count(plan.Error)
	warnings := len(c.Diagnostics) - errors
	if !c.ok() {
		brief = units.Count(max(errors, 1), "error")
		if s.good == nil {
			return brief + "; there is no plan to show yet", brief, "bad"
		}
		return brief + "; what is shown is the plan before", brief, "bad"
	}
	proof := fmt.Sprintf("Its table has %d of %d bytes; %s servings are proved through %s.", len(c.Output.Bytes), c.Output.Capacity,
		units.Thousands(c.Output.Proof.Instants), c.Output.Proof.Through)
	if warnings > 0 {
		brief = "No errors, but " + units.Count(warnings, "warning")
		return brief + ": is that what you want? " + proof, brief, "look"
	}
	return "The plan is right. " + proof, "The plan is right.", "good"
}

func (s *session) mealState(n, id int) MealState {
	m := MealState{ID: id, Choice: s.choice(n), Color: n % mealColors}
	if p := s.c.Plan; p != nil && n < len(p.Meals) {
		m.Words = describe.Set(p.Meals[n].Set)
	}
	return m
}

// mealColors is how many colours pictures have for meals.
const mealColors = 8

func (s *session) title() string {
	if s.doc != nil {
		if name := s.doc.Text(planFields["plan.plan"]); name != "" {
			return name
		}
	}
	if s.c.Plan != nil && s.c.Plan.Name != "" {
		return s.c.Plan.Name
	}
	return s.fileName()
}
