package reader

import (
	"slices"

	"mealtab/compiler/plan"

	"github.com/pelletier/go-toml/v2/unstable"
)

// The keys of each table, for "did you mean".
var (
	rootKeys   = []string{"plan", "zone", "late", "board", "gap", "wheel", "hopper", "button", "pet", "food", "meal"}
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

// defaultLate is the grace for a missed serving when the plan does not say: short enough not to run into the next
// meal of a usual day, long enough for most power cuts. Common practice, no source.
const defaultLate = 120

// tomlPlan reads the tree of tables into the plan.
func (b *builder) tomlPlan(root *tomlTable) {
	p := b.plan
	p.Late = defaultLate
	if e, t, ok := b.str(root, "plan", `plan = "Juniper and Moss"`); ok {
		p.Name = b.properName("plan", t, inside(e.value))
	}
	b.tomlZone(root)
	if e, t, ok := b.str(root, "late", `late = "2h"`); ok {
		p.Where.Late, p.Late = b.ix.pos(e.value.span), b.late(t)
	}
	if e, t, ok := b.str(root, "board", `board = "m328-mains"`); ok {
		p.Where.Board, p.Board = b.ix.pos(e.value.span), b.board(t)
	}
	if e, t, ok := b.str(root, "gap", `gap = "omit"`); ok {
		p.Where.Gap, p.Gap = b.ix.pos(e.value.span), b.gap(t)
	}
	b.tomlWheel(root)
	if e, t := b.table(root, "hopper"); t != nil {
		p.Where.Hopper = b.ix.pos(e.span)
		if _, holds, ok := b.str(t, "holds", `holds = "1.4 kg"`); ok {
			p.Hopper = b.mass(holds, hopperAmount)
		}
		b.unknownKeys(t, "hopper", hopperKeys)
	}
	b.tomlButton(root)
	b.tomlPets(root)
	b.tomlMeals(root)
	b.unknownKeys(root, "", rootKeys)
	b.finishPlan()
}

func (b *builder) tomlZone(root *tomlTable) {
	e, t, ok := b.str(root, "zone", `zone = "Europe/Lisbon"`)
	switch {
	case ok:
		b.plan.Where.Zone = b.ix.pos(e.value.span)
		b.plan.Zone = b.zone(t)
	case e == nil:
		b.failWhole(plan.CodeMissing, `write for example zone = "Europe/Lisbon" at the top (an IANA time zone name)`, "the plan has no zone")
	}
}

func (b *builder) tomlWheel(root *tomlTable) {
	e, t := b.table(root, "wheel")
	if t == nil {
		return
	}
	w := &plan.Wheel{}
	b.plan.Wheel, b.plan.Where.Wheel = w, b.ix.pos(e.span)
	if _, v, ok := b.str(t, "pocket", `pocket = "6.2 g"`); ok {
		w.PocketMilligrams = b.mass(v, pocketAmount)
	}
	b.pocketBroken = t.find("pocket") != nil && w.PocketMilligrams == 0
	if _, v, ok := b.str(t, "turn", `turn = "310 ms"`); ok {
		w.TurnMillis = b.turn(v)
	}
	if _, v, ok := b.str(t, "trim", `trim = "-12 us"`); ok {
		w.TrimMicros = b.trim(v)
	}
	b.unknownKeys(t, "wheel", wheelKeys)
}

func (b *builder) tomlButton(root *tomlTable) {
	e, t := b.table(root, "button")
	if t == nil {
		return
	}
	button := &plan.Button{PerHour: defaultPerHour}
	b.plan.Button, b.plan.Where.Button = button, b.ix.pos(e.span)
	if portion, v, ok := b.str(t, "portion", `portion = "1 pocket"`); ok {
		button.Portion, b.buttonAt = b.portion(v, true), inside(portion.value)
	} else if t.find("portion") == nil {
		b.fail(plan.CodeMissing, e.span, `write portion = "1 pocket", or "0 pockets" to switch the button off`, "[button] has no portion")
	}
	if e := b.take(t, "per-hour"); e != nil {
		n := 0
		if e.value.kind != unstable.Integer || !plan.AllDigits(e.value.text.s) {
			b.wrongType(e, "a whole number", "per-hour = 2")
		} else if n = atoi(clip(e.value.text.s, 6)); n > b.limits.PerHour {
			b.fail(plan.CodeRange, e.value.span, "per-hour is how many presses are served before an hour without one", "per-hour = %s is outside 0 to %d", e.value.text.s, b.limits.PerHour)
		}
		button.PerHour = n
	}
	if e := b.take(t, "per-day"); e != nil {
		n := 0
		if e.value.kind != unstable.Integer || !plan.AllDigits(e.value.text.s) {
			b.wrongType(e, "a whole number", "per-day = 6")
		} else if n = atoi(clip(e.value.text.s, 6)); n < 1 || n > b.limits.PerDay {
			b.fail(plan.CodeRange, e.value.span, `per-day is how many presses are served in 24 hours from the first; portion = "0 pockets" switches the button off`, "per-day = %s is outside 1 to %d", e.value.text.s, b.limits.PerDay)
		}
		button.PerDay = n
	}
	b.unknownKeys(t, "button", buttonKeys)
}

func clip(s string, n int) string { return s[:min(n, len(s))] }

func (b *builder) tomlMeals(root *tomlTable) {
	e := b.take(root, "meal")
	switch {
	case e == nil:
		if b.errorCount > 0 {
			return // the meals may be in what could not be read
		}
		b.failWhole(plan.CodeMissing, "add a [[meal]] with name, portion, dtstart and rrule", "the plan has no meals")
	case e.value.kind == unstable.Table:
		b.fail(plan.CodeType, e.span, "write [[meal]] with two brackets: a plan may have several", "[meal] is a single table")
	case e.value.kind == unstable.Array && len(e.value.items) > 0 && !slices.ContainsFunc(e.value.items, notTable):
		for i, item := range e.value.items { // meal = [{…}, {…}] is the same in TOML
			if i == b.limits.Meals {
				b.overMeals(item.span)
				return
			}
			b.tomlMeal(item.tables[0])
		}
	case e.value.kind == unstable.Array:
		b.fail(plan.CodeType, e.span, "write each meal under its own [[meal]] heading", "meal is a list of values")
	case e.value.kind != unstable.ArrayTable:
		b.wrongType(e, "a list of tables", "[[meal]]")
	case len(e.value.tables) > b.limits.Meals: // none is looked at: there may be thousands
		b.overMeals(e.value.tables[b.limits.Meals].span)
	default:
		for _, t := range e.value.tables {
			b.tomlMeal(t)
		}
	}
}

func notTable(v tomlValue) bool { return v.kind != unstable.Table }

// tomlMeal reads one [[meal]].
func (b *builder) tomlMeal(t *tomlTable) {
	m := rawMeal{heading: t.span, set: rawSet{heading: t.span, keys: tomlNames}}
	if e, v, ok := b.str(t, "name", `name = "breakfast"`); ok {
		m.name, m.nameAt = b.properName("name", v, inside(e.value)), inside(e.value)
	} else if e == nil {
		b.fail(plan.CodeMissing, t.span, `write for example name = "breakfast"`, "the meal has no name")
	}
	if e, v, ok := b.str(t, "portion", `portion = "18 g" or portion = "3 pockets"`); ok {
		m.portion, m.portionAt = b.portion(v, false), e.value.span
	} else if e == nil {
		b.fail(plan.CodeMissing, t.span, `write portion = "18 g" or portion = "3 pockets"`, "%s has no portion", m.shown())
	}
	b.tomlSet(t, &m.set)
	m.presets, m.presetSpans, m.hasPresets = b.strings(t, "presets", `presets = ["everyday"]`)
	b.unknownKeys(t, "meal", mealKeys)
	b.addMeal(m)
}

// tomlNames are the words for diagnostics about a TOML meal.
var tomlNames = setNames{start: "dtstart", rule: "rrule", rdate: "rdate", exdate: "exdate"}

// tomlSet reads dtstart, rrule, at, rdate and exdate.
func (b *builder) tomlSet(t *tomlTable, set *rawSet) {
	if e := b.take(t, "dtstart"); e != nil {
		if s, ok := b.stamp(e.value, "dtstart = 2026-12-01T07:00:00"); ok {
			set.start = &s
		} else {
			set.broken = true
		}
	}
	e, v, ok := b.str(t, "rrule", `rrule = "FREQ=DAILY"`)
	switch {
	case ok:
		set.ruleText, set.hasRule = v, true
		if set.rule = b.rule(v); set.rule == nil {
			set.broken = true
		}
	case e != nil:
		set.broken = true
	}
	if times, spans, ok := b.strings(t, "at", `at = ["07:00", "18:30"]`); ok {
		set.at, set.atSpan = b.times(times, spans), t.find("at").value.span
		set.broken = set.broken || len(set.at) == 0
	} else if t.find("at") != nil {
		set.broken = true
	}
	set.rdate, ok = b.stamps(t, "rdate", "rdate = [2026-12-25T10:00:00]")
	set.broken = set.broken || !ok
	set.exdate, _ = b.stamps(t, "exdate", "exdate = [2026-12-24T07:00:00]")
}
