package review

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/plan"
	"mealtab/compiler/recur"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// Surprise is one odd day ahead.
type Surprise struct {
	Day  int // days since 2000-01-01
	Text string
}

// Date is the day as text, "Sun 2027-03-28".
func (s Surprise) Date() string { return dateText(s.Day, dayLayout) }

const surpriseYears = 3

// Surprises lists the odd days of the next three years: clocks that change, months that are too short for a rule, meals
// that begin or end, and days with another number of servings than the same weekday a week before and after.
func Surprises(in Input) []Surprise {
	r := newReview(in)
	if _, any := replay.New(in.Table, replay.Options{From: in.Now, Preset: replay.AllPresets}).Next(); !any {
		return nil
	}
	r.to = in.Now + surpriseYears*366*table.MinutesPerDay
	list := slices.Concat(r.clockChanges(), r.shortMonths(), r.beginnings(), r.oddCounts())
	slices.SortStableFunc(list, func(a, b Surprise) int { return cmp.Compare(a.Day, b.Day) })
	return list
}

// clockChanges says what becomes of meals in a skipped or repeated hour. Changes that touch no meal share one line.
func (r *review) clockChanges() (list []Surprise) {
	nights := r.findNights(r.Now, r.to)
	quiet, first := 0, Surprise{}
	for _, c := range r.Zone.Transitions(r.Now.Unix(), r.to.Unix()) {
		wall := table.MinuteOf(c.At + int64(c.Before.Seconds))
		s := Surprise{dayOf(wall), fmt.Sprintf("the clocks go from %s to %s", clockText(wall), clockText(table.MinuteOf(c.At+int64(c.After.Seconds))))}
		var meals []string
		for i := range nights {
			if n := &nights[i]; n.change.At == c.At {
				meals = append(meals, r.nightText(n))
			}
		}
		if meals == nil {
			if quiet++; quiet == 1 {
				first = s
			}
			continue
		}
		if len(meals) > maxNamed {
			meals = append(meals[:maxNamed], fmt.Sprintf("and %d more servings", len(meals)-maxNamed))
		}
		s.Text += ": " + strings.Join(meals, "; ")
		list = append(list, s)
	}
	if quiet == 0 {
		return list
	}
	first.Text += ", and no meal falls in between"
	if quiet > 1 {
		first.Text += fmt.Sprintf("; nor does one at %d more changes", quiet-1)
	}
	return append(list, first)
}

// maxNamed is how many servings of one night are named.
const maxNamed = 3

func (r *review) nightText(n *night) string {
	name, at := r.meal(n.meal).Name, clockText(n.nominal)
	switch {
	case n.kind == zone.Overlap:
		return fmt.Sprintf("%s is served the first time it is %s", name, at)
	case n.omitted:
		return fmt.Sprintf("%s (%s) is left out", name, at)
	}
	return fmt.Sprintf("%s is served at %s instead of %s", name, clockText(n.shown), at)
}

// shortMonths finds the dates that a rule skips because the month is too short: those that SKIP=BACKWARD (RFC 7529) would
// serve on the day before.
func (r *review) shortMonths() (list []Surprise) {
	for i := range r.Plan.Meals {
		m := &r.Plan.Meals[i]
		if !skipsDates(m.Set.Rule) || !r.future(i) {
			continue
		}
		moved, with, without := m.Set, *m.Set.Rule, m.Set
		with.Text += ";RSCALE=GREGORIAN;SKIP=BACKWARD"
		moved.Rule = &with
		all, some := r.dates(moved), r.dates(without)
		for _, d := range all {
			if _, served := slices.BinarySearch(some, d); !served {
				list = append(list, Surprise{d, fmt.Sprintf("%s is skipped: %s has no such day", m.Name, dateText(d, "January 2006"))})
			}
		}
	}
	return list
}

// skipsDates reports whether a rule may ask for days that not all months or years have. COUNT would make both readings end
// at different times.
func skipsDates(rule *plan.Rule) bool {
	return rule != nil && rule.Skip == plan.Omit && rule.Count == 0 && rule.Freq >= plan.Monthly && len(rule.ByWeekNo)+len(rule.BySetPos) == 0 &&
		!strings.Contains(rule.Text, "RSCALE")
}

// dates lists the local dates of a set between now and the horizon, ascending.
func (r *review) dates(set plan.Recurrence) (list []int) {
	s, err := recur.New(set, r.Zone, r.Plan.Gap)
	if err != nil {
		return nil
	}
	c := s.Cursor()
	for range maxWalk {
		in, ok := c.Next()
		if !ok || in.Unix >= r.to.Unix() {
			break
		}
		if d := dayOf(table.MinuteOf(in.Nominal)); in.Unix >= r.Now.Unix() && (len(list) == 0 || list[len(list)-1] != d) {
			list = append(list, d)
		}
	}
	return list
}

// beginnings says when meals are served for the first and the last time; those of one day share a line.
func (r *review) beginnings() []Surprise {
	first, last := map[int][]string{}, map[int][]string{}
	for i := range r.Table.Meals {
		name, one := r.meal(i).Name, onlyMeal(r.Table, i)
		if at, ok := r.firstServing(r.meal(i)); ok && at >= r.Now && at < r.to {
			day := dayOf(r.nominal(at))
			first[day] = append(first[day], name)
		}
		if at, ok := r.lastOf(one); ok {
			day := dayOf(r.nominal(at))
			last[day] = append(last[day], name)
		}
	}
	return append(together(first, "first"), together(last, "last")...)
}

// firstServing asks the referee: the table knows nothing of the time before it.
func (r *review) firstServing(m *plan.Meal) (table.Minute, bool) {
	set, err := recur.New(m.Set, r.Zone, r.Plan.Gap)
	if err != nil {
		return 0, false
	}
	in, ok := set.Instants().Next()
	return table.MinuteOf(in.Unix), ok
}

func together(names map[int][]string, which string) (list []Surprise) {
	for day, meals := range names {
		list = append(list, Surprise{day, which + " serving of " + strings.Join(meals, ", ")})
	}
	return list
}

// lastOf is the last serving of a table before the horizon, where none comes after.
func (r *review) lastOf(one *table.Table) (last table.Minute, ok bool) {
	if _, more := replay.New(one, replay.Options{From: r.to, Preset: replay.AllPresets}).Next(); more {
		return 0, false
	}
	c := replay.New(one, replay.Options{From: r.Now, To: r.to, Preset: replay.AllPresets})
	for s, more := c.Next(); more; s, more = c.Next() {
		last, ok = s.At, true
	}
	return last, ok
}

// oddCounts compares the number of servings with those of the same weekday a week before and a week after, in the first
// preset.
func (r *review) oddCounts() (list []Surprise) {
	d := newDays(r)
	c := replay.New(r.Table, replay.Options{From: r.Now, To: r.to, Preset: presetsOf(r.Table)[0]})
	for range maxServings {
		s, ok := c.Next()
		if !ok {
			break
		}
		d.add(s)
	}
	for i := 7; i+7 < len(d.totals); i++ {
		before, here, after := d.totals[i-7].servings, d.totals[i].servings, d.totals[i+7].servings
		if before == after && here != before {
			list = append(list, Surprise{d.first + i, fmt.Sprintf("%s instead of %d", servings(here), before)})
		}
	}
	if len(list) > len(d.totals)/commonShare {
		return nil
	}
	return list
}

// commonShare is the part of all days, one in so many, from which on a different number of servings is no surprise but the
// plan's rhythm: meals every five hours, say.
const commonShare = 20

func servings(n int) string {
	switch n {
	case 0:
		return "no serving"
	case 1:
		return "1 serving"
	}
	return fmt.Sprintf("%d servings", n)
}
