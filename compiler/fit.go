package compiler

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/lower"
	"mealtab/compiler/plan"
	"mealtab/compiler/table"
)

// FitError is a plan that is too big for its board.
type FitError struct {
	Board      string
	Need, Have int // bytes
	Costs      []MealCost
}

// MealCost is what leaving a meal out would save.
type MealCost struct {
	Name  string
	Bytes int
	Why   string // what takes the bytes; may be empty
}

func (e *FitError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "the table takes %d bytes, a bank of %s holds %d", e.Need, e.Board, e.Have)
	for _, c := range e.Costs {
		fmt.Fprintf(&b, "\n  %4d bytes  %s", c.Bytes, c.Name)
		if c.Why != "" {
			fmt.Fprintf(&b, " (%s)", c.Why)
		}
	}
	if len(e.Costs) > 0 {
		fmt.Fprintf(&b, "\nmost would be saved at %q", e.Costs[0].Name)
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
	e := &FitError{Board: j.o.Board.Name, Have: have}
	_, e.Need = j.without(-1)
	for i, m := range j.p.Meals {
		ok, n := j.without(i)
		if !ok {
			return fmt.Errorf("the plan takes more than the %d bytes that any table can hold", table.MaxSize)
		}
		e.Costs = append(e.Costs, MealCost{Name: m.Name, Bytes: e.Need - n, Why: why(&m.Set)})
	}
	slices.SortStableFunc(e.Costs, func(a, b MealCost) int { return cmp.Compare(b.Bytes, a.Bytes) })
	return e
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
