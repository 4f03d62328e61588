// Package review looks ahead: it says what an owner should know about a plan before its table goes onto a feeder.
//
// In: a plan, its zone and its compiled table. Out: warnings with places in the plan ([plan.Diagnostics]), amounts per day
// and week ([Summary]) and a calendar of odd days ([Surprises]). It reads the plan's future from the replay of the table,
// which the proof has shown to be the plan's, and asks the referee (package recur) only what the table no longer knows: why
// a date of the plan is not in it. RFC 5545 rules the recurrence sets; the limits for feeding are common practice.
package review

import (
	"cmp"
	"fmt"
	"time"

	"mealtab/compiler/plan"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// The codes of this package's diagnostics, besides those of a plan that is read.
const (
	CodeGap     plan.Code = "gap"         // a serving falls in a skipped hour
	CodeOverlap plan.Code = "overlap"     // a serving falls in a repeated hour
	CodeHunger  plan.Code = "hunger"      // long without food
	CodeCrowded plan.Code = "crowded"     // two servings close together
	CodeEnded   plan.Code = "ended"       // a meal or the plan lies in the past
	CodeDay     plan.Code = "unusual-day" // a day's total differs much from the days around it
)

// Input is a compiled plan at some time.
type Input struct {
	Plan   *plan.Plan
	Zone   *zone.Zone
	Table  *table.Table
	MealOf []int // plan meal of each table meal
	Now    table.Minute
}

// How far warnings look ahead. Clock changes, leap days and the drift of weekdays through the year have all shown
// themselves by then; the second bound keeps a plan that serves every minute from taking seconds.
const (
	horizonYears = 5
	maxServings  = 20_000
)

// Warnings says what in a valid plan is probably not meant, sorted by place.
func Warnings(in Input) plan.Diagnostics {
	r := newReview(in)
	r.starts()
	r.exclusions()
	r.extras()
	if !r.ended() {
		r.nights()
		for _, p := range presetsOf(in.Table) {
			r.pass(p)
		}
	}
	return r.ds.Sort()
}

type review struct {
	Input
	from, to table.Minute
	ds       plan.Diagnostics
}

func newReview(in Input) *review {
	r := &review{Input: in}
	// Local midnight of the first day is at most a day from midnight in UTC.
	r.from = max(in.Now, (table.Minute(in.Table.Start)-1)*table.MinutesPerDay)
	r.to = r.from + horizonYears*366*table.MinutesPerDay
	return r
}

func (r *review) warn(code plan.Code, pos plan.Pos, hint, format string, args ...any) {
	r.ds = append(r.ds, plan.Diagnostic{Code: code, Severity: plan.Warning, Source: r.Plan.Source, Pos: pos,
		Message: fmt.Sprintf(format, args...), Hint: hint})
}

// presetsOf lists the presets to look at: one pseudo-preset when there are none.
func presetsOf(t *table.Table) []int {
	if t.Presets == 0 {
		return []int{replay.AllPresets}
	}
	list := make([]int, t.Presets)
	for i := range list {
		list[i] = i
	}
	return list
}

// inPreset names a preset in a message; nothing when there are none.
func (r *review) inPreset(preset int) string {
	if preset < 0 || preset >= len(r.Plan.Presets) {
		return ""
	}
	return fmt.Sprintf("with preset %q ", r.Plan.Presets[preset])
}

func (r *review) meal(tableMeal int) *plan.Meal { return &r.Plan.Meals[r.MealOf[tableMeal]] }

// timesOf is the place in the plan that says at which time a meal is.
func timesOf(m *plan.Meal) plan.Pos {
	w := &m.Where
	rule := w.Rule
	if m.Set.Rule != nil && len(m.Set.Rule.ByHour) == 0 {
		rule = plan.Pos{}
	}
	return cmp.Or(w.At, rule, w.Start, w.Rule, m.Pos)
}

// offset is the zone's offset at an instant, in minutes.
func (r *review) offset(at table.Minute) table.Minute {
	return table.Minute(r.Zone.At(at.Unix()).Seconds / 60)
}

// nominal is the reading of the clock on the wall at an instant.
func (r *review) nominal(at table.Minute) table.Minute { return at + r.offset(at) }

// The layouts of dates and times in messages.
const (
	dayLayout    = "Mon 2006-01-02"
	minuteLayout = "Mon 2006-01-02 15:04"
)

// local shows an instant by the clock on the wall.
func (r *review) local(at table.Minute) string { return r.nominal(at).Time().Format(minuteLayout) }

// dayOf is the date of a nominal time, which may lie before 2000.
func dayOf(nominal table.Minute) int {
	d := int(nominal) / table.MinutesPerDay
	if nominal < 0 && int(nominal)%table.MinutesPerDay != 0 {
		d--
	}
	return d
}

func dateText(day int, layout string) string {
	return time.Date(2000, 1, 1+day, 0, 0, 0, 0, time.UTC).Format(layout)
}

// Duration is "25 h", "36 h 30 min" or, beyond two days, "2 days 1 h".
func Duration(m table.Minute) string {
	if m > 2*table.MinutesPerDay {
		days := fmt.Sprintf("%d days", m/table.MinutesPerDay)
		if m %= table.MinutesPerDay; m == 0 {
			return days
		}
		return days + " " + Duration(m)
	}
	if m < 60 {
		return fmt.Sprintf("%d min", m)
	}
	if m%60 == 0 {
		return fmt.Sprintf("%d h", m/60)
	}
	return fmt.Sprintf("%d h %d min", m/60, m%60)
}

// times is "once", "twice", "5 times".
func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}
