package plan

import (
	"fmt"
	"math/big"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2/unstable"
)

// Bounds of what a feeder of this kind can mean; beyond them a unit is wrong.
const (
	maxPortion     = 5_000_000  // mg: 5 kg
	maxPocket      = 1_000_000  // mg: 1 kg
	maxHopper      = 50_000_000 // mg: 50 kg
	maxPockets     = 1000
	maxLate        = 1440   // minutes
	maxTurn        = 60_000 // ms
	maxTrim        = 500    // µs either way
	maxPerHour     = 15
	defaultPerHour = 2
	maxNameLength  = 60
)

// zone checks the name of the plan's time zone.
func (b *builder) zone(t text) string {
	name := strings.TrimSpace(t.s)
	if b.opts.CheckZone == nil {
		if !zoneSpelling.MatchString(name) {
			b.fail(CodeZone, t.all(), `IANA names look like "Europe/Lisbon" or "America/New_York"`, "%q is not an IANA time zone name", t.s)
			return ""
		}
		return name
	}
	if err := b.opts.CheckZone(name); err != nil {
		hint := ""
		if h, ok := err.(interface{ Hint() string }); ok {
			hint = h.Hint()
		}
		b.fail(CodeZone, t.all(), hint, "%v", err)
		return ""
	}
	return name
}

// zoneSpelling is the spelling of IANA names: components of letters, digits and _ - +.
var zoneSpelling = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_+-]*(/[A-Za-z0-9_+-]+){0,3}$`)

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

func (b *builder) gap(t text) Gap {
	switch strings.ToLower(strings.TrimSpace(t.s)) {
	case "shift":
		return GapShift
	case "omit":
		return GapOmit
	}
	b.fail(CodeUnknown, t.all(), `"shift" serves at the time after the change (the default), "omit" leaves the serving out`,
		"gap %q does not exist", t.s)
	return GapShift
}

// boardSpelling is the spelling of a profile's name. A path has a slash or ends in .toml.
var boardSpelling = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

func (b *builder) board(t text) string {
	name := strings.TrimSpace(t.s)
	isPath := strings.ContainsAny(name, `/\`) || strings.HasSuffix(strings.ToLower(name), ".toml")
	if isPath && strings.HasSuffix(strings.ToLower(name), ".toml") || boardSpelling.MatchString(name) {
		return name
	}
	hint := `profiles have names such as "m328-mains"; a path ends in .toml`
	if lower := strings.ToLower(strings.ReplaceAll(strings.ReplaceAll(name, " ", "-"), "_", "-")); boardSpelling.MatchString(lower) {
		hint = fmt.Sprintf("did you mean %q?", lower)
	}
	b.fail(CodeName, t.all(), hint, "%q is neither the name of a board profile nor the path of one", t.s)
	return ""
}

// properName checks a name that will be shown on one line.
func (b *builder) properName(what string, t text, at span) string {
	name := strings.TrimSpace(t.s)
	switch {
	case name == "":
		b.fail(CodeName, at, "", "%s is empty", what)
	case strings.ContainsFunc(name, unicode.IsControl):
		b.fail(CodeName, at, "write it on one line", "%s has control characters", what)
	case utf8.RuneCountInString(name) > maxNameLength:
		b.fail(CodeName, at, "", "%s is longer than %d characters", what, maxNameLength)
	default:
		return name
	}
	return ""
}

// times reads at, in ascending order; nil after a fault.
func (b *builder) times(list []text, spans []span) []int {
	var minutes []int
	seen := map[int]bool{}
	faults := false
	for i, t := range list {
		minute, err := parseTimeOfDay(t.s)
		switch {
		case err != nil:
			b.fail(Code(err.code), spans[i], err.hint, "%q %s", t.s, err.message)
			faults = true
		case seen[minute]:
			b.fail(CodeDuplicate, spans[i], "remove one of them", "%q is given twice", t.s)
			faults = true
		default:
			seen[minute] = true
			minutes = append(minutes, minute)
		}
	}
	if faults {
		return nil
	}
	return sortedInts(minutes)
}

// rule parses a rule and reports its faults at their places; nil when there are any.
func (b *builder) rule(t text) *Rule {
	r, errs := ParseRule(t.s)
	for _, e := range errs {
		at := t.span(e.From, e.To)
		if e.From == e.To {
			at = t.all()
		}
		b.fail(e.Code, at, e.Hint, "%s", e.Message)
	}
	return r
}

// stamp is a date or date-time with its place.
type stamp struct {
	local Local
	form  Form
	span  span
	shown string // as written
	key   string // property, where it is not the usual one
}

// stamp reads a TOML date or date-time.
func (b *builder) stamp(v tomlValue, example string) (stamp, bool) {
	switch v.kind {
	case unstable.LocalDateTime, unstable.LocalDate, unstable.DateTime:
	case unstable.Invalid:
		return stamp{}, false
	case unstable.String:
		hint := "write it without quotes: " + example
		if _, _, err := parseExtended(v.text.s); err == nil {
			hint = "write it without quotes: " + v.text.s
		}
		b.fail(CodeType, v.span, hint, "a string stands where a date-time is wanted")
		return stamp{}, false
	default:
		b.fail(CodeType, v.span, "write "+example, "%s stands where a date-time is wanted", kindName(v.kind))
		return stamp{}, false
	}
	l, form, err := parseExtended(v.text.s)
	if err == nil {
		err = l.inCalendar()
	}
	if err != nil {
		b.fail(Code(err.code), v.span, err.hint, "%s %s", v.text.s, err.message)
		return stamp{}, false
	}
	return stamp{local: l, form: form, span: v.span, shown: v.text.s}, true
}

// stamps reads a list of dates and date-times; ok is false after a fault, true when the key is absent.
func (b *builder) stamps(t *tomlTable, key, example string) (list []stamp, ok bool) {
	e := b.take(t, key)
	if e == nil {
		return nil, true
	}
	if e.value.kind != unstable.Array {
		b.wrongType(e, "a list", example)
		return nil, false
	}
	ok = true
	for _, item := range e.value.items {
		s, good := b.stamp(item, example)
		ok = ok && good
		if good {
			list = append(list, s)
		}
	}
	return list, ok
}
