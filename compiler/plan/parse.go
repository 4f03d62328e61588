package plan

import (
	"bytes"
	"fmt"
	"math"
	"path"
	"strings"
)

// Options are what a parse needs from outside. The zero Options check zone names by their spelling only.
type Options struct {
	// CheckZone says whether a name is an IANA time zone. The error's text becomes the message; an error with a
	// method Hint() string gives the hint too.
	CheckZone func(name string) error
	// Convert gives a time of the form from in the form to (Zoned or UTC), for the zone. Without it, RDATE and EXDATE
	// must be of the same form as DTSTART.
	Convert func(zone string, l Local, from, to Form) (Local, error)
	// Walk visits the instances of a set in order of their nominal times, until visit returns false. It fails where
	// that takes too long. Without it, what an iCalendar file says of single instances is taken to be true.
	Walk func(zone string, gap Gap, r Recurrence, visit func(nominal, utc Local) bool) error
	// MatchZones names the IANA zones, the likeliest first, that have the offsets of the changes at every instant from <= t < to. Without it, a time
	// zone that an iCalendar file defines itself cannot be read.
	MatchZones func(changes []Change, from, to Local) []string
	Limits     Limits
}

// Limits are those of the table and of the feeder, which a plan must keep to. They stand in package table; 0 is no limit.
type Limits struct {
	Meals, Presets   int
	Late             int // minutes
	MinTurn, MaxTurn int // ms
	Trim             int // µs either way
	MealPockets      int // pockets of one portion
	Asked            int // pockets of one press
	PerHour, PerDay  int // presses
}

// orNone replaces limits that are not given.
func (l Limits) orNone() Limits {
	for _, n := range []*int{&l.Meals, &l.Presets, &l.Late, &l.MaxTurn, &l.Trim, &l.MealPockets, &l.Asked, &l.PerHour, &l.PerDay} {
		if *n == 0 {
			*n = math.MaxInt32
		}
	}
	l.Presets = min(l.Presets, presetBits)
	return l
}

// presetBits is how many presets a mask of them can name.
const presetBits = 8

// Parse is Options.Parse with the zero Options.
func Parse(name string, src []byte) (*Plan, Diagnostics) { return Options{}.Parse(name, src) }

// Parse reads a plan. It is iCalendar when the name ends in .ics or the text begins with BEGIN:VCALENDAR, else TOML.
// The plan is nil when there are errors; warnings come with a plan. The diagnostics are sorted by position.
func (o Options) Parse(name string, src []byte) (*Plan, Diagnostics) {
	if len(src) > MaxBytes {
		return nil, Diagnostics{{CodeLimit, Error, &Source{Name: name}, Pos{}, fmt.Sprintf("the file has %d bytes; a plan has at most %d", len(src), MaxBytes),
			"64 meals need a hundredth of that; of a big calendar, export only the part with the meals"}}
	}
	src = bytes.TrimPrefix(src, utf8BOM)
	b := &builder{src: src, ix: newIndex(src), opts: o, limits: o.Limits.orNone(), plan: &Plan{Source: NewSource(name, src)}}
	switch {
	case b.isUTF16():
	case isICS(name, src):
		b.icsPlan() // checks the encoding after unfolding: a fold may split a character
	case b.checkEncoding():
		b.tomlPlan(b.readTOML())
	}
	b.ds = b.ds.Sort()
	if b.dropped {
		b.ds = append(b.ds, Diagnostic{CodeLimit, Warning, b.plan.Source, Pos{}, fmt.Sprintf("there is more to say; only %d diagnostics are shown", maxDiagnostics), ""})
		if b.errorCount > 0 {
			b.ds[len(b.ds)-1].Severity = Error
		}
	}
	if b.ds.HasErrors() {
		return nil, b.ds
	}
	return b.plan, b.ds
}

// MaxBytes is the length of the longest plan that is read: some thousand events, more than a table can hold.
const MaxBytes = 1_000_000

func isICS(name string, src []byte) bool {
	const begin = "BEGIN:VCALENDAR"
	head := bytes.TrimLeft(src, " \t\r\n")
	return strings.EqualFold(path.Ext(name), ".ics") || len(head) >= len(begin) && strings.EqualFold(string(head[:len(begin)]), begin)
}

// maxDiagnostics is how many an owner may want to read; a file that is no plan at all has any number.
const maxDiagnostics = 100

// builder collects the plan and what is to be said about it.
type builder struct {
	src    []byte
	ix     *index
	opts   Options
	limits Limits
	plan   *Plan
	ds     Diagnostics
	ics    bool // the source is iCalendar
	// errorCount counts the errors, also those that are not kept.
	errorCount int
	dropped    bool // there were more than maxDiagnostics
	// mealCount counts the meals of the source, also those beyond what a table holds.
	mealCount int
	// pocketBroken says that the pocket's weight is there but could not be read.
	pocketBroken bool
	daily        int  // servings a day so far, at most
	buttonAt     span // where the button's portion stands
}

func (b *builder) report(sev Severity, code Code, at span, hint, format string, args ...any) {
	if sev == Error {
		b.errorCount++
	}
	if len(b.ds) >= maxDiagnostics {
		b.dropped = true
		return
	}
	b.ds = append(b.ds, Diagnostic{code, sev, b.plan.Source, b.ix.pos(at), fmt.Sprintf(format, shorten(args)...), hint})
}

func (b *builder) fail(code Code, at span, hint, format string, args ...any) {
	b.report(Error, code, at, hint, format, args...)
}

func (b *builder) warn(code Code, at span, hint, format string, args ...any) {
	b.report(Warning, code, at, hint, format, args...)
}

// failWhole reports what concerns no single place.
func (b *builder) failWhole(code Code, hint, format string, args ...any) {
	b.errorCount++
	b.ds = append(b.ds, Diagnostic{code, Error, b.plan.Source, Pos{}, fmt.Sprintf(format, shorten(args)...), hint})
}

// isUTF16 refuses the encoding that some editors call "Unicode"; TOML and iCalendar are written in UTF-8.
func (b *builder) isUTF16() bool {
	if !bytes.HasPrefix(b.src, []byte("\xFF\xFE")) && !bytes.HasPrefix(b.src, []byte("\xFE\xFF")) {
		return false
	}
	b.failWhole(CodeSyntax, "save it as UTF-8", "the file is UTF-16, not UTF-8")
	return true
}

// checkEncoding refuses what is not UTF-8.
func (b *builder) checkEncoding() bool {
	i := invalidUTF8(string(b.src))
	if i >= 0 {
		b.fail(CodeSyntax, span{i, i + 1}, "save the file as UTF-8", "byte 0x%02X is not UTF-8", b.src[i])
	}
	return i < 0
}
