package page

import (
	"fmt"
	"strings"

	"mealtab/compiler/edit"
	"mealtab/compiler/once"
	"mealtab/compiler/plan"
)

// singleDates reports whether a meal has nothing but the dates of rdate.
func (s *session) singleDates(n int) bool { return once.SingleDates(s.doc, n) }

// start is the meal's first date as written, with today for what is not.
func (s *session) start(n int) plan.Local {
	var l plan.Local
	if m := stampForm.FindStringSubmatch(s.doc.Text(mealKey(n, "dtstart"))); m != nil {
		_, _ = fmt.Sscanf(m[1], "%d-%d-%d", &l.Year, &l.Month, &l.Day)
		return l
	}
	now := s.o.Now()
	return plan.Local{Year: now.Year(), Month: int(now.Month()), Day: now.Day()}
}

// choice is how a meal repeats, as it can be chosen.
func (s *session) choice(n int) Choice {
	if s.singleDates(n) {
		return Choice{Kind: kindSingle, Interval: 1, Nth: 1, Days: []int{}, Months: []int{}}
	}
	text := s.doc.Text(mealKey(n, "rrule"))
	if !s.doc.Has(mealKey(n, "rrule")) {
		text = "FREQ=DAILY"
	}
	return choiceOfText(text, s.start(n))
}

// choose writes a meal's choice. What has not been chosen is written as empty, which the reader of rules does not let pass: nothing is chosen
// in the owner's place.
func (s *session) choose(meal int, c Choice, group string) error {
	n, err := s.placeOf(meal)
	if err != nil {
		return err
	}
	text := s.text
	switch {
	case c.Kind == kindSingle:
		text = s.toSingle(n)
	case c.Kind == kindTyped:
		if !s.doc.Has(mealKey(n, "rrule")) {
			text = s.doc.Set(mealKey(n, "rrule"), edit.Quote("FREQ=DAILY"))
		}
	case !strings.HasPrefix(c.rule(), "FREQ=") || strings.HasPrefix(c.rule()+";", "FREQ=;"):
		return fmt.Errorf("there is no repetition %q", c.Kind)
	default:
		text = s.withRule(n, c)
	}
	s.change(text, group, s.meals.ids)
	return nil
}

// toSingle makes a meal one of single dates: those it has beside its rule, or none yet.
func (s *session) toSingle(n int) []byte {
	d := s.doc
	for _, name := range []string{"rrule", "at", "exdate", "dtstart"} {
		d = reparse(d, d.Remove(mealKey(n, name)))
	}
	if d.Has(mealKey(n, "rdate")) {
		return d.Source()
	}
	return d.Set(mealKey(n, "rdate"), "[]")
}

// withRule gives a meal the rule of a choice. A meal of single dates gets its first date as the start.
func (s *session) withRule(n int, c Choice) []byte {
	d := s.doc
	if s.singleDates(n) {
		dates := d.List(mealKey(n, "rdate"))
		d = reparse(d, d.Remove(mealKey(n, "rdate")))
		if len(dates) > 0 {
			d = reparse(d, d.Set(mealKey(n, "dtstart"), edit.Moment(dates[0])))
		}
	}
	if c.steps() {
		d = s.stepsFrom(d, n)
	} else if c.needsStart() && !d.Has(mealKey(n, "dtstart")) {
		d = reparse(d, d.Set(mealKey(n, "dtstart"), s.start(n).String()[:10]))
	}
	return d.Set(mealKey(n, "rrule"), edit.Quote(c.rule()))
}

// stepsFrom puts the first time of a meal that goes by hours or minutes into its start, where RFC 5545 counts them from.
func (s *session) stepsFrom(d *edit.Doc, n int) *edit.Doc {
	times := edit.Split(s.mealValue(n, "times"))
	start := s.start(n).String()[:10]
	if len(times) > 0 && clockForm.MatchString(times[0]) {
		start += " " + times[0]
	}
	d = reparse(d, d.Remove(mealKey(n, "at")))
	return reparse(d, d.Set(mealKey(n, "dtstart"), edit.Moment(start)))
}

// steps reports whether the rule goes by hours or minutes.
func (c Choice) steps() bool { return c.Kind == kindHours || c.Kind == kindMinutes }

// needsStart reports whether the rule counts from the start (RFC 5545 §3.3.10).
func (c Choice) needsStart() bool { return c.Interval > 1 || c.Count > 0 || c.steps() }

// reparse reads a text that an edit has made; what was readable stays so.
func reparse(old *edit.Doc, text []byte) *edit.Doc {
	d, err := edit.Parse(text)
	if err != nil {
		return old
	}
	return d
}
