package honest

import (
	"fmt"
	"strings"
	"time"

	"mealtab/emulator/board"
)

// Drift is a feeder whose oscillator and servo are off, for a long time.
type Drift struct {
	Image        string
	Detent       bool
	OscillatorPC float64
	PacePC       float64
}

// Run serves the days plan for so many days and returns the pockets planned and fallen.
func (d Drift) Run(l Bases, length int) (plan, fell int, err error) {
	base, err := l.base(d.Image, suppliesFor(d.Image)[0], &days)
	if err != nil {
		return 0, 0, err
	}
	b := base.start.Fork()
	b.SetOscillator(board.Oscillator{PC: d.OscillatorPC})
	b.SetPace(1 + d.PacePC/100)
	b.SetDetent(d.Detent)
	from := b.Now()
	end := from.Add(time.Duration(length) * 24 * time.Hour)
	b.RunUntil(end)
	plan, _ = days.planned(from, end)
	return plan, int(b.Pockets()), nil
}

// driftColumns are the feeders of the table of a year.
var driftColumns = []struct {
	title  string
	image  string
	detent bool
}{
	{"index switch, no detents", "m328-index", false}, {"by time, detents", "m328-mains", true}, {"by time, no detents", "m328-mains", false},
}

// Year is the table in Markdown of a year of servings under small errors: pockets too many or too few.
func Year(length int) (string, error) {
	var b strings.Builder
	b.WriteString("| oscillator | servo |")
	for _, c := range driftColumns {
		b.WriteString(" " + c.title + " |")
	}
	b.WriteString("\n|" + strings.Repeat(" --- |", 2+len(driftColumns)) + "\n")
	l := Bases{}
	for _, o := range []float64{-1, 0, 1} {
		for _, p := range []float64{-3, 0, 3} {
			fmt.Fprintf(&b, "| %+g %% | %+g %% |", o, p)
			for _, c := range driftColumns {
				plan, fell, err := Drift{c.image, c.detent, o, p}.Run(l, length)
				if err != nil {
					return "", err
				}
				fmt.Fprintf(&b, " %+d |", fell-plan)
			}
			b.WriteString("\n")
		}
	}
	return strings.NewReplacer("+0 |", "0 |", "+0 %", "0 %").Replace(b.String()), nil
}
