package reader

import (
	"fmt"
	"strings"

	"mealtab/compiler/advice"
	"mealtab/compiler/plan"

	"github.com/pelletier/go-toml/v2/unstable"
)

// take finds a key and marks it as known. A key whose value could not be read counts as taken.
func (b *builder) take(t *tomlTable, key string) *tomlEntry {
	e := t.find(key)
	if e != nil {
		e.used = true
	}
	return e
}

// measured are the keys whose values are a number with a unit.
var measured = map[string]amountKind{"late": lateAmount, "pocket": pocketAmount, "turn": turnAmount, "trim": trimAmount,
	"holds": hopperAmount, "portion": portionAmount}

// str takes a string. The entry is nil when the key is absent; ok is false when it is absent or not a string.
func (b *builder) str(t *tomlTable, key, example string) (e *tomlEntry, v text, ok bool) {
	e = b.take(t, key)
	if e == nil {
		return nil, text{}, false
	}
	if e.value.kind == unstable.String {
		return e, e.value.text, true
	}
	kind, isMeasured := measured[key]
	if isMeasured && (e.value.kind == unstable.Integer || e.value.kind == unstable.Float) {
		b.fail(plan.CodeType, e.value.span, "write "+kind.withUnit(b.limits, key+" = ", e.value.text.s), "%s must be a string with a unit, like %s", key, kind.like)
	} else {
		b.wrongType(e, "a string", example)
	}
	return e, text{}, false
}

// strings takes a list of strings.
func (b *builder) strings(t *tomlTable, key, example string) (list []text, spans []span, ok bool) {
	e := b.take(t, key)
	if e == nil {
		return nil, nil, false
	}
	if e.value.kind != unstable.Array {
		b.wrongType(e, "a list", example)
		return nil, nil, false
	}
	if len(e.value.items) == 0 {
		b.fail(plan.CodeMissing, e.value.span, "leave the key out, or write "+example, "the list of %s is empty", key)
		return nil, nil, false
	}
	for _, item := range e.value.items {
		if item.kind != unstable.String {
			b.fail(plan.CodeType, item.span, "write "+example, "%s holds %s where a string is wanted", key, kindName(item.kind))
			return nil, nil, false
		}
		list = append(list, item.text)
		spans = append(spans, inside(item))
	}
	return list, spans, true
}

// inside is the place of a string without its quotes, or with them when there is nothing between.
func inside(v tomlValue) span {
	if v.text.s == "" {
		return v.span
	}
	return v.text.all()
}

// table takes a table; nil when it is absent or something else.
func (b *builder) table(t *tomlTable, key string) (*tomlEntry, *tomlTable) {
	e := b.take(t, key)
	switch {
	case e == nil:
		return nil, nil
	case e.value.kind != unstable.Table:
		b.wrongType(e, "a table", "["+key+"]")
		return e, nil
	}
	return e, e.value.tables[0]
}

func (b *builder) wrongType(e *tomlEntry, want, example string) {
	if e.value.kind == unstable.Invalid {
		return // reported when it could not be read
	}
	b.fail(plan.CodeType, e.value.span, "write "+example, "%s is %s, not %s", e.key, kindName(e.value.kind), want)
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
func (b *builder) unknownKeys(t *tomlTable, table string, known []string) {
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
		b.fail(plan.CodeUnknown, e.span, unknownHint(e.key, table, known), "%s is not a %s of %s", e.key, what, where)
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
		if h.table == table || !contains(h.keys, key) {
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

func contains(list []string, s string) bool {
	for _, x := range list {
		if strings.EqualFold(x, s) {
			return true
		}
	}
	return false
}
