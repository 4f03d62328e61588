package calibrate

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"

	"mealtab/compiler/units"
)

// Turner turns the wheel of a board by so many pockets, and says how many it really turns and how long that takes; 0 where
// the board does not know.
type Turner interface {
	Turn(pockets int) (turned int, took units.Milliseconds, err error)
}

// Ask holds a session at the kitchen scale: it turns the wheel by board, or asks the owner to (nil), and reads the grams from
// in. An empty line (with a board: "q") or the end of in ends it, "undo" takes back the last weighing. What cannot be read is
// asked again. After an error of the board the weighings so far are returned with it.
func Ask(in io.Reader, out io.Writer, board Turner, pockets int) (list []Weighing, err error) {
	s := session{lines: bufio.NewScanner(in), out: out, board: board, pockets: pockets}
	fmt.Fprintln(out, "Put an empty bowl on the scale, under the outlet, and tare it each time. \"undo\" takes back the last weighing.")
	for len(s.list) < maxWeighings {
		more, err := s.one()
		if err != nil || !more {
			return s.list, err
		}
		s.progress()
	}
	return s.list, nil
}

type session struct {
	lines   *bufio.Scanner
	out     io.Writer
	board   Turner
	pockets int
	list    []Weighing
}

// line asks for a line; ok is false at the end of the input.
func (s *session) line(format string, args ...any) (text string, ok bool) {
	fmt.Fprintf(s.out, format, args...)
	if !s.lines.Scan() {
		return "", false
	}
	return strings.TrimSpace(s.lines.Text()), true
}

// turn lets some pockets fall; more is false when the owner is done.
func (s *session) turn() (turned int, took units.Milliseconds, more bool, err error) {
	if s.board == nil {
		fmt.Fprintf(s.out, "Turn %d pockets and weigh what falls; an empty line ends. ", s.pockets)
		return s.pockets, 0, true, nil
	}
	// The wheel never turns unasked: somebody's fingers may be at it.
	if text, ok := s.line("Fingers and paws off the wheel. Enter turns %d pockets, q ends. ", s.pockets); !ok || text != "" {
		return 0, 0, false, nil
	}
	turned, took, err = s.board.Turn(s.pockets)
	return turned, took, err == nil, err
}

// one asks for one weighing; more is false when the owner is done.
func (s *session) one() (more bool, err error) {
	turned, took, more, err := s.turn()
	if !more {
		return false, err
	}
	for {
		text, ok := s.line("Weighing %d, grams: ", len(s.list)+1)
		switch {
		case !ok:
			return false, s.lines.Err()
		case text == "":
			return false, nil
		case text == "undo" && len(s.list) > 0:
			s.list = s.list[:len(s.list)-1]
			continue
		case text == "undo":
			fmt.Fprintln(s.out, "There is nothing to take back.")
			continue
		}
		w, err := ParseWeighing(turned, text)
		if err != nil {
			fmt.Fprintln(s.out, err)
			continue
		}
		w.Time = took
		s.list = append(s.list, w)
		return true, nil
	}
}

// progress says how well the pocket is known by now.
func (s *session) progress() {
	r := Pockets(s.list)
	if math.IsInf(r.Half, 1) {
		return
	}
	fmt.Fprintf(s.out, "  so far %s a pocket, ±%.1f %%", r.Pocket(), 100*r.Relative())
	if more := r.More(Goal); more > 0 {
		fmt.Fprintf(s.out, "; about %d more for ±%.0f %%", more, 100*Goal)
	} else {
		fmt.Fprint(s.out, "; that is enough")
	}
	fmt.Fprintln(s.out)
}
