package toml

import (
	"github.com/pelletier/go-toml/v2/unstable"

	"mealtab/compiler/draft"
	"mealtab/compiler/plan"
)

// stamp reads a TOML date or date-time.
func (r reader) stamp(v value, example string) (draft.Stamp, bool) {
	switch v.kind {
	case unstable.LocalDateTime, unstable.LocalDate, unstable.DateTime:
	case unstable.Invalid:
		return draft.Stamp{}, false
	case unstable.String:
		hint := "write it without quotes: " + example
		if _, _, err := plan.ParseExtended(v.text.S); err == nil {
			hint = "write it without quotes: " + v.text.S
		}
		r.Fail(plan.CodeType, v.span, hint, "a string stands where a date-time is wanted")
		return draft.Stamp{}, false
	default:
		r.Fail(plan.CodeType, v.span, "write "+example, "%s stands where a date-time is wanted", kindName(v.kind))
		return draft.Stamp{}, false
	}
	l, form, err := plan.ParseExtended(v.text.S)
	if err == nil {
		err = l.InCalendar()
	}
	if err != nil {
		r.Fail(err.Code, v.span, err.Hint, "%s %s", v.text.S, err.Message)
		return draft.Stamp{}, false
	}
	return draft.Stamp{Local: l, Form: form, Span: v.span, Shown: v.text.S}, true
}

// stamps reads a list of dates and date-times; ok is false after a fault, true when the key is absent.
func (r reader) stamps(t *table, key, example string) (list []draft.Stamp, ok bool) {
	e := r.take(t, key)
	if e == nil {
		return nil, true
	}
	if e.value.kind != unstable.Array {
		r.wrongType(e, "a list", example)
		return nil, false
	}
	ok = true
	for _, item := range e.value.items {
		s, good := r.stamp(item, example)
		ok = ok && good
		if good {
			list = append(list, s)
		}
	}
	return list, ok
}
