package plan

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// numberRange is the range of one BYxxx list: lo to hi, and -hi to -lo when signed.
type numberRange struct {
	lo, hi int
	signed bool
	hint   string
}

func (r numberRange) String() string {
	if r.signed {
		return fmt.Sprintf("%d to %d and -%d to -%d", r.lo, r.hi, r.hi, r.lo)
	}
	return fmt.Sprintf("%d to %d", r.lo, r.hi)
}

func (r numberRange) contains(n int) bool {
	return n >= r.lo && n <= r.hi || r.signed && -n >= r.lo && -n <= r.hi
}

// integer reads s[from:to] as a decimal number of at most 9 digits; ok is false for anything else.
func (p *ruleParser) integer(from, to int, signed bool) (n int, ok bool) {
	digits := p.s[from:to]
	if signed && len(digits) > 0 && (digits[0] == '+' || digits[0] == '-') {
		digits = digits[1:]
	}
	if !allDigits(digits) || len(digits) > 9 {
		return 0, false
	}
	n, err := strconv.Atoi(p.s[from:to])
	return n, err == nil
}

// allDigits says that there are digits and nothing else.
func allDigits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != ""
}

// numbers reads a comma-separated list, sorted and without repetitions.
func (p *ruleParser) numbers(part rulePart, r numberRange) []int {
	var list []int
	for _, e := range p.pieces(part.valueFrom, part.valueTo, ',') {
		if e[0] == e[1] {
			p.emptyElement(part, e[0])
			continue
		}
		n, ok := p.integer(e[0], e[1], true)
		switch {
		case !ok:
			p.fail(CodeRule, e[0], e[1], r.hint, "%s=%s is not a whole number from %v", part.name, p.s[e[0]:e[1]], r)
		case !r.contains(n):
			p.fail(CodeRange, e[0], e[1], r.hint, "%s=%s is outside %v", part.name, p.s[e[0]:e[1]], r)
		default:
			list = append(list, n)
		}
	}
	slices.Sort(list)
	return slices.Compact(list)
}

func (p *ruleParser) emptyElement(part rulePart, at int) {
	p.fail(CodeRule, min(at, len(p.s)-1), min(at+1, len(p.s)), "remove one of the commas", "%s has an empty element", part.name)
}

// positive reads INTERVAL or COUNT.
func (p *ruleParser) positive(part rulePart, hint string) int {
	n, ok := p.integer(part.valueFrom, part.valueTo, false)
	value := p.s[part.valueFrom:part.valueTo]
	switch {
	case !ok && allDigits(value):
		p.fail(CodeRange, part.valueFrom, part.valueTo, "", "%s=%s is above %d", part.name, value, maxNumber)
	case !ok:
		p.fail(CodeRule, part.valueFrom, part.valueTo, hint, "%s=%s is not a whole number", part.name, value)
	case n == 0:
		p.fail(CodeRange, part.valueFrom, part.valueTo, hint, "%s=%s must be at least 1", part.name, value)
	default:
		return n
	}
	return 1
}

// days reads BYDAY: MO, 2TU, -1FR.
func (p *ruleParser) days(part rulePart) []WeekdayNum {
	var list []WeekdayNum
	for _, e := range p.pieces(part.valueFrom, part.valueTo, ',') {
		if e[0] == e[1] {
			p.emptyElement(part, e[0])
			continue
		}
		if d, ok := p.day(part, e[0], e[1]); ok {
			list = append(list, d)
		}
	}
	sortDays(list)
	return slices.Compact(list)
}

func sortDays(list []WeekdayNum) {
	slices.SortFunc(list, func(a, b WeekdayNum) int {
		return cmp.Or(cmp.Compare(a.N, b.N), cmp.Compare(a.Day, b.Day))
	})
}

func (p *ruleParser) day(part rulePart, from, to int) (WeekdayNum, bool) {
	word := p.s[from:to]
	nameFrom := from + len(word) - len(strings.TrimLeft(word, "+-0123456789"))
	name := strings.ToUpper(p.s[nameFrom:to])
	day := slices.Index(DayNames, name)
	if day < 0 {
		hint := "weekdays are MO, TU, WE, TH, FR, SA, SU; the last Friday of a month is -1FR"
		if s, ok := wordSynonyms[strings.ToLower(name)]; ok {
			hint = "did you mean " + p.s[from:nameFrom] + s + "?"
		}
		p.fail(CodeRule, from, to, hint, "BYDAY=%s is not a weekday", word)
		return WeekdayNum{}, false
	}
	if nameFrom == from {
		return WeekdayNum{0, Weekday(day)}, true
	}
	r := numberRange{lo: 1, hi: 53, signed: true}
	n, ok := p.integer(from, nameFrom, true)
	if !ok || !r.contains(n) {
		p.fail(CodeRange, from, to, "the first Monday is 1MO, the last is -1MO", "BYDAY=%s: the number is outside %v", word, r)
		return WeekdayNum{}, false
	}
	return WeekdayNum{n, Weekday(day)}, true
}

// until reads a DATE or DATE-TIME in RFC 5545's basic format.
func (p *ruleParser) until(part rulePart) *Until {
	value := p.s[part.valueFrom:part.valueTo]
	l, form, err := ParseBasic(value)
	if err != nil {
		p.fail(CodeDate, part.valueFrom, part.valueTo, err.Hint, "UNTIL=%s %s", value, err.Message)
		return nil
	}
	return &Until{Form: form, Local: l}
}
