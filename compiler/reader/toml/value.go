package toml

import (
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/advice"
	"mealtab/compiler/draft"
	"mealtab/compiler/plan"
	"mealtab/compiler/source"

	"github.com/pelletier/go-toml/v2/unstable"
)

// take finds a key and marks it as known. A key whose value could not be read counts as taken.
func (r reader) take(t *table, key string) *entry {
	e := t.find(key)
	if e != nil {
		e.used = true
	}
	return e
}

// measured are the keys whose values are a number with a unit.
var measured = map[string]draft.Setting{"late": draft.Late, "pocket": draft.Pocket, "turn": draft.Turn, "trim": draft.Trim,
	"holds": draft.Hopper, "portion": draft.ButtonPortion}

// str takes a string. The entry is nil when the key is absent; ok is false when it is absent or not a string.
func (r reader) str(t *table, key, example string) (e *entry, v source.Text, ok bool) {
	e = r.take(t, key)
	if e == nil {
		return nil, source.Text{}, false
	}
	if e.value.kind == unstable.String {
		return e, e.value.text, true
	}
	setting, isMeasured := measured[key]
	if isMeasured && (e.value.kind == unstable.Integer || e.value.kind == unstable.Float) {
		write, like := r.WithUnit(setting, key+" = ", e.value.text.S)
		r.Fail(plan.CodeType, e.value.span, "write "+write, "%s must be a string with a unit, like %s", key, like)
	} else {
		r.wrongType(e, "a string", example)
	}
	return e, source.Text{}, false
}

// strings takes a list of strings.
func (r reader) strings(t *table, key, example string) (list []draft.Field, ok bool) {
	e := r.take(t, key)
	if e == nil {
		return nil, false
	}
	if e.value.kind != unstable.Array {
		r.wrongType(e, "a list", example)
		return nil, false
	}
	if len(e.value.items) == 0 {
		r.Fail(plan.CodeMissing, e.value.span, "leave the key out, or write "+example, "the list of %s is empty", key)
		return nil, false
	}
	for _, item := range e.value.items {
		if item.kind != unstable.String {
			r.Fail(plan.CodeType, item.span, "write "+example, "%s holds %s where a string is wanted", key, kindName(item.kind))
			return nil, false
		}
		list = append(list, draft.Field{Text: item.text, At: inside(item)})
	}
	return list, true
}

// inside is the place of a string without its quotes, or with them when there is nothing between.
func inside(v value) source.Span {
	if v.text.S == "" {
		return v.span
	}
	return v.text.All()
}

// table takes a table; nil when it is absent or something else.
func (r reader) table(t *table, key string) (*entry, *table) {
	e := r.take(t, key)
	switch {
	case e == nil:
		return nil, nil
	case e.value.kind != unstable.Table:
		r.wrongType(e, "a table", "["+key+"]")
		return e, nil
	}
	return e, e.value.tables[0]
}

func (r reader) wrongType(e *entry, want, example string) {
	if e.value.kind == unstable.Invalid {
		return // reported when it could not be read
	}
	r.Fail(plan.CodeType, e.value.span, "write "+example, "%s is %s, not %s", e.key, kindName(e.value.kind), want)
}

func kindName(k unstable.Kind) string {
	switch k {
	case unstable.String:
		return "a string"
	case unstable.Bool:
		return "a yes-or-no value"
	case unstable.Integer, unstable.Float:
		return "a number"
	case unstable.LocalTime:
		return "a time of day"
	case unstable.LocalDate:
		return "a date"
	case unstable.LocalDateTime, unstable.DateTime:
		return "a date-time"
	case unstable.Array:
		return "a list"
	case unstable.Table:
		return "a table"
	case unstable.ArrayTable:
		return "a list of tables"
	}
	return "something else"
}

// unknownKeys reports the keys nobody has taken.
func (r reader) unknownKeys(t *table, table string, known []string) {
	where := "[" + table + "]"
	switch table {
	case "":
		where = "a plan"
	case "meal", "pet":
		where = "a [[" + table + "]]"
	}
	for _, e := range t.entries {
		if e.used {
			continue
		}
		what := "key"
		if e.value.kind == unstable.Table || e.value.kind == unstable.ArrayTable {
			what = "table"
		}
		r.Fail(plan.CodeUnknown, e.span, unknownHint(e.key, table, known), "%s is not a %s of %s", e.key, what, where)
	}
}

// unknownHint knows the keys of the other tables: in TOML a key belongs to the heading above it, which is easily
// forgotten.
func unknownHint(key, table string, known []string) string {
	homes := []struct {
		table string
		keys  []string
	}{{"", rootKeys}, {"wheel", wheelKeys}, {"hopper", hopperKeys}, {"button", buttonKeys}, {"meal", mealKeys}}
	for _, h := range homes {
		if h.table == table || !slices.ContainsFunc(h.keys, func(k string) bool { return strings.EqualFold(k, key) }) {
			continue
		}
		switch h.table {
		case "":
			return key + " belongs at the top of the plan, before the first [table]"
		case "meal":
			return key + " belongs under a [[meal]]"
		}
		return fmt.Sprintf("%s belongs under [%s]", key, h.table)
	}
	return advice.DidYouMean(key, known, keySynonyms)
}
