package page

import (
	"cmp"
	"fmt"
	"regexp"
	"strings"

	"mealtab/compiler/edit"
	"mealtab/compiler/plan"
)

// labels are the names of the fields as the page shows them, by the key of the plan.
var labels = map[string]string{
	"plan": "Name of the plan", "zone": "Time zone", "late": "still serve if late by", "board": "Board",
	"pocket": "One pocket holds", "turn": "One pocket turns in", "holds": "The hopper holds", "per-hour": "Presses in an hour", "per-day": "Presses in a day",
	"name": "Name", "portion": "Portion", "at": "At", "dtstart": "From", "exdate": "But not on", "rdate": "Also on", "rrule": "Rule", "presets": "Only with presets",
}

const (
	timesHint = "such as 07:00, or 07:00, 18:30"
	datesHint = "such as 2026-12-25 10:00"
	dayHint   = "such as 2026-12-24, or 2026-12-24 07:00"
)

// plainly says a diagnostic in the words of the page: where it stands at a field, and in what is to be typed there. The compiler's own words
// speak of the text of the plan.
func (s *session) plainly(id string, d plan.Diagnostic) (at string, message, hint string) {
	n, name, err := s.mealOf(id)
	meal := func(field string) string { return mealField(s.meals.ids[n], field) }
	switch {
	case err == nil && s.singleDates(n) && (d.Code == plan.CodeMissing || strings.HasPrefix(d.Message, "the list")) && (name == "" || name == "rdate"):
		return meal("rdate"), "no date is given", datesHint
	case err == nil && d.Code == plan.CodeMissing && (name == "times" || strings.Contains(d.Message, "time of day")):
		return meal("times"), "no time of day is given", timesHint
	case err == nil && name == "from" && strings.Contains(d.Message, "needs a time of day"):
		return meal("times"), "a time of day is missing: the hours are counted from it", "such as 07:00"
	case err == nil && d.Code == plan.CodeMissing && name == "" && strings.HasPrefix(d.Message, "the meal has no dtstart"):
		return meal("from"), "a first day is missing: the repetition is counted from it", "such as 2026-12-01"
	case strings.HasPrefix(d.Message, "at cannot be used with"):
		return meal("times"), "a rule by hours or minutes counts from one time of day", "such as 07:00"
	case strings.HasPrefix(d.Message, "at and "):
		return meal("times"), "the rule has its own times of day", "leave this empty, or take them out of the rule"
	case err == nil && strings.HasSuffix(d.Message, "stands where a date-time is wanted"):
		return id, fmt.Sprintf("“%s” is not a date", s.noDate(n, name)), dayHint
	case err == nil && name == "from" && (strings.Contains(d.Message, "has no hour") || strings.Contains(d.Message, "has no minute")):
		return meal("times"), inWords(d.Message), inWords(d.Hint)
	case strings.HasPrefix(d.Message, "no board profile"):
		return "plan.board", strings.Replace(d.Message, "give the path of a TOML file", "give the path of a profile of your own", 1), d.Hint
	case strings.HasPrefix(d.Message, "table: WHEEL turn: "):
		return "wheel.turn", strings.TrimPrefix(d.Message, "table: WHEEL turn: ") + " ms", ""
	case strings.HasPrefix(d.Message, "table: LATE: "):
		return "plan.late", strings.TrimPrefix(d.Message, "table: LATE: ") + " min", "a day later the next meals have long come"
	case id == "button.per-hour", id == "button.per-day":
		return id, fmt.Sprintf("“%s” is not a whole number %s", s.doc.Text(planFields[id]), cmp.Or(numbersIn(d.Message), "of presses")), ""
	case id == "button.portion" && d.Code == plan.CodeMissing:
		return id, "nothing is said about what the button gives", "such as 1 pocket; 0 pockets switch it off; with all these fields empty the feeder's own rule holds"
	case id == "" && d.Pos.Line == 0 && d.Message == "the plan has no meals":
		return id, d.Message, "add one below"
	case id == "" && d.Pos.Line == 0 && d.Message == "the plan has no zone":
		return "plan.zone", "the time zone is missing", "an IANA name, such as Europe/Lisbon"
	}
	return id, inWords(d.Message), inWords(d.Hint)
}

// noDate is the first of a meal's dates that is none.
func (s *session) noDate(n int, name string) string {
	value := s.mealValue(n, name)
	for _, w := range edit.Split(value) {
		if strings.HasPrefix(edit.Moment(w), `"`) {
			return w
		}
	}
	return value
}

// numbersIn is the "from 0 to 15" of a message.
func numbersIn(message string) string {
	if m := regexp.MustCompile(`\d+ to \d+$`).FindString(message); m != "" {
		return "from " + m
	}
	return ""
}

var (
	assignment = regexp.MustCompile(`(?:\[(\w+)\] )?\b([a-z][a-z-]*) = ("[^"]*"|[^\s",;]+)`)
	keyName    = regexp.MustCompile(`\b(dtstart|exdate|rdate|rrule)\b`)
)

// inWords turns what a text of the plan would say into what is typed into a field: dtstart = 2026-12-01 becomes 2026-12-01 at From.
func inWords(s string) string {
	s = strings.TrimPrefix(s, "table: ")
	s = assignment.ReplaceAllStringFunc(s, func(a string) string {
		m := assignment.FindStringSubmatch(a)
		value := strings.Trim(m[3], `"`)
		if label := labels[m[2]]; label != "" {
			return fmt.Sprintf("%s at “%s”", value, label)
		}
		return value
	})
	s = keyName.ReplaceAllStringFunc(s, func(k string) string { return "“" + labels[k] + "”" })
	return strings.NewReplacer("the times of at:", "the times of day:", "leave the key out", "leave it empty").Replace(s)
}
