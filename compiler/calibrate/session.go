package calibrate

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"

	"mealtab/compiler/units"
)

// Turner turns the wheel of a board and says how long it took; 0 where the board does not know.
type Turner interface {
	Turn(pockets int) (units.Milliseconds, error)
}

// Ask holds a session at the kitchen scale: it turns the wheel by board, or asks the owner to, and reads the grams from
// in. An empty line or the end of in ends it, "undo" takes back the last weighing. What cannot be read is asked again.
func Ask(in io.Reader, out io.Writer, board Turner, pockets int) (list []Weighing, err error) {
	s := session{lines: bufio.NewScanner(in), out: out, board: board, pockets: pockets}
	fmt.Fprintln(out, "Tare the scale with an empty bowl under the outlet. An empty line ends, \"undo\" takes back the last one.")
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

// one asks for one weighing; more is false when the owner is done.
func (s *session) one() (more bool, err error) {
	var time units.Milliseconds
	if s.board != nil {
		if time, err = s.board.Turn(s.pockets); err != nil {
			return false, err
		}
	} else {
		fmt.Fprintf(s.out, "Turn %d pockets and weigh what falls. ", s.pockets)
	}
	for {
		fmt.Fprintf(s.out, "Weighing %d, grams: ", len(s.list)+1)
		if !s.lines.Scan() {
			return false, s.lines.Err()
		}
		text := strings.TrimSpace(s.lines.Text())
		switch {
		case text == "":
			return false, nil
		case text == "undo" && len(s.list) > 0:
			s.list = s.list[:len(s.list)-1]
			continue
		case text == "undo":
			fmt.Fprintln(s.out, "There is nothing to take back.")
			continue
		}
		w, err := ParseWeighing(s.pockets, text)
		if err != nil {
			fmt.Fprintln(s.out, err)
			continue
		}
		w.Time = time
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
