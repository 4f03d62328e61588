// Package toml reads plans in the plan language, which is TOML with property names from RFC 5545 (see package reader).
//
// In: the bytes of a file. Out: what stands in it, put into a [draft.Builder] with its place; syntax that is no TOML, keys that do not
// exist and values of the wrong type are diagnosed here.
package toml

import (
	"slices"

	"mealtab/compiler/draft"
	"mealtab/compiler/plan"

	"github.com/pelletier/go-toml/v2/unstable"
)

// The keys of each table, for "did you mean".
var (
	rootKeys   = []string{"plan", "zone", "late", "board", "gap", "wheel", "hopper", "button", "preset-until", "pet", "food", "meal"}
	wheelKeys  = []string{"pocket", "turn", "trim"}
	hopperKeys = []string{"holds"}
	buttonKeys = []string{"portion", "per-hour", "per-day"}
	mealKeys   = []string{"name", "portion", "dtstart", "rrule", "at", "exdate", "rdate", "presets"}
)

// keySynonyms maps keys people write to those of the plan language.
var keySynonyms = map[string]string{
	"timezone": "zone", "tz": "zone", "tzid": "zone", "meals": "[[meal]]", "title": "plan", "time": "at", "times": "at",
	"start": "dtstart", "begin": "dtstart", "from": "dtstart", "date": "dtstart", "rule": "rrule", "repeat": "rrule",
	"recurrence": "rrule", "freq": "rrule", "amount": "portion", "size": "portion", "grams": "portion", "weight": "portion",
	"except": "exdate", "skip": "exdate", "exceptions": "exdate", "extra": "rdate", "preset": "presets", "summary": "name",
	"capacity": "holds", "per_hour": "per-hour", "perhour": "per-hour", "limit": "per-hour", "description": "plan",
	"until": `rrule = "…;UNTIL=20261231"`, "count": `rrule = "…;COUNT=10"`, "profile": "board",
}

// reader takes what it knows from the tree of tables.
type reader struct{ *draft.Builder }

// Read reads a plan into b.
func Read(b *draft.Builder) {
	b.PocketHint = `weigh some pockets and write [wheel] pocket = "6.2 g", or give the portion in pockets: "3 pockets"`
	r := reader{b}
	r.plan(readDocument(b))
	b.Finish()
}

// plan reads the tree of tables.
func (r reader) plan(root *table) {
	if e, t, ok := r.str(root, "plan", `plan = "Juniper and Moss"`); ok {
		r.Plan.Name = r.ProperName("plan", t, inside(e.value))
	}
	if e := r.setting(root, "zone", draft.Zone, `zone = "Europe/Lisbon"`); e == nil {
		r.FailWhole(plan.CodeMissing, `write for example zone = "Europe/Lisbon" at the top (an IANA time zone name)`, "the plan has no zone")
	}
	r.setting(root, "late", draft.Late, `late = "2h"`)
	r.setting(root, "board", draft.Board, `board = "m328-mains"`)
	r.setting(root, "gap", draft.Gap, `gap = "omit"`)
	if e := r.take(root, "preset-until"); e != nil {
		if day, ok := r.stamp(e.value, "preset-until = 2026-12-20"); ok {
			r.SetPresetUntil(day)
		}
	}
	r.wheel(root)
	if e, t := r.table(root, "hopper"); t != nil {
		r.Plan.Where.Hopper = r.Pos(e.span)
		if _, holds, ok := r.str(t, "holds", `holds = "1.4 kg"`); ok {
			r.Set(draft.Hopper, holds, e.span)
		}
		r.unknownKeys(t, "hopper", hopperKeys)
	}
	r.button(root)
	r.pets(root)
	r.meals(root)
	r.unknownKeys(root, "", rootKeys)
}

// setting takes a key at the top of the plan; nil where it is absent.
func (r reader) setting(root *table, key string, s draft.Setting, example string) *entry {
	e, t, ok := r.str(root, key, example)
	if ok {
		r.Set(s, t, e.value.span)
	}
	return e
}

func (r reader) wheel(root *table) {
	e, t := r.table(root, "wheel")
	if t == nil {
		return
	}
	r.Wheel(e.span)
	if _, v, ok := r.str(t, "pocket", `pocket = "6.2 g"`); ok {
		r.Set(draft.Pocket, v, e.span)
	} else if t.find("pocket") != nil {
		r.BrokenPocket()
	}
	if _, v, ok := r.str(t, "turn", `turn = "310 ms"`); ok {
		r.Set(draft.Turn, v, e.span)
	}
	if _, v, ok := r.str(t, "trim", `trim = "-12 us"`); ok {
		r.Set(draft.Trim, v, e.span)
	}
	r.unknownKeys(t, "wheel", wheelKeys)
}

func (r reader) button(root *table) {
	e, t := r.table(root, "button")
	if t == nil {
		return
	}
	button := r.Button(e.span)
	if _, v, ok := r.str(t, "portion", `portion = "1 pocket"`); ok {
		r.Set(draft.ButtonPortion, v, e.span)
	} else if t.find("portion") == nil {
		r.Fail(plan.CodeMissing, e.span, `write portion = "1 pocket", or "0 pockets" to switch the button off`, "[button] has no portion")
	}
	if e, n := r.number(t, "per-hour", "per-hour = 2"); e != nil {
		if button.PerHour = n; n > r.Limits.PerHour {
			r.Fail(plan.CodeRange, e.value.span, "per-hour is how many presses are served before an hour without one", "per-hour = %s is outside 0 to %d", e.value.text.S, r.Limits.PerHour)
		}
	}
	if e, n := r.number(t, "per-day", "per-day = 6"); e != nil {
		if button.PerDay = n; n < 1 || n > r.Limits.PerDay {
			r.Fail(plan.CodeRange, e.value.span, `per-day is how many presses are served in 24 hours from the first; portion = "0 pockets" switches the button off`, "per-day = %s is outside 1 to %d", e.value.text.S, r.Limits.PerDay)
		}
	}
	r.unknownKeys(t, "button", buttonKeys)
}

// number takes a whole number; nil where it is absent or something else, which is reported.
func (r reader) number(t *table, key, example string) (*entry, int) {
	e := r.take(t, key)
	if e == nil {
		return nil, 0
	}
	n, ok := draft.WholeNumber(e.value.text.S)
	if e.value.kind != unstable.Integer || !ok {
		r.wrongType(e, "a whole number", example)
		return nil, 0
	}
	return e, n
}

func (r reader) meals(root *table) {
	e := r.take(root, "meal")
	switch {
	case e == nil:
		if r.Failed() {
			return // the meals may be in what could not be read
		}
		r.FailWhole(plan.CodeMissing, "add a [[meal]] with name, portion, dtstart and rrule", "the plan has no meals")
	case e.value.kind == unstable.Table:
		r.Fail(plan.CodeType, e.span, "write [[meal]] with two brackets: a plan may have several", "[meal] is a single table")
	case e.value.kind == unstable.Array && len(e.value.items) > 0 && !slices.ContainsFunc(e.value.items, notTable):
		for i, item := range e.value.items { // meal = [{…}, {…}] is the same in TOML
			if i == r.Limits.Meals {
				r.OverMeals(item.span)
				return
			}
			r.meal(item.tables[0])
		}
	case e.value.kind == unstable.Array:
		r.Fail(plan.CodeType, e.span, "write each meal under its own [[meal]] heading", "meal is a list of values")
	case e.value.kind != unstable.ArrayTable:
		r.wrongType(e, "a list of tables", "[[meal]]")
	case len(e.value.tables) > r.Limits.Meals: // none is looked at: there may be thousands
		r.OverMeals(e.value.tables[r.Limits.Meals].span)
	default:
		for _, t := range e.value.tables {
			r.meal(t)
		}
	}
}

func notTable(v value) bool { return v.kind != unstable.Table }

// meal reads one [[meal]].
func (r reader) meal(t *table) {
	m := draft.Meal{Heading: t.span, Set: draft.Set{Heading: t.span, Names: setNames}}
	if e, v, ok := r.str(t, "name", `name = "breakfast"`); ok {
		m.Name, m.NameAt = r.ProperName("name", v, inside(e.value)), inside(e.value)
	} else if e == nil {
		r.Fail(plan.CodeMissing, t.span, `write for example name = "breakfast"`, "the meal has no name")
	}
	if e, v, ok := r.str(t, "portion", `portion = "18 g" or portion = "3 pockets"`); ok {
		r.ReadPortion(&m, v, e.value.span)
	} else if e == nil {
		r.Fail(plan.CodeMissing, t.span, `write portion = "18 g" or portion = "3 pockets"`, "%s has no portion", m.Shown())
	}
	r.set(t, &m.Set)
	m.Presets, m.HasPresets = r.strings(t, "presets", `presets = ["everyday"]`)
	r.unknownKeys(t, "meal", mealKeys)
	r.AddMeal(m)
}

// setNames are the words for diagnostics about a meal.
var setNames = draft.Names{Start: "dtstart", Rule: "rrule", RDate: "rdate", ExDate: "exdate"}

// set reads dtstart, rrule, at, rdate and exdate.
func (r reader) set(t *table, set *draft.Set) {
	if e := r.take(t, "dtstart"); e != nil {
		if s, ok := r.stamp(e.value, "dtstart = 2026-12-01T07:00:00"); ok {
			set.Start = &s
		} else {
			set.Broken = true
		}
	}
	if e, v, ok := r.str(t, "rrule", `rrule = "FREQ=DAILY"`); ok {
		r.ReadRule(set, v)
	} else if e != nil {
		set.Broken = true
	}
	if times, ok := r.strings(t, "at", `at = ["07:00", "18:30"]`); ok {
		r.ReadTimes(set, times, t.find("at").value.span)
	} else if t.find("at") != nil {
		set.Broken = true
	}
	var ok bool
	set.RDate, ok = r.stamps(t, "rdate", "rdate = [2026-12-25T10:00:00]")
	set.Broken = set.Broken || !ok
	set.ExDate, _ = r.stamps(t, "exdate", "exdate = [2026-12-24T07:00:00]")
}
