package reader

import (
	"fmt"
	"slices"

	"mealtab/compiler/draft"
	"mealtab/compiler/ical/calendar"
	"mealtab/compiler/plan"
	"mealtab/compiler/recur"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// With gives the options for plans whose zones are in db. They are for one goroutine: zones are kept once loaded.
func With(db *zone.Database) Options {
	return Options{Zones: &lookup{db: db, loaded: map[string]*zone.Zone{}}, Limits: limits}
}

// limits stand in package table, of which plans know nothing.
var limits = draft.Limits{
	Meals: table.MaxMeals, Presets: table.MaxPresets, Late: table.MaxLate, MinTurn: table.MinTurn, MaxTurn: table.MaxTurn, Trim: table.MaxTrim,
	MealPockets: table.MaxMealPockets, Asked: table.MaxAsked, PerHour: table.MaxPerHour, PerDay: table.MaxPerDay,
}

// lookup is a [calendar.Zones].
type lookup struct {
	db     *zone.Database
	loaded map[string]*zone.Zone
}

func (r *lookup) load(name string) (z *zone.Zone, err error) {
	if z = r.loaded[name]; z == nil {
		if z, err = r.db.Load(name); err == nil {
			r.loaded[name] = z
		}
	}
	return z, err
}

// Check is part of [draft.Zones], as are Convert and Walk.
func (r *lookup) Check(name string) error {
	_, err := r.load(name)
	return err
}

// Convert changes a time between local and UTC.
func (r *lookup) Convert(name string, l plan.Local, from, to plan.Form) (plan.Local, error) {
	z, err := r.load(name)
	if err != nil {
		return l, err
	}
	unix := l.Unix()
	if from != plan.UTC {
		unix, _ = z.Resolve(unix)
	}
	if to != plan.UTC {
		unix += int64(z.At(unix).Seconds)
	}
	return plan.AtUnix(unix), nil
}

// Walk gives up after a century of three meals a day.
func (r *lookup) Walk(name string, gap plan.Gap, set plan.Recurrence, visit func(nominal, utc plan.Local) bool) error {
	z, err := r.load(name)
	if err != nil {
		return err
	}
	s, err := recur.New(set, z, gap)
	if err != nil {
		return err
	}
	for c, n := s.Cursor(), 0; ; n++ {
		in, ok := c.Next()
		if !ok || !visit(plan.AtUnix(in.Nominal), plan.AtUnix(in.Unix)) {
			return nil
		}
		if n == maxWalk {
			return fmt.Errorf("more than %d instances come before it", maxWalk)
		}
	}
}

// maxWalk bounds a walk: a century of three meals a day, and a tenth of a second.
const maxWalk = 110_000

// Match puts first what most people mean: zones under many names.
func (r *lookup) Match(changes []calendar.Change, from, to plan.Local) (names []string) {
	const year = 366 * 86400
	if changes[0].At.Unix() > from.Unix()+year {
		return nil // nothing says what the clocks did before
	}
	want := offsetsOf(changes, from.Unix(), to.Unix())
	history, aliases := map[string]string{}, map[string]int{}
	for _, name := range r.db.Names() {
		z, err := r.load(name)
		if err != nil || !matches(z, want, from.Unix(), to.Unix()) {
			continue
		}
		names = append(names, name)
		history[name] = fmt.Sprint(z.Transitions(0, zone.Horizon))
		aliases[history[name]]++
	}
	slices.SortStableFunc(names, func(a, b string) int { return aliases[history[b]] - aliases[history[a]] })
	return names
}

// change is an instant from which a clock is so many seconds east of UTC.
type change struct {
	at     int64
	offset int
}

// offsetsOf gives the offset at from, and after it the changes until to that change something.
func offsetsOf(changes []calendar.Change, from, to int64) []change {
	list := []change{{from, changes[0].Before}}
	for _, c := range changes {
		last := &list[len(list)-1]
		switch at := c.At.Unix(); {
		case at >= to:
			return list
		case at <= last.at:
			last.offset = c.After
		case c.After != last.offset:
			list = append(list, change{at, c.After})
		}
	}
	return list
}

func matches(z *zone.Zone, want []change, from, to int64) bool {
	if z.At(from).Seconds != want[0].offset {
		return false
	}
	have := z.Transitions(from+1, to)
	if len(have) != len(want)-1 {
		return false
	}
	for i, t := range have {
		if t.At != want[i+1].at || t.After.Seconds != want[i+1].offset {
			return false
		}
	}
	return true
}
