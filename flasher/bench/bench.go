// Package bench walks a builder through a board on the bench, part by part, and names the wire that is wrong.
//
// In: a [link.Link] to the board, a [Person] who looks, presses and answers. Out: a [Report]: what is right, what is wrong, the likeliest
// causes in order and what to do. The person is told of each step beforehand, and asked only what the board cannot know itself: whether a
// light is seen, which way a wheel turns. Evidence is collected as symptoms (symptom.go); causes.go says which cause shows which.
// What a board has no room for is said to be left out, never passed over.
package bench

import (
	"errors"
	"fmt"

	"mealtab/compiler/profile"
	"mealtab/flasher"
	"mealtab/flasher/link"
)

// Person is who builds the board.
type Person interface {
	// Say tells what comes next; no answer is wanted.
	Say(text string)
	// Do asks for something to be done at once, while the board watches; no answer is wanted. The key names it.
	Do(key, text string)
	// Ask puts a question and returns one of its answers, or a number, or "" for "I cannot tell".
	Ask(q Question) string
}

// Question is one with a few answers, of which one is returned.
type Question struct {
	Key     string // names the question, for answers that are prepared
	Text    string
	Answers []string // none: a number is wanted
}

// Answers that many questions have.
const (
	Yes  = "yes"
	No   = "no"
	Done = "done"
)

// Verdict of a step.
type Verdict string

// The verdicts.
const (
	Right   Verdict = "right"
	Wrong   Verdict = "wrong"
	LeftOut Verdict = "left out" // the board cannot, nobody could tell, or something before it is wrong
)

// Step is one part of the board.
type Step struct {
	Name    string  `json:"step"`
	Verdict Verdict `json:"verdict"`
	Text    string  `json:"text"`
}

// Report is what was found.
type Report struct {
	Board    string    `json:"board"` // "": none answers
	Firmware int       `json:"firmware"`
	Steps    []Step    `json:"steps"`
	Problems []Problem `json:"problems"`
	// Trim is the stop pulse's correction in µs at which the wheel stood still, nil where that was not found out.
	Trim *int `json:"trim_us,omitempty"`
	// TurnMillis is the time of a pocket by what was counted; 0: nothing was.
	TurnMillis int `json:"turn_ms,omitempty"`
}

// Good reports whether nothing is wrong.
func (r *Report) Good() bool { return len(r.Problems) == 0 }

// Config is what a walk begins with.
type Config struct {
	Link   *link.Link
	Person Person
	// Board is the profile that the builder builds; "": what the firmware says.
	Board string
	// Trim is the correction of the stop pulse to begin with, in µs.
	Trim int
	// Count asks for the pockets that the wheel turns, to find the time of one.
	Count bool
	// Reopen, if set, opens the port anew after the board was without supply: a port on USB goes with it.
	Reopen func() (*link.Link, error)
}

// walk is one walk through a board.
type walk struct {
	Config
	report   Report
	seen     []Symptom
	feeder   *flasher.Feeder
	state    flasher.Status
	profile  *profile.Profile
	services bool // the firmware has the service messages
	token    byte // of the last service message
}

// Walk goes through the board. The error is one of the port; whatever is wrong with the board is in the report.
func Walk(c Config) (*Report, error) {
	w := &walk{Config: c}
	if err := w.all(); err != nil {
		return nil, err
	}
	w.report.Problems = diagnose(w.seen)
	text := pins(w.built())
	for _, p := range w.report.Problems {
		for i := range p.Causes {
			p.Causes[i].Do = text.Replace(p.Causes[i].Do)
		}
	}
	return &w.report, nil
}

func (w *walk) all() error {
	steps := []func() error{w.line, w.firmware, w.clock, w.memory, w.supply, w.light, w.buttons, w.sensors, w.wheel}
	for _, step := range steps {
		switch err := step(); {
		case errors.Is(err, errEnough):
			return nil
		case errors.Is(err, link.ErrSilent):
			w.wrong("line", "the board stopped answering here", FellSilent)
			return nil
		case err != nil:
			return err
		}
	}
	return nil
}

// errEnough ends a walk: what is wrong must be mended before more can be tried.
var errEnough = errors.New("enough")

func (w *walk) step(name string, v Verdict, format string, args ...any) {
	w.report.Steps = append(w.report.Steps, Step{name, v, fmt.Sprintf(format, args...)})
}

func (w *walk) right(name, format string, args ...any) { w.step(name, Right, format, args...) }

func (w *walk) leftOut(name, format string, args ...any) { w.step(name, LeftOut, format, args...) }

func (w *walk) wrong(name, text string, symptoms ...Symptom) {
	w.step(name, Wrong, "%s", text)
	w.seen = append(w.seen, symptoms...)
}

func (w *walk) has(s Symptom) bool {
	for _, have := range w.seen {
		if have == s {
			return true
		}
	}
	return false
}

// Count is how many steps ended so.
func (r *Report) Count(v Verdict) (n int) {
	for _, s := range r.Steps {
		if s.Verdict == v {
			n++
		}
	}
	return n
}
