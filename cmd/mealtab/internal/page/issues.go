package page

import (
	"cmp"
	"slices"
	"strings"

	"mealtab/compiler/plan"
)

// choiceFields are the parts of a card beside its fields that can be wrong.
var choiceFields = []string{"days", "interval", "monthdays"}

// issues sorts the diagnostics to the fields they belong to.
func (s *session) issues() (fields map[string][]Issue, general []Issue) {
	fields, general = map[string][]Issue{}, []Issue{}
	for _, d := range s.c.Diagnostics {
		if s.saidAtTheTime(d) {
			continue
		}
		id, issue := s.placed(d)
		if id == "" {
			general = append(general, issue)
			continue
		}
		if !slices.Contains(fields[id], issue) {
			fields[id] = append(fields[id], issue)
		}
	}
	slices.SortStableFunc(general, func(a, b Issue) int { return cmp.Compare(a.Severity, b.Severity) })
	return fields, general
}

// saidAtTheTime reports whether a diagnostic is about an exception that has the wrong time of its meal's start. That time was typed once, at the
// times, and moved along to the exceptions: it is wrong at the times alone.
func (s *session) saidAtTheTime(d plan.Diagnostic) bool {
	n, name, err := s.mealOf(s.fieldAt(d.Pos))
	if err != nil || name != "exdate" || d.Severity != plan.Error {
		return false
	}
	start := stampForm.FindStringSubmatch(s.doc.Text(mealKey(n, "dtstart")))
	if start == nil || start[2] == "" {
		return false
	}
	return strings.Contains(d.Message, "T"+start[2]+":00"+start[4]+" has no ")
}

// placed is a diagnostic as it is shown, and the field that shows it; "": none.
func (s *session) placed(d plan.Diagnostic) (string, Issue) {
	issue := Issue{d.Severity.String(), d.Message, d.Hint, d.Pos.Line}
	id := s.fieldAt(d.Pos)
	n, name, err := s.mealOf(id)
	if name == "rrule" && err == nil && d.Severity == plan.Error {
		if part, said := s.choice(n).wrong(); part != "" {
			said.Severity, said.Line = issue.Severity, issue.Line
			return mealField(s.meals.ids[n], part), said
		}
	}
	id, issue.Message, issue.Hint = s.plainly(id, d)
	return id, issue
}

// wrong is the part of a choice that has been left open or is none, and what to say about it.
func (c Choice) wrong() (part string, said Issue) {
	switch {
	case c.Interval < 1 && c.Kind != kindTyped && c.Kind != kindSingle:
		return "interval", Issue{Message: "a whole number from 1 on is missing", Hint: "1 means every one of them"}
	case c.Kind == kindWeekly && len(c.Days) == 0:
		return "days", Issue{Message: "no weekday is ticked", Hint: "tick the days on which the meal is served"}
	case c.Kind == kindDates:
		return "monthdays", c.wrongMonthDay()
	}
	return "", Issue{}
}

func (c Choice) wrongMonthDay() Issue {
	const hint = "such as 1, 15, last"
	if strings.TrimSpace(c.MonthDays) == "" {
		return Issue{Message: "no day of the month is given", Hint: hint}
	}
	return Issue{Message: "“" + c.MonthDays + "” is not a list of days of the month", Hint: hint}
}

// fieldAt is the id of the field that shows a place of the text; "" where none does. What concerns a meal as a whole has the
// id of its card, "meal.7".
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
		name = cmp.Or(name, k.Name)
		if name != "" && !slices.Contains(mealFields, name) {
			name = ""
		}
		return strings.TrimSuffix(mealField(s.meals.ids[k.Meal], name), ".")
	}
	if k.Name == "" {
		return tableField[k.Table]
	}
	id := cmp.Or(k.Table, "plan") + "." + k.Name
	if _, ok := planFields[id]; ok {
		return id
	}
	return ""
}

// tableField is the field at which a table that lacks something says so.
var tableField = map[string]string{"wheel": "wheel.pocket", "hopper": "hopper.holds", "button": "button.portion"}
