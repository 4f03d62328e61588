package once

import (
	"fmt"
	"reflect"
	"slices"

	"mealtab/compiler/plan"
	"mealtab/compiler/recur"
)

// Verify proves that to the end of 2099 the plan serves what the one before did, but for what is gone and what was added, and that
// nothing else about it has changed. It reads both plans as the referee does.
func (c *Change) Verify() error {
	if err := c.sameRest(); err != nil {
		return err
	}
	for i := range c.before.Meals {
		j := slices.Index(c.origin, i)
		if err := c.sameServings(i, j); err != nil {
			return fmt.Errorf("meal %q: %w", c.before.Meals[i].Name, err)
		}
	}
	for j, i := range c.origin {
		if i < 0 {
			if err := c.sameServings(-1, j); err != nil {
				return fmt.Errorf("meal %q: %w", c.now.Meals[j].Name, err)
			}
		}
	}
	return nil
}

// sameServings compares a meal of before with the one it has become; -1: there is none.
func (c *Change) sameServings(before, now int) error {
	old, err := walk(c.before, before, c)
	if err != nil {
		return err
	}
	fresh, err := walk(c.now, now, c)
	if err != nil {
		return err
	}
	gone, added := of(c.gone, before), of(c.added, now)
	for a, b := old(), fresh(); a != recurEnd || b != recurEnd; {
		switch {
		case a < b:
			if !take(&gone, a) {
				return fmt.Errorf("it would no longer be served at %s", c.local(a))
			}
			a = old()
		case b < a:
			if !take(&added, b) {
				return fmt.Errorf("it would be served at %s too", c.local(b))
			}
			b = fresh()
		default:
			if slices.Contains(gone, a) && !slices.Contains(added, a) {
				return fmt.Errorf("it would still be served at %s", c.local(a))
			}
			a, b = old(), fresh()
		}
	}
	if len(gone)+len(added) > 0 {
		return fmt.Errorf("what was asked for at %s has not come about", c.local(append(gone, added...)[0]))
	}
	return nil
}

const recurEnd = int64(1) << 62

// walk gives the instants of a meal, one a call, and at last recurEnd; of no meal that at once.
func walk(p *plan.Plan, meal int, c *Change) (next func() int64, err error) {
	if meal < 0 {
		return func() int64 { return recurEnd }, nil
	}
	set, err := recur.New(p.Meals[meal].Set, c.zone, p.Gap)
	if err != nil {
		return nil, err
	}
	cursor := set.Instants()
	return func() int64 {
		in, ok := cursor.Next()
		if !ok {
			return recurEnd
		}
		return in.Unix
	}, nil
}

func of(list []Serving, meal int) (unix []int64) {
	for _, s := range list {
		if s.Meal == meal {
			unix = append(unix, s.Unix)
		}
	}
	return unix
}

func take(list *[]int64, at int64) bool {
	i := slices.Index(*list, at)
	if i >= 0 {
		*list = slices.Delete(*list, i, i+1)
	}
	return i >= 0
}

func (c *Change) local(unix int64) string {
	return plan.AtUnix(unix + int64(c.zone.At(unix).Seconds)).InWords(plan.Zoned)
}

// sameRest wants all else of the plan to be as it was.
func (c *Change) sameRest() error {
	strip := func(p *plan.Plan) plan.Plan {
		rest := *p
		rest.Meals, rest.Source, rest.Where, rest.Pets, rest.Food = nil, nil, plan.Places{}, nil, nil
		return rest
	}
	if !reflect.DeepEqual(strip(c.before), strip(c.now)) {
		return fmt.Errorf("the edit would change more than meals")
	}
	for j, i := range c.origin {
		if i < 0 {
			continue
		}
		a, b := &c.before.Meals[i], &c.now.Meals[j]
		if a.Name != b.Name || !reflect.DeepEqual(a.Portion, b.Portion) || a.Presets != b.Presets {
			return fmt.Errorf("the edit would change the meal %q itself", a.Name)
		}
	}
	return nil
}
