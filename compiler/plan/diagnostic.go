package plan

import (
	"bytes"
	"cmp"
	"slices"
	"strings"

	"mealtab/compiler/source"
)

// Severity says whether a plan with this diagnostic can be used.
type Severity int

// An Error prevents a plan from being used; a Warning does not.
const (
	Error Severity = iota
	Warning
)

// String is the word shown to the owner.
func (s Severity) String() string {
	if s == Warning {
		return "warning"
	}
	return "error"
}

// Code names a kind of diagnostic for programs; the message is for people.
type Code string

// The codes of this package. Other packages that report on plans add their own.
const (
	CodeSyntax      Code = "syntax"       // not TOML, not iCalendar, not UTF-8
	CodeDuplicate   Code = "duplicate"    // something given twice
	CodeUnknown     Code = "unknown"      // key, table, rule part or property that does not exist here
	CodeMissing     Code = "missing"      // something needed is absent
	CodeType        Code = "type"         // TOML type or iCalendar value type is wrong
	CodeUnit        Code = "unit"         // unit missing or wrong
	CodeRange       Code = "range"        // number outside its range
	CodeDate        Code = "date"         // date or time that does not exist, or is written wrongly
	CodeZone        Code = "zone"         // not an IANA time zone, or more than one
	CodeRule        Code = "rule"         // recurrence rule is malformed
	CodeConflict    Code = "conflict"     // two things exclude each other
	CodeSeconds     Code = "seconds"      // a meal would not be on a whole minute
	CodeName        Code = "name"         // name of meal, preset or board is not allowed
	CodeLimit       Code = "limit"        // more than a table holds
	CodeUnsupported Code = "unsupported"  // valid iCalendar that a feeder cannot follow
	CodeRounding    Code = "rounding"     // portion and pocket do not fit well
	CodeShortPeriod Code = "short-period" // rule skips months or years that are too short
	CodeAmbiguous   Code = "ambiguous"    // RFC 5545 can be read in two ways
	CodeNever       Code = "never"        // part of a rule that can never apply
	CodeStart       Code = "start"        // DTSTART is not a time of the meal
	CodeCount       Code = "count"        // COUNT ends a meal after fewer days than it counts
	CodeIgnored     Code = "ignored"      // something in the input that has no effect
)

// Diagnostic is one thing to tell the owner about a plan.
type Diagnostic struct {
	Code     Code
	Severity Severity
	Source   *Source // nil: no text to show
	Pos      Pos     // zero: concerns the whole plan
	Message  string  // what was found, lower case, no full stop
	Hint     string  // what would be right; may be empty
}

// Diagnostics is a list of them; [Parse] returns it sorted.
type Diagnostics []Diagnostic

// HasErrors reports whether any of ds is an [Error].
func (ds Diagnostics) HasErrors() bool { return ds.Count(Error) > 0 }

// Count counts the diagnostics of one severity.
func (ds Diagnostics) Count(s Severity) int {
	n := 0
	for _, d := range ds {
		if d.Severity == s {
			n++
		}
	}
	return n
}

// Sort orders by position, errors before warnings at the same place, and drops exact repetitions.
func (ds Diagnostics) Sort() Diagnostics {
	slices.SortStableFunc(ds, func(a, b Diagnostic) int {
		return cmp.Or(
			cmp.Compare(a.Pos.Line, b.Pos.Line),
			cmp.Compare(a.Pos.Col, b.Pos.Col),
			cmp.Compare(a.Severity, b.Severity),
			cmp.Compare(a.Message, b.Message),
		)
	})
	return slices.Compact(ds)
}

// NewSource splits src into lines, ended by LF or CRLF, for showing diagnostics.
func NewSource(name string, src []byte) *Source {
	src = bytes.TrimPrefix(src, source.ByteOrderMark)
	lines := strings.Split(strings.ToValidUTF8(string(src), "\uFFFD"), "\n")
	for i, line := range lines {
		lines[i] = strings.TrimSuffix(line, "\r")
	}
	return &Source{Name: name, Lines: lines}
}

// MaxDiagnostics is how many an owner may want to read; a file that is no plan at all has any number.
const MaxDiagnostics = 100
