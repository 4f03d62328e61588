package compiler

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/lower"
	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/table"
)

// FitError is a plan that is too big for its board.
type FitError struct {
	Board      string
	Need, Have int        // bytes
	Costs      []MealCost // the dearest first
	Advice     []string   // what would make the table smaller, or give it more room
}

// shownCosts is how many meals an error names: those that it is worth while to change.
const shownCosts = 10

// MealCost is what leaving a meal out would save.
type MealCost struct {
	Name  string
	Bytes int
	Why   string // what takes the bytes; may be empty
}

func (e *FitError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "the table takes %d bytes, a bank of %s holds %d", e.Need, e.Board, e.Have)
	for i, c := range e.Costs {
		if i == shownCosts {
			fmt.Fprintf(&b, "\n  and %d more", len(e.Costs)-shownCosts)
			break
		}
		fmt.Fprintf(&b, "\n  %4d bytes  %s", c.Bytes, c.Name)
		if c.Why != "" {
			fmt.Fprintf(&b, " (%s)", c.Why)
		}
	}
	if len(e.Costs) > 0 {
		fmt.Fprintf(&b, "\nmost would be saved at %q", e.Costs[0].Name)
	}
	if len(e.Advice) > 0 {
		b.WriteString("; what helps:")
	}
	for _, a := range e.Advice {
		b.WriteString("\n  - " + a)
	}
	return b.String()
}

// fit compiles for the whole calendar or, where only explicit dates make the table too big, for as many years of
// it as fit.
func (j *job) fit() (*lower.Result, []byte, error) {
	have := Capacity(j.o.Board)
	res, bytes, err := j.lower(table.MaxDay)
	var tooLong *table.Error
	if err != nil && !(errors.As(err, &tooLong) && tooLong.Field == "length") {
		return nil, nil, err
	}
	if err == nil && len(bytes) <= have {
		return res, bytes, nil
	}
	if err != nil || res.ZoneExplicit || len(res.Explicit) > 0 {
		if res, bytes, ok := j.shorten(have); ok {
			return res, bytes, nil
		}
	}
	return nil, nil, j.fitError(have)
}

// shorten finds the last day through which the table fits, and wants at least a year of it.
func (j *job) shorten(have int) (res *lower.Result, bytes []byte, ok bool) {
	lo, hi := j.o.From+366, table.MaxDay
	for lo <= hi {
		mid := lo + (hi-lo)/2
		r, b, err := j.lower(mid)
		if err == nil && len(b) <= have {
			res, bytes, ok = r, b, true
			lo = mid + 1
		} else {
			hi = mid - 1
		}
	}
	return res, bytes, ok
}

// fitError measures each meal by leaving it out.
func (j *job) fitError(have int) error {
	tooLong := fmt.Errorf("the plan takes more than the %d bytes that any table can hold", table.MaxSize)
	ok, need := j.without(-1)
	if !ok {
		return tooLong
	}
	e := &FitError{Board: j.o.Board.Name, Need: need, Have: have}
	for i, m := range j.p.Meals {
		ok, n := j.without(i)
		if !ok {
			return tooLong
		}
		e.Costs = append(e.Costs, MealCost{Name: m.Name, Bytes: e.Need - n, Why: why(&m.Set)})
	}
	slices.SortStableFunc(e.Costs, func(a, b MealCost) int { return cmp.Compare(b.Bytes, a.Bytes) })
	e.Advice = append(thrift(j.p.Meals), j.roomier(e.Need)...)
	return e
}

// worthALine is the number of single dates or odd times from which on advice about them is worth its line.
const worthALine = 3

// quarter is the step of times of day that take one byte (FORMAT.md, time of day).
const quarter = 15 // minutes

// thrift says how meals could be written so that they take fewer bytes.
func thrift(meals []plan.Meal) (list []string) {
	rdates, exdates, odd := 0, 0, 0
	alike, most := map[string]int{}, 0
	for i := range meals {
		set := &meals[i].Set
		rdates += len(set.RDate)
		exdates += len(set.ExDate) + len(set.ExDays)
		odd += oddTimes(set)
		if days, ok := onDays(&meals[i]); ok {
			alike[days]++
			most = max(most, alike[days])
		}
	}
	if rdates >= worthALine {
		list = append(list, "RDATEs that follow a pattern: write them as an rrule; those at one time of day share their bytes")
	}
	if exdates >= worthALine {
		list = append(list, "EXDATEs that follow a pattern: write a rule that has no such days")
	}
	if odd >= worthALine {
		list = append(list, "a time whole quarter hours after midnight, or after the time before it, takes one byte, any other two")
	}
	if most > 1 {
		list = append(list, fmt.Sprintf("%d meals have the same portion on the same days: make them one, with all their times in at", most))
	}
	return list
}

// oddTimes counts the times of day that take two bytes.
func oddTimes(set *plan.Recurrence) (n int) {
	if len(set.At) == 0 && set.Rule != nil && set.Rule.ByMinute == nil && set.Start.Minute%quarter != 0 {
		return 1
	}
	last := 0
	for _, at := range set.At {
		if (at-last)%quarter != 0 {
			n++
		}
		last = at
	}
	return n
}

// onDays tells meals of one portion on the same days from others; ok is false for a meal whose times cannot simply move into
// another's at.
func onDays(m *plan.Meal) (days string, ok bool) {
	set := &m.Set
	r := set.Rule
	if r == nil || r.Freq < plan.Daily || r.Count > 0 || r.ByHour != nil || r.ByMinute != nil || r.BySetPos != nil ||
		len(set.RDate)+len(set.ExDate)+len(set.ExDays) > 0 {
		return "", false
	}
	return fmt.Sprint(m.Portion, m.Presets, r.Text, set.Form, set.Start.Year, set.Start.Month, set.Start.Day), true
}

// roomier names the boards whose banks hold what is needed, one for each kind: sensors make no room.
func (j *job) roomier(need int) []string {
	var names []string
	room := 0
	for _, b := range profile.Boards() {
		if first, _ := profile.ByCode(b.Code); first == b && Capacity(b) >= need && Capacity(b) > Capacity(j.o.Board) {
			names, room = append(names, b.Name), Capacity(b)
		}
	}
	slices.Sort(names)
	if names == nil {
		return nil
	}
	return []string{fmt.Sprintf("a board with more room: %s, %d bytes", strings.Join(names, " or "), room)}
}

// without is the size of the table less one meal (-1: none).
func (j *job) without(meal int) (bool, int) {
	p := *j.p
	if meal >= 0 {
		p.Meals = slices.Delete(slices.Clone(p.Meals), meal, meal+1)
	}
	other := &job{p: &p, z: j.z, o: j.o}
	_, bytes, err := other.lower(table.MaxDay)
	return err == nil, len(bytes)
}

func why(set *plan.Recurrence) string {
	var list []string
	for _, c := range []struct {
		n    int
		what string
	}{{len(set.RDate), "RDATE"}, {len(set.ExDate) + len(set.ExDays), "EXDATE"}, {len(set.At), "times"}} {
		if c.n > 2 {
			list = append(list, fmt.Sprintf("%d %s", c.n, c.what))
		}
	}
	return strings.Join(list, ", ")
}
