package draft

import (
	"cmp"
	"errors"
	"fmt"
	"math/big"
	"strconv"
	"strings"

	"mealtab/compiler/plan"
	"mealtab/compiler/source"
)

// amountKind is what the value of a key may be.
type amountKind struct {
	units   []unit
	also    []unit   // that the key takes too, but another reading of it
	like    string   // an example
	example string   // all examples, where there are several forms
	guess   []string // units that a number without one may have meant, the likeliest first
	signed  bool
	whole   bool             // in the base unit
	most    int64            // in the base unit; 0: not told by the unit
	least   func(Limits) int // of the feeder, in the base unit; nil: none
	limit   func(Limits) int
	none    string // what to do instead of writing a mass of nothing
}

var (
	portionAmount = amountKind{units: massUnits, also: pocketUnits, like: `"18 g"`, example: `"18 g" or "3 pockets"`, guess: []string{"g", "pockets"},
		most: maxPortion, none: "leave the meal out, or keep it out of a preset with presets"}
	pocketAmount = amountKind{units: massUnits, like: `"6.2 g"`, guess: []string{"g"}, most: maxPocket, none: "weigh what ten pockets give and write a tenth of it"}
	hopperAmount = amountKind{units: massUnits, like: `"1.4 kg"`, guess: []string{"kg", "g"}, most: maxHopper, none: "leave the key out where it is not known"}
	pocketCount  = amountKind{units: pocketUnits, like: `"3 pockets"`, guess: []string{"pockets"}}
	lateAmount   = amountKind{units: spanUnits, like: `"2h"`, example: `"2h" or "90 min"`, guess: []string{"h", "min"}, limit: func(l Limits) int { return l.Late }, whole: true}
	turnAmount   = amountKind{units: turnUnits, like: `"310 ms"`, guess: []string{"ms"}, least: func(l Limits) int { return l.MinTurn }, limit: func(l Limits) int { return l.MaxTurn }, whole: true}
	trimAmount   = amountKind{units: trimUnits, like: `"-12 us"`, guess: []string{"us"}, limit: func(l Limits) int { return l.Trim }, signed: true, whole: true}
)

func (k amountKind) examples() string { return cmp.Or(k.example, k.like) }

// withUnit writes a number without unit with those it may have meant, `"18 g"` or `"18 pockets"`; an example where none
// fits. Each is written after prefix.
func (k amountKind) withUnit(limits Limits, prefix, number string) string {
	q, ok := scanQuantity(number, 0)
	if !ok || q.number.Sign() == 0 || q.number.Sign() < 0 && !k.signed {
		return prefix + strings.ReplaceAll(k.examples(), " or ", " or "+prefix)
	}
	most := k.most
	if k.limit != nil {
		most = int64(k.limit(limits))
	}
	var list []string
	for _, name := range k.guess {
		q.unit = name
		switch r, ok := q.in(k.units); {
		case name == "pockets" && (!q.number.IsInt() || q.number.Cmp(big.NewRat(int64(limits.MealPockets), 1)) > 0):
			continue
		case name == "pockets" && number == "1":
			name = "pocket"
		case ok && k.whole && !r.IsInt(), ok && k.least != nil && r.Cmp(big.NewRat(int64(k.least(limits)), 1)) < 0:
			continue
		case ok && most > 0 && r.Cmp(big.NewRat(most, 1)) > 0, name == "g" && len(list) > 0: // grams where kilograms were too much
			continue
		}
		list = append(list, fmt.Sprintf("%s%q", prefix, number+" "+name))
	}
	if len(list) == 0 {
		return prefix + k.like
	}
	return strings.Join(list, " or ")
}

// amount reads one number with one of the units; nil after a fault, which is reported.
func (b *Builder) amount(t source.Text, k amountKind) *big.Rat {
	q, ok := scanQuantity(t.S, leadingSpace(t.S))
	list := unitList(k.units, k.also)
	if !ok {
		b.Fail(plan.CodeUnit, t.All(), amountHint(t.S, k), "%q is not a number with a unit (%s)", t.S, list)
		return nil
	}
	r, ok := q.in(k.units)
	switch {
	case strings.HasPrefix(q.unit, ","):
		b.Fail(plan.CodeUnit, t.All(), amountHint(t.S, k), "%q is not a number with a unit (%s)", t.S, list)
		return nil
	case q.unit == "":
		b.Fail(plan.CodeUnit, t.All(), "write "+k.withUnit(b.Limits, "", t.S[q.numberAt:q.numberEnd]), "%q has no unit (%s)", t.S, list)
		return nil
	case !ok:
		hint := ""
		if s, known := unitSynonyms[strings.ToLower(q.unit)]; known && strings.Contains(list, s) {
			hint = fmt.Sprintf("did you mean %q?", t.S[q.numberAt:q.numberEnd]+" "+s)
		}
		b.Fail(plan.CodeUnit, t.Span(q.unitAt, q.unitEnd), hint, "%q is not a unit for this (%s)", q.unit, list)
		return nil
	case strings.TrimSpace(t.S[q.unitEnd:]) != "":
		b.Fail(plan.CodeUnit, t.Span(q.unitEnd, len(t.S)), "write one number with one unit, such as "+k.examples(), "unexpected %q after the unit", strings.TrimSpace(t.S[q.unitEnd:]))
		return nil
	}
	return r
}

func leadingSpace(s string) int { return len(s) - len(strings.TrimLeft(s, " ")) }

// amountHint is the example, or a correction where a comma was used as the decimal point.
func amountHint(s string, k amountKind) string {
	if fixed := strings.Replace(s, ",", ".", 1); fixed != s {
		if q, ok := scanQuantity(fixed, leadingSpace(fixed)); ok && q.unit != "" {
			return fmt.Sprintf("write the decimal point as a point: %q", strings.TrimSpace(fixed))
		}
	}
	return "write " + k.examples()
}

// whole reports whether r is a whole number in [lo, hi] and gives it; else it reports and gives 0.
func (b *Builder) whole(t source.Text, r *big.Rat, lo, hi int64, unit string) int64 {
	if r == nil {
		return 0
	}
	switch {
	case r.Cmp(big.NewRat(lo, 1)) < 0 || r.Cmp(big.NewRat(hi, 1)) > 0:
		b.Fail(plan.CodeRange, t.All(), "", "%q is outside %d to %d %s", t.S, lo, hi, unit)
	case !r.IsInt():
		b.Fail(plan.CodeUnit, t.All(), "", "%q is not a whole number of %s", t.S, unit)
	default:
		return r.Num().Int64()
	}
	return 0
}

// mass reads a weight in milligrams, rounded to the nearest; 0 after a fault.
func (b *Builder) mass(t source.Text, k amountKind) int64 {
	r := b.amount(t, k)
	if r == nil {
		return 0
	}
	if mg, ok := k.milligrams(r); ok {
		return mg
	}
	b.Fail(plan.CodeRange, t.All(), k.massHint(t.S, r), "%q is outside 1 mg to %d kg", t.S, k.most/1_000_000)
	return 0
}

// milligrams rounds r; ok is false where that is outside of what the key takes.
func (k amountKind) milligrams(r *big.Rat) (mg int64, ok bool) {
	if r.Cmp(big.NewRat(k.most, 1)) > 0 || r.Sign() <= 0 {
		return 0, false
	}
	mg = round(r)
	return mg, mg > 0
}

// massHint says what a mass that is out of range may have been meant to be.
func (k amountKind) massHint(s string, r *big.Rat) string {
	q, _ := scanQuantity(s, leadingSpace(s))
	number := strings.TrimLeft(s[q.numberAt:q.numberEnd], "+-")
	switch _, positive := k.milligrams(new(big.Rat).Neg(r)); {
	case r.Sign() == 0:
		return k.none
	case positive:
		return fmt.Sprintf("write %q", number+" "+q.unit)
	case r.Sign() < 0:
		return "write " + k.examples()
	}
	for _, c := range []struct {
		written, meant string
		factor         int64
	}{{"kg", "g", 1000}, {"g", "mg", 1000}, {"lb", "oz", 16}} {
		if _, fits := k.milligrams(new(big.Rat).Quo(r, big.NewRat(c.factor, 1))); fits && c.written == q.unit {
			return fmt.Sprintf("did you mean %q?", number+" "+c.meant)
		}
	}
	return "is the unit right? " + k.like + " is an example"
}

// portion reads a weight or a number of pockets. zeroOK allows "0 pockets".
func (b *Builder) portion(t source.Text, zeroOK bool) plan.Portion {
	q, ok := scanQuantity(t.S, leadingSpace(t.S))
	if !ok || !strings.HasPrefix(q.unit, "pocket") {
		k := portionAmount
		if zeroOK {
			k.none = `write "0 pockets"`
		}
		return plan.Portion{Milligrams: b.mass(t, k)}
	}
	lo := int64(1)
	if zeroOK {
		lo = 0
	}
	r := b.amount(t, pocketCount)
	if r != nil && !r.IsInt() {
		b.Fail(plan.CodeUnit, t.All(), `give the weight instead ("18 g"): the feeder then carries the remainder`, "%q: a wheel turns whole pockets", t.S)
		return plan.Portion{}
	}
	return plan.Portion{Pockets: int(b.whole(t, r, lo, int64(b.Limits.MealPockets), "pockets"))}
}

// late reads a duration in minutes, "2h" or "1h 30min".
func (b *Builder) late(t source.Text) int {
	total := new(big.Rat)
	for at := leadingSpace(t.S); ; {
		q, ok := scanQuantity(t.S, at)
		if ok && q.unitEnd < len(t.S) {
			if r, known := q.in(spanUnits); known {
				total.Add(total, r)
				at = q.unitEnd + leadingSpace(t.S[q.unitEnd:])
				if at < len(t.S) {
					continue
				}
				break
			}
		}
		r := b.amount(t.Sub(at, len(t.S)), lateAmount)
		if r == nil {
			return defaultLate
		}
		total.Add(total, r)
		break
	}
	if total.Cmp(big.NewRat(int64(b.Limits.Late), 1)) > 0 {
		b.Fail(plan.CodeRange, t.All(), "a day later the next meals have long come", "%q is more than 24 h", t.S)
		return defaultLate
	}
	return int(b.whole(t, total, 0, int64(b.Limits.Late), "minutes"))
}

func (b *Builder) turn(t source.Text) int {
	return int(b.whole(t, b.amount(t, turnAmount), int64(max(1, b.Limits.MinTurn)), int64(b.Limits.MaxTurn), "ms"))
}

func (b *Builder) trim(t source.Text) int {
	return int(b.whole(t, b.amount(t, trimAmount), int64(-b.Limits.Trim), int64(b.Limits.Trim), "us"))
}

// amounts are the settings whose values are a number with a unit.
var amounts = map[Setting]amountKind{Late: lateAmount, Pocket: pocketAmount, Turn: turnAmount, Trim: trimAmount, Hopper: hopperAmount, ButtonPortion: portionAmount}

// WithUnit says what to write for a number without unit: the setting with each unit that may have been meant, every one after prefix.
// example is a value that a setting of this kind may have.
func (b *Builder) WithUnit(s Setting, prefix, number string) (write, example string) {
	k := amounts[s]
	return k.withUnit(b.Limits, prefix, number), k.like
}

// WholeNumber reads digits without a sign; a number too large to be meant is the largest. ok is false for anything else.
func WholeNumber(s string) (n int, ok bool) {
	v, err := strconv.ParseUint(s, 10, 31)
	return int(v), err == nil || errors.Is(err, strconv.ErrRange)
}
