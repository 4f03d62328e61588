package page

import (
	"cmp"
	"html/template"
	"slices"
	"strings"

	"mealtab/cmd/mealtab/internal/words"
	"mealtab/compiler/plan"
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
	Version   int                `json:"version"`
	Structure int                `json:"structure"`
	Title     string             `json:"title"`
	Fields    map[string]string  `json:"fields"`
	Issues    map[string][]Issue `json:"issues"` // by field
	General   []Issue            `json:"general"`
	Meals     []MealState        `json:"meals"`
	Source    string             `json:"source"` // the text
	Errors    int                `json:"errors"`
	Warnings  int                `json:"warnings"`
	Dirty     bool               `json:"dirty"`
	CanUndo   bool               `json:"canUndo"`
	CanRedo   bool               `json:"canRedo"`
	Week      template.HTML      `json:"week"`
	Summary   string             `json:"summary"`
	Brief     string             `json:"brief"` // the summary where there is little room
}

// MealState is what a card says about its meal beside its fields.
type MealState struct {
	Words  string `json:"words"`
	Choice Choice `json:"choice"`
	Color  int    `json:"color"`
}

func (s *session) state() State {
	st := State{
		Version: s.version, Structure: s.structure, Title: s.title(), Fields: s.fields(), Source: string(s.text),
		Dirty: s.dirty(), CanUndo: len(s.undo) > 0, CanRedo: len(s.redo) > 0, Meals: []MealState{},
	}
	st.Issues, st.General = s.issues()
	for _, d := range s.c.Diagnostics {
		if d.Severity == plan.Error {
			st.Errors++
		} else {
			st.Warnings++
		}
	}
	if s.doc != nil {
		for n := range s.doc.Meals() {
			st.Meals = append(st.Meals, s.mealState(n))
		}
	}
	st.Week = s.weekNow()
	st.Summary, st.Brief = s.summary(), "The plan is right."
	if st.Errors > 0 {
		st.Brief = words.Count(st.Errors, "error")
	}
	return st
}

func (s *session) mealState(n int) MealState {
	m := MealState{Choice: s.choice(n), Color: n % mealColors}
	if p := s.c.Plan; p != nil && n < len(p.Meals) {
		m.Words = plan.Describe(p.Meals[n].Set)
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

// issues sorts the diagnostics to the fields they belong to.
func (s *session) issues() (fields map[string][]Issue, general []Issue) {
	fields, general = map[string][]Issue{}, []Issue{}
	for _, d := range s.c.Diagnostics {
		issue := Issue{d.Severity.String(), d.Message, d.Hint, d.Pos.Line}
		if id := s.fieldAt(d.Pos); id != "" {
			fields[id] = append(fields[id], issue)
			continue
		}
		general = append(general, issue)
	}
	slices.SortStableFunc(general, func(a, b Issue) int { return cmp.Compare(a.Severity, b.Severity) })
	return fields, general
}

// fieldAt is the id of the field that shows a place of the text; "" where none does. What concerns a meal as a whole has the
// id of its card, "meal.0".
func (s *session) fieldAt(p plan.Pos) string {
	if s.doc == nil || p.Line == 0 {
		return ""
	}
	k, ok := s.doc.At(p.Line, p.Col)
	switch {
	case !ok && k.Name == "":
		return ""
	case k.Table == "meal":
		name := map[string]string{"at": "times", "dtstart": "from"}[k.Name]
		return strings.TrimSuffix(mealField(k.Meal, cmp.Or(name, k.Name)), ".")
	}
	id := cmp.Or(k.Table, "plan") + "." + k.Name
	if _, ok := planFields[id]; ok {
		return id
	}
	return ""
}
