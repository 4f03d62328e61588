// Package advice says what would be right: beside an error, apart from what is wrong, for those who show the two in different places; and for
// a word that is not known, the one that was meant.
package advice

import "errors"

// Error is a problem and what to do about it; Hint is empty where nothing is known that would help.
type Error struct{ problem, hint string }

// New returns the error of a problem, with advice or "".
func New(problem, hint string) *Error { return &Error{problem, hint} }

// Error says both, for one line.
func (e *Error) Error() string {
	if e.hint == "" {
		return e.problem
	}
	return e.problem + "; " + e.hint
}

// Apart returns the problem and the hint of an error that has them, else all that it says and "".
func Apart(err error) (problem, hint string) {
	if e := (*Error)(nil); errors.As(err, &e) {
		return e.problem, e.hint
	}
	return err.Error(), ""
}
