// Package once changes a plan for one time only: it leaves servings out, moves one, adds one, or takes such a change back.
//
// In: the text of a plan in TOML, its model, its zone, the servings meant. Out: the text with those changes, every other byte as it
// was, and the proof that nothing else is served otherwise to the end of 2099. The dates stand in the plan as RFC 5545 has them:
// EXDATE for what is left out, RDATE for what is added.
package once

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"mealtab/compiler/edit"
	"mealtab/compiler/plan"
	"mealtab/compiler/recur"
	"mealtab/compiler/zone"
)

// Serving is one instance of one meal.
type Serving struct {
	Meal    int   // index in Plan.Meals
	Nominal int64 // its local time (UTC for a meal in UTC), seconds since 1970 on a clock that knows no zone: what EXDATE names
	Unix    int64 // the instant
}

// Change is a plan being changed. Its methods leave the text as it was where they fail.
type Change struct {
	before, now *plan.Plan
	text        []byte
	zone        *zone.Zone
	read        Reader
	origin      []int     // of each meal of now, its index in before; -1: it is new
	gone        []Serving // of before
	added       []Serving // of now
}

// Reader reads a text as a plan; the error says what is wrong with it.
type Reader func(text []byte) (*plan.Plan, error)

// New begins a change. The text must be the one p was read from.
func New(text []byte, p *plan.Plan, z *zone.Zone, read Reader) (*Change, error) {
	if _, err := edit.Parse(text); err != nil {
		return nil, err
	}
	c := &Change{before: p, now: p, text: text, zone: z, read: read}
	for i := range p.Meals {
		c.origin = append(c.origin, i)
	}
	return c, nil
}

// Text is the plan's text as it is now.
func (c *Change) Text() []byte { return c.text }

// Plan is the plan as it is now.
func (c *Change) Plan() *plan.Plan { return c.now }

// Gone and Added are the servings that the plan before had and this one has not, and the other way round.
func (c *Change) Gone() []Serving  { return c.gone }
func (c *Change) Added() []Serving { return c.added }

// Servings lists the instances of all meals with from <= instant < to, by instant and then by meal.
func Servings(p *plan.Plan, z *zone.Zone, from, to int64) (list []Serving, err error) {
	for i := range p.Meals {
		some, err := instances(p.Meals[i].Set, p, z, i, from, to)
		if err != nil {
			return nil, err
		}
		list = append(list, some...)
	}
	slices.SortStableFunc(list, func(a, b Serving) int { return cmp.Compare(a.Unix, b.Unix) })
	return list, nil
}

func instances(r plan.Recurrence, p *plan.Plan, z *zone.Zone, meal int, from, to int64) (list []Serving, err error) {
	set, err := recur.New(r, z, p.Gap)
	if err != nil {
		return nil, fmt.Errorf("meal %q: %w", p.Meals[meal].Name, err)
	}
	for cursor := set.Instants(); ; {
		in, ok := cursor.Next()
		if !ok || in.Unix >= to {
			return list, nil
		}
		if in.Unix >= from {
			list = append(list, Serving{meal, in.Nominal, in.Unix})
		}
	}
}

// LeftOut lists what EXDATE keeps from being served, with from <= instant < to.
func LeftOut(p *plan.Plan, z *zone.Zone, from, to int64) (list []Serving, err error) {
	for i := range p.Meals {
		r := p.Meals[i].Set
		served, err := instances(r, p, z, i, from, to)
		if err != nil {
			return nil, err
		}
		r.ExDate, r.ExDays = nil, nil
		all, err := instances(r, p, z, i, from, to)
		if err != nil {
			return nil, err
		}
		for _, s := range all {
			if !slices.ContainsFunc(served, func(o Serving) bool { return o.Unix == s.Unix }) {
				list = append(list, s)
			}
		}
	}
	slices.SortStableFunc(list, func(a, b Serving) int { return cmp.Compare(a.Unix, b.Unix) })
	return list, nil
}

// Skip leaves servings out. A meal of single dates that has none left goes with them.
func (c *Change) Skip(list ...Serving) error {
	return c.try(func() error {
		c.gone = append(c.gone, list...)
		last := slices.Clone(list)
		slices.SortStableFunc(last, func(a, b Serving) int { return cmp.Compare(b.Meal, a.Meal) }) // the numbers of those before stay
		for _, s := range last {
			if err := c.remove(s); err != nil {
				return err
			}
		}
		return nil
	})
}

// Restore serves again what EXDATE leaves out.
func (c *Change) Restore(list ...Serving) error {
	return c.try(func() error {
		for _, s := range list {
			if err := c.readmit(s.Meal, s.Nominal); err != nil {
				return err
			}
		}
		c.added = append(c.added, list...)
		return nil
	})
}

// Move serves one serving at another time, given as the local time of the plan's zone. It returns what is served then.
func (c *Change) Move(s Serving, to int64) (moved Serving, err error) {
	err = c.try(func() error {
		if moved, err = c.add(s.Meal, to); err != nil { // first: the meal may have no other date
			return err
		}
		c.gone, c.added = append(c.gone, s), append(c.added, moved)
		return c.remove(s)
	})
	return moved, err
}

// Extra serves a meal once more, at a local time of the plan's zone.
func (c *Change) Extra(meal int, at int64) (s Serving, err error) {
	err = c.try(func() error {
		s, err = c.add(meal, at)
		if err == nil {
			c.added = append(c.added, s)
		}
		return err
	})
	return s, err
}

// ExtraPortion serves a portion, as a plan writes it, at a local time: by a meal that has only single dates and that portion, or by
// a new one with the name. Presets are the names of those in which it is served; none: in all.
func (c *Change) ExtraPortion(portion, name string, presets []string, at int64) (s Serving, err error) {
	err = c.try(func() error {
		meal, made, err := c.mealFor(portion, name, presets, at)
		switch {
		case err != nil:
			return err
		case made:
			s = Serving{Meal: meal, Nominal: at}
			s.Unix, _ = c.zone.Resolve(at)
		default:
			if s, err = c.add(meal, at); err != nil {
				return err
			}
		}
		c.added = append(c.added, s)
		return nil
	})
	return s, err
}

// try brings everything back where do fails.
func (c *Change) try(do func() error) error {
	old := *c
	old.origin = slices.Clone(c.origin)
	err := do()
	if err != nil {
		*c = old
	}
	return err
}

// edit changes the text and reads it again.
func (c *Change) edit(change func(*edit.Doc) []byte) error {
	d, err := edit.Parse(c.text)
	if err != nil {
		return err
	}
	text := change(d)
	p, err := c.read(text)
	if err != nil {
		return err
	}
	c.text, c.now = text, p
	return nil
}

func mealKey(meal int, name string) edit.Key { return edit.Key{Table: "meal", Meal: meal, Name: name} }

// moment writes a nominal time as TOML, in the meal's form.
func (c *Change) moment(meal int, nominal int64) string {
	text := plan.AtUnix(nominal).String()
	if c.now.Meals[meal].Set.Form == plan.UTC {
		text += "Z"
	}
	return text
}

var errStillThere = errors.New("it is served by another date of the meal too, which cannot be taken out here: change it in the text")

// remove leaves one serving out: an extra date is taken back, any other time of the meal is excepted.
func (c *Change) remove(s Serving) error {
	for range c.now.Meals[s.Meal].Set.RDate { // a list may name a date twice
		place := placeOf(c.now.Meals[s.Meal].Set.RDate, c.now.Meals[s.Meal].Where.RDate, s.Nominal)
		if place == nil {
			break
		}
		meals := len(c.now.Meals)
		if err := c.edit(func(d *edit.Doc) []byte { return dropDate(d, s.Meal, "rdate", *place) }); err != nil {
			return err
		}
		if len(c.now.Meals) < meals {
			c.origin = slices.Delete(c.origin, s.Meal, s.Meal+1)
			return nil
		}
	}
	due, err := c.due(s)
	if err != nil || !due {
		return err
	}
	if err := c.edit(func(d *edit.Doc) []byte { return d.Append(mealKey(s.Meal, "exdate"), c.moment(s.Meal, s.Nominal)) }); err != nil {
		return err
	}
	if due, err = c.due(s); err == nil && due {
		err = errStillThere
	}
	return err
}

// add gives a meal an extra date at a local time, which it must not have yet.
func (c *Change) add(meal int, at int64) (s Serving, err error) {
	s = Serving{Meal: meal, Nominal: at}
	s.Unix, _ = c.zone.Resolve(at)
	if c.now.Meals[meal].Set.Form == plan.UTC {
		s.Nominal = s.Unix
	}
	if due, err := c.due(s); err != nil || due {
		return s, cmp.Or(err, fmt.Errorf("%s is served at that time already, and one meal is given once", c.now.Meals[meal].Name))
	}
	if err := c.readmit(meal, s.Nominal); err != nil { // an exception would take the extra date away too
		return s, err
	}
	if due, err := c.due(s); err != nil || due {
		return s, err
	}
	has := func(d *edit.Doc, name string) bool { return d.Has(mealKey(meal, name)) }
	return s, c.edit(func(d *edit.Doc) []byte {
		if has(d, "dtstart") && !has(d, "rrule") && !has(d, "at") && !has(d, "rdate") { // with an extra date it must be said that it is daily
			if said, err := edit.Parse(d.Set(mealKey(meal, "rrule"), edit.Quote("FREQ=DAILY"))); err == nil {
				d = said
			}
		}
		return d.Append(mealKey(meal, "rdate"), c.moment(meal, s.Nominal))
	})
}

// readmit takes a time out of a meal's exceptions. That of a whole day would let others in: it is turned into those of its times.
func (c *Change) readmit(meal int, nominal int64) error {
	set, where := &c.now.Meals[meal].Set, &c.now.Meals[meal].Where
	for range len(set.ExDate) + 1 {
		place := placeOf(set.ExDate, where.ExDate, nominal)
		if place == nil {
			break
		}
		if err := c.edit(func(d *edit.Doc) []byte { return dropDate(d, meal, "exdate", *place) }); err != nil {
			return err
		}
		set, where = &c.now.Meals[meal].Set, &c.now.Meals[meal].Where
	}
	day := nominal - (nominal%86400+86400)%86400
	place := placeOf(set.ExDays, where.ExDays, day)
	if place == nil {
		return nil
	}
	others, err := c.onDay(meal, day, nominal)
	if err != nil {
		return err
	}
	return c.edit(func(d *edit.Doc) []byte {
		if with, err := edit.Parse(d.Append(mealKey(meal, "exdate"), others...)); err == nil {
			d = with
		}
		return dropDate(d, meal, "exdate", *place)
	})
}

// onDay lists the times that a meal would have on a day without its exceptions, but for one.
func (c *Change) onDay(meal int, day, but int64) (list []string, err error) {
	r := c.now.Meals[meal].Set
	r.ExDate, r.ExDays = nil, nil
	all, err := instances(r, c.now, c.zone, meal, day-2*86400, day+3*86400)
	for _, s := range all {
		if s.Nominal >= day && s.Nominal < day+86400 && s.Nominal != but {
			list = append(list, c.moment(meal, s.Nominal))
		}
	}
	return list, err
}

// due reports whether the plan as it is now has a serving.
func (c *Change) due(s Serving) (bool, error) {
	list, err := instances(c.now.Meals[s.Meal].Set, c.now, c.zone, s.Meal, s.Unix, s.Unix+1)
	return len(list) > 0, err
}

// placeOf is where a date stands in the text; nil: nowhere.
func placeOf(dates []plan.Local, places []plan.Pos, nominal int64) *plan.Pos {
	for i, d := range dates {
		if d.Unix() == nominal && i < len(places) {
			return &places[i]
		}
	}
	return nil
}

// dropDate takes the date at a place out of a meal's list; a meal of single dates that loses its last one goes.
func dropDate(d *edit.Doc, meal int, name string, at plan.Pos) []byte {
	k := mealKey(meal, name)
	if name == "rdate" && len(d.List(k)) == 1 && SingleDates(d, meal) {
		return d.RemoveMeal(meal)
	}
	return d.Drop(k, d.Element(k, at.Line, at.Col))
}

// SingleDates reports whether a meal has nothing but the dates of rdate.
func SingleDates(d *edit.Doc, meal int) bool {
	has := func(name string) bool { return d.Has(mealKey(meal, name)) }
	return has("rdate") && !has("rrule") && !has("dtstart") && !has("at")
}

// mealFor finds or makes the meal of an extra portion.
func (c *Change) mealFor(portion, name string, presets []string, at int64) (meal int, made bool, err error) {
	d, err := edit.Parse(c.text)
	if err != nil {
		return 0, false, err
	}
	for i := range c.now.Meals {
		if SingleDates(d, i) && d.Text(mealKey(i, "portion")) == portion && slices.Equal(d.List(mealKey(i, "presets")), presets) {
			return i, false, nil
		}
	}
	pairs := [][2]string{{"name", edit.Quote(c.newName(name))}, {"portion", edit.Quote(portion)}, {"rdate", "[" + plan.AtUnix(at).String() + "]"}}
	if len(presets) > 0 {
		pairs = append(pairs, [2]string{"presets", edit.Strings(presets)})
	}
	if err = c.edit(func(d *edit.Doc) []byte { return d.AddMeal(pairs) }); err == nil {
		c.origin = append(c.origin, -1)
	}
	return len(c.now.Meals) - 1, true, err
}

// newName is a name that no meal has yet.
func (c *Change) newName(name string) string {
	for n := 1; ; n++ {
		try := name
		if n > 1 {
			try = fmt.Sprintf("%s %d", name, n)
		}
		if !slices.ContainsFunc(c.now.Meals, func(m plan.Meal) bool { return m.Name == try }) {
			return try
		}
	}
}
