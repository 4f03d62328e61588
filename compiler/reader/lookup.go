package reader

import (
	"fmt"
	"slices"
	"time"

	"mealtab/compiler/plan"
	"mealtab/compiler/recur"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// With gives the options for plans whose zones are in db. They are for one goroutine: zones are kept once loaded.
func With(db *zone.Database) Options {
	r := &lookup{db: db, loaded: map[string]*zone.Zone{}}
	return Options{
		CheckZone: func(name string) error {
			_, err := r.load(name)
			return err
		},
		Convert: func(name string, l plan.Local, from, to plan.Form) (plan.Local, error) {
			z, err := r.load(name)
			if err != nil {
				return l, err
			}
			return convert(z, l, from, to), nil
		},
		Walk:       r.walk,
		MatchZones: r.match,
		Limits:     limits,
	}
}

// limits stand in package table, of which plans know nothing.
var limits = Limits{
	Meals: table.MaxMeals, Presets: table.MaxPresets, Late: table.MaxLate, MinTurn: table.MinTurn, MaxTurn: table.MaxTurn, Trim: table.MaxTrim,
	MealPockets: table.MaxMealPockets, Asked: table.MaxAsked, PerHour: table.MaxPerHour, PerDay: table.MaxPerDay,
}

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

// walk is [Options].Walk.
func (r *lookup) walk(name string, gap plan.Gap, set plan.Recurrence, visit func(nominal, utc plan.Local) bool) error {
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
		if !ok || !visit(local(in.Nominal), local(in.Unix)) {
			return nil
		}
		if n == maxWalk {
			return fmt.Errorf("more than %d instances come before it", maxWalk)
		}
	}
}

// maxWalk bounds a walk: a century of three meals a day, and a tenth of a second.
const maxWalk = 110_000

// match is [Options].MatchZones. Zones under many names come first: those are the ones that most people mean.
func (r *lookup) match(changes []Change, from, to plan.Local) (names []string) {
	const year = 366 * 86400
	if seconds(changes[0].At) > seconds(from)+year {
		return nil // nothing says what the clocks did before
	}
	want := offsetsOf(changes, seconds(from), seconds(to))
	history, aliases := map[string]string{}, map[string]int{}
	for _, name := range r.db.Names() {
		z, err := r.load(name)
		if err != nil || !matches(z, want, seconds(from), seconds(to)) {
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
func offsetsOf(changes []Change, from, to int64) []change {
	list := []change{{from, changes[0].Before}}
	for _, c := range changes {
		last := &list[len(list)-1]
		switch at := seconds(c.At); {
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

// convert changes a time between local and UTC.
func convert(z *zone.Zone, l plan.Local, from, to plan.Form) plan.Local {
	unix := seconds(l)
	if from != plan.UTC {
		unix, _ = z.Resolve(unix)
	}
	if to != plan.UTC {
		unix += int64(z.At(unix).Seconds)
	}
	return local(unix)
}

func seconds(l plan.Local) int64 {
	return time.Date(l.Year, time.Month(l.Month), l.Day, l.Hour, l.Minute, l.Second, 0, time.UTC).Unix()
}

func local(unix int64) plan.Local {
	t := time.Unix(unix, 0).UTC()
	return plan.Local{Year: t.Year(), Month: int(t.Month()), Day: t.Day(), Hour: t.Hour(), Minute: t.Minute(), Second: t.Second()}
}
