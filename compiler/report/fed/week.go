package fed

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// weeks says a sentence or two of each week, Monday to Sunday, that the report has a day of.
func weeks(r *Report) (list []Week) {
	for i := 0; i < len(r.Days); {
		end := i + 1
		for end < len(r.Days) && weekday(r.Days[end].Date) != time.Monday {
			end++
		}
		list = append(list, Week{From: r.Days[i].Date, To: r.Days[end-1].Date + 1, Sentence: r.sentence(r.Days[i:end])})
		i = end
	}
	return list
}

// weekday is that of a date: 2000-01-01 was a Saturday.
func weekday(d table.Day) time.Weekday { return time.Weekday((int(d) + 6) % 7) }

func date(d table.Day, layout string) string {
	return time.Date(2000, 1, 1+int(d), 0, 0, 0, 0, time.UTC).Format(layout)
}

// share is what turned of what was planned, in words: both in pockets, over servings of which both is known. Whole pockets leave a remainder, which is
// carried: a plan that was kept may differ by one, and that is all of it.
func (t *tally) share() string {
	switch {
	case t.planned == 0:
		return ""
	case t.kept && t.turned-t.planned <= 1 && t.planned-t.turned <= 1:
		return "all"
	}
	p := (200*t.turned + t.planned) / (2 * t.planned)
	switch {
	case p == 100 && t.turned < t.planned:
		return "nearly all"
	case p == 100 && t.turned > t.planned:
		return "a little more than all"
	}
	return fmt.Sprintf("%d %%", p)
}

// tally is what became of the servings of some days.
type tally struct {
	turned, planned, hand int // pockets
	servings, unknown     int
	odd                   []string // "Tuesday's supper came at least 40 min late, after a power cut"
	kept                  bool     // every serving of which something is known was given as the plan says
	adjusted              []int    // tenths of portions, where they were not 10
	doubt                 bool
	days                  int // that are known whole
}

func (r *Report) tally(days []Day) (t tally) {
	t.kept = true
	for i := range days {
		d := &days[i]
		t.turned, t.planned, t.hand = t.turned+d.TurnedPockets, t.planned+d.PlannedPockets, t.hand+d.HandPockets
		if d.Whole() {
			t.days++
		}
		for _, s := range d.Servings {
			t.serving(r, d, s)
		}
	}
	return t
}

func (t *tally) serving(r *Report, d *Day, s Serving) {
	if s.State == ByHand {
		return
	}
	t.servings += s.Count
	if s.Adjust != 0 && s.Adjust != 10 && !slices.Contains(t.adjusted, s.Adjust) {
		t.adjusted = append(t.adjusted, s.Adjust)
	}
	t.kept = t.kept && (s.State == Given || s.State == Late || s.State == Unknown || s.State == Waiting) && len(t.adjusted) == 0 && !s.Twice
	for _, n := range s.Notes {
		t.doubt = t.doubt || strings.Contains(n, "fell")
	}
	who := r.name(d, s)
	because := ""
	if s.Why != "" {
		because = ", " + s.Why
	}
	switch s.State {
	case Late:
		t.odd = append(t.odd, who+" came at least "+span(s.LateBy)+" late"+because)
	case Missed:
		if s.Count > 1 {
			who = fmt.Sprintf("%d servings from %s on", s.Count, date(d.Date, "Monday")+" "+r.local(s.Due).Format("15:04"))
		}
		t.odd = append(t.odd, who+" was left out"+because)
		if s.Count > 1 {
			t.odd[len(t.odd)-1] = who + " were left out" + because
		}
	case Part:
		t.odd = append(t.odd, fmt.Sprintf("of %s only %s of %d turned%s", who, units.Count(s.Turned, "pocket"), max(s.Planned, s.Turned), because))
	case Unknown, Waiting:
		t.unknown++
	}
}

// name is "Tuesday's supper", or "Tuesday's serving of 18:30".
func (r *Report) name(d *Day, s Serving) string {
	what := "serving of " + r.local(s.Due).Format("15:04")
	if len(s.Meals) > 0 && len(s.Meals) <= 2 {
		what = strings.Join(s.Meals, " and ")
	}
	return date(d.Date, "Monday") + "'s " + what
}

// mostOdd is how many servings are told one by one.
const mostOdd = 3

// sentence tells a week.
func (r *Report) sentence(days []Day) string {
	t := r.tally(days)
	who := r.Title
	if who == "" {
		who = "This feeder"
	}
	var b strings.Builder
	switch share := t.share(); {
	case t.servings == 0:
		return who + ": nothing was planned or recorded that is known."
	case share == "":
		fmt.Fprintf(&b, "%s: how much of the plan was turned is not known", who)
	default:
		fmt.Fprintf(&b, "%s: the feeder turned %s of what the plan says", who, share)
		if t.days < len(days) {
			fmt.Fprintf(&b, ", as far as is known")
		}
	}
	if len(t.adjusted) > 0 {
		list := make([]string, len(t.adjusted))
		for i, tenths := range t.adjusted {
			list[i] = fmt.Sprintf("%d %%", 10*tenths)
		}
		b.WriteString(" (portions were set to " + strings.Join(list, ", then ") + ")")
	}
	for i, odd := range t.odd {
		if i == mostOdd {
			fmt.Fprintf(&b, "; and %d more were late, left out or given in part", len(t.odd)-mostOdd)
			break
		}
		b.WriteString("; " + odd)
	}
	b.WriteString(".")
	if t.hand > 0 {
		b.WriteString(" Besides, portions were given by hand.")
	}
	if t.unknown > 0 {
		fmt.Fprintf(&b, " What became of %s is not on record.", units.Count(t.unknown, "planned serving"))
	}
	if whole := t.days; whole < len(days) {
		fmt.Fprintf(&b, " Known whole: %d of %d days.", whole, len(days))
	}
	if t.doubt {
		b.WriteString(" What fell may be another amount: a fault says so.")
	}
	return b.String()
}
