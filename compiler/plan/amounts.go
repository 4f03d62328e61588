package plan

import (
	"fmt"
	"math/big"
	"strings"
)

// amount reads one number with one of units; nil after a fault, which is reported.
func (b *builder) amount(t text, units []unit, example string, also ...[]unit) *big.Rat {
	q, ok := scanQuantity(t.s, leadingSpace(t.s))
	list := unitList(append([][]unit{units}, also...)...)
	if !ok {
		b.fail(CodeUnit, t.all(), amountHint(t.s, example), "%q is not a number with a unit (%s)", t.s, list)
		return nil
	}
	r, ok := q.in(units)
	switch {
	case strings.HasPrefix(q.unit, ","):
		b.fail(CodeUnit, t.all(), amountHint(t.s, example), "%q is not a number with a unit (%s)", t.s, list)
		return nil
	case q.unit == "":
		b.fail(CodeUnit, t.all(), "write "+example, "%q has no unit (%s)", t.s, list)
		return nil
	case !ok:
		hint := ""
		if s, known := unitSynonyms[strings.ToLower(q.unit)]; known && strings.Contains(list, s) {
			hint = fmt.Sprintf("did you mean %q?", t.s[q.numberAt:q.numberEnd]+" "+s)
		}
		b.fail(CodeUnit, t.span(q.unitAt, q.unitEnd), hint, "%q is not a unit for this (%s)", q.unit, list)
		return nil
	case strings.TrimSpace(t.s[q.unitEnd:]) != "":
		b.fail(CodeUnit, t.span(q.unitEnd, len(t.s)), "write one number with one unit, such as "+example, "unexpected %q after the unit", strings.TrimSpace(t.s[q.unitEnd:]))
		return nil
	}
	return r
}

func leadingSpace(s string) int { return len(s) - len(strings.TrimLeft(s, " ")) }

// amountHint is the example, or a correction where a comma was used as the decimal point.
func amountHint(s, example string) string {
	if fixed := strings.Replace(s, ",", ".", 1); fixed != s {
		if q, ok := scanQuantity(fixed, leadingSpace(fixed)); ok && q.unit != "" {
			return fmt.Sprintf("write the decimal point as a point: %q", strings.TrimSpace(fixed))
		}
	}
	return "write " + example
}

// whole reports whether r is a whole number in [lo, hi] and gives it; else it reports and gives 0.
func (b *builder) whole(t text, r *big.Rat, lo, hi int64, unit string) int64 {
	if r == nil {
		return 0
	}
	switch {
	case r.Cmp(big.NewRat(lo, 1)) < 0 || r.Cmp(big.NewRat(hi, 1)) > 0:
		b.fail(CodeRange, t.all(), "", "%q is outside %d to %d %s", t.s, lo, hi, unit)
	case !r.IsInt():
		b.fail(CodeUnit, t.all(), "", "%q is not a whole number of %s", t.s, unit)
	default:
		return r.Num().Int64()
	}
	return 0
}

// mass reads a weight in milligrams, rounded to the nearest; 0 after a fault.
func (b *builder) mass(t text, maxMilligrams int64) int64 {
	r := b.amount(t, massUnits, `"6.2 g"`)
	if r == nil {
		return 0
	}
	mg := int64(-1)
	if r.Cmp(big.NewRat(maxMilligrams, 1)) <= 0 && r.Sign() > 0 {
		mg = round(r)
	}
	if mg <= 0 {
		b.fail(CodeRange, t.all(), "", "%q is outside 1 mg to %d kg", t.s, maxMilligrams/1_000_000)
		return 0
	}
	return mg
}

// portion reads a weight or a number of pockets. zeroOK allows "0 pockets".
func (b *builder) portion(t text, zeroOK bool) Portion {
	q, ok := scanQuantity(t.s, leadingSpace(t.s))
	if !ok || !strings.HasPrefix(q.unit, "pocket") {
		if r := b.amount(t, massUnits, `"18 g" or "3 pockets"`, pocketUnits); r == nil {
			return Portion{}
		}
		return Portion{Milligrams: b.mass(t, maxPortion)}
	}
	lo := int64(1)
	if zeroOK {
		lo = 0
	}
	r := b.amount(t, pocketUnits, `"3 pockets"`)
	if r != nil && !r.IsInt() {
		b.fail(CodeUnit, t.all(), `give the weight instead ("18 g"): the feeder then carries the remainder`, "%q: a wheel turns whole pockets", t.s)
		return Portion{}
	}
	return Portion{Pockets: int(b.whole(t, r, lo, maxPockets, "pockets"))}
}

// late reads a duration in minutes, "2h" or "1h 30min".
func (b *builder) late(t text) int {
	const example = `"2h" or "90 min"`
	total := new(big.Rat)
	for at := leadingSpace(t.s); ; {
		q, ok := scanQuantity(t.s, at)
		if ok && q.unitEnd < len(t.s) {
			if r, known := q.in(spanUnits); known {
				total.Add(total, r)
				at = q.unitEnd + leadingSpace(t.s[q.unitEnd:])
				if at < len(t.s) {
					continue
				}
				break
			}
		}
		r := b.amount(t.sub(at, len(t.s)), spanUnits, example)
		if r == nil {
			return defaultLate
		}
		total.Add(total, r)
		break
	}
	if total.Cmp(big.NewRat(maxLate, 1)) > 0 {
		b.fail(CodeRange, t.all(), "a day later the next meals have long come", "%q is more than 24 h", t.s)
		return defaultLate
	}
	return int(b.whole(t, total, 0, maxLate, "minutes"))
}

func (b *builder) turn(t text) int {
	return int(b.whole(t, b.amount(t, turnUnits, `"310 ms"`), 1, maxTurn, "ms"))
}

func (b *builder) trim(t text) int {
	return int(b.whole(t, b.amount(t, trimUnits, `"-12 us"`), -maxTrim, maxTrim, "us"))
}
