// Package draft makes a [plan.Plan] of what a reader found, whatever the language: it reads values (weights, times of day, rules), checks
// them, puts recurrence sets together, and warns of what is seldom meant.
//
// In: for each value its text with its place, for each meal a [Meal]. Out: a plan whose every value has been checked, or diagnostics with
// line and column. How values are found in TOML or in iCalendar is the business of the readers; what zones there are and which
// instances a set has is asked through [Zones]; how much a table holds comes as [Limits].
package draft

import (
	"fmt"
	"math"

	"mealtab/compiler/advice"
	"mealtab/compiler/plan"
	"mealtab/compiler/source"
)

// Zones answers what plans say of time zones. It may be nil: then zones are checked by the spelling of their names, RDATE and EXDATE must
// be of the same form as DTSTART, and nothing is looked for among instances.
type Zones interface {
	// Check says whether a name is an IANA time zone. The error's text becomes the message; an error with a method Hint() string gives
	// the hint too.
	Check(name string) error
	// Convert gives a time of the form from in the form to (Zoned or UTC), for the zone.
	Convert(zone string, l plan.Local, from, to plan.Form) (plan.Local, error)
	// Walk visits the instances of a set in order of their nominal times, until visit returns false. It fails where that takes too long.
	Walk(zone string, gap plan.Gap, r plan.Recurrence, visit func(nominal, utc plan.Local) bool) error
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

// Builder collects a plan and what is to be said about it.
type Builder struct {
	// Plan is what has been read so far. Readers may put into it what needs no check.
	Plan   *plan.Plan
	Limits Limits
	Lines  *source.Lines // the source
	// PocketHint says how the language of the source gives the weight of a pocket, or portions without it.
	PocketHint string

	zones Zones
	ds    plan.Diagnostics
	// errorCount counts the errors, also those that are not kept.
	errorCount int
	dropped    bool // there were more than plan.MaxDiagnostics
	// mealCount counts the meals of the source, also those beyond what a table holds.
	mealCount int
	// pocketBroken says that the pocket's weight is there but could not be read.
	pocketBroken bool
	daily        int         // servings a day so far, at most
	buttonAt     source.Span // where the button's portion stands
	untilAt      source.Span // where the date stands that ends a preset
}

// New begins a plan that is read from a source.
func New(name string, src []byte, zones Zones, limits Limits) *Builder {
	return &Builder{Plan: &plan.Plan{Source: plan.NewSource(name, src), Late: defaultLate}, Lines: source.NewLines(src), Limits: limits.orNone(), zones: zones}
}

// Result gives the plan, nil where there are errors, and the diagnostics sorted by position.
func (b *Builder) Result() (*plan.Plan, plan.Diagnostics) {
	ds := b.ds.Sort()
	if b.dropped {
		ds = append(ds, plan.Diagnostic{Code: plan.CodeLimit, Severity: plan.Warning, Source: b.Plan.Source,
			Message: fmt.Sprintf("there is more to say; only %d diagnostics are shown", plan.MaxDiagnostics)})
		if b.errorCount > 0 {
			ds[len(ds)-1].Severity = plan.Error
		}
	}
	if ds.HasErrors() {
		return nil, ds
	}
	return b.Plan, ds
}

// Failed reports whether there has been an error.
func (b *Builder) Failed() bool { return b.errorCount > 0 }

func (b *Builder) report(sev plan.Severity, code plan.Code, at source.Span, hint, format string, args ...any) {
	if sev == plan.Error {
		b.errorCount++
	}
	if len(b.ds) >= plan.MaxDiagnostics {
		b.dropped = true
		return
	}
	b.ds = append(b.ds, plan.Diagnostic{Code: code, Severity: sev, Source: b.Plan.Source, Pos: b.Pos(at),
		Message: fmt.Sprintf(format, advice.Shorten(args)...), Hint: hint})
}

// Fail reports an error: what was found at a place, and in the hint what would be right.
func (b *Builder) Fail(code plan.Code, at source.Span, hint, format string, args ...any) {
	b.report(plan.Error, code, at, hint, format, args...)
}

// Warn reports what does not prevent the plan from being used.
func (b *Builder) Warn(code plan.Code, at source.Span, hint, format string, args ...any) {
	b.report(plan.Warning, code, at, hint, format, args...)
}

// FailWhole reports what concerns no single place.
func (b *Builder) FailWhole(code plan.Code, hint, format string, args ...any) {
	b.errorCount++
	b.ds = append(b.ds, plan.Diagnostic{Code: code, Severity: plan.Error, Source: b.Plan.Source,
		Message: fmt.Sprintf(format, advice.Shorten(args)...), Hint: hint})
}

// Pos is the position of a span.
func (b *Builder) Pos(s source.Span) plan.Pos { return plan.Pos(b.Lines.Pos(s)) }

// at is the position of a span that may be absent.
func (b *Builder) at(s source.Span) plan.Pos {
	if s == (source.Span{}) {
		return plan.Pos{}
	}
	return b.Pos(s)
}

// Line is the number of the line on which a span begins.
func (b *Builder) Line(s source.Span) int { return b.Lines.Line(s.From) }
