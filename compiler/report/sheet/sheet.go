// Package sheet draws sheets to print, A4 and dark on light: a form for weighing at the kitchen scale, a card of lights and
// buttons, a label for the hopper, a card of wires.
//
// In: a plan and a board, where the sheet is about them. Out: a [chart.Picture] of the size of the sheet, which writes SVG and PNG.
package sheet

import (
	"fmt"
	"slices"

	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/report/chart"
)

// A4 at 96 CSS pixels to the inch: 210 mm × 297 mm.
const (
	width  = 210 / 25.4 * 96
	height = 297 / 25.4 * 96
)

// margin is what printers leave white anyway.
const margin = 60

// Sheet is one that can be drawn.
type Sheet struct {
	Name  string // on the command line
	About string // what it is for
	Plan  bool   // it is about a plan; the others take one for its name only
	draw  func(*page, Input)
}

// Input is what sheets are about.
type Input struct {
	Plan  *plan.Plan // nil: none
	Board *profile.Profile
}

// Sheets are all there are.
func Sheets() []Sheet {
	return []Sheet{
		{"calibration", "boxes for weighings at the kitchen scale, and how they come back into the plan", false, calibration},
		{"buttons", "what the light says, what each button does", false, buttons},
		{"label", "for the hopper: who eats what and when, whom to call", true, label},
		{"wiring", "what goes to each pin of the board, to tick off", false, wiring},
	}
}

// Named finds a sheet by its name.
func Named(name string) (Sheet, bool) {
	i := slices.IndexFunc(Sheets(), func(s Sheet) bool { return s.Name == name })
	if i < 0 {
		return Sheet{}, false
	}
	return Sheets()[i], true
}

// Draw draws the sheet.
func (s Sheet) Draw(of Input) (*chart.Picture, error) {
	if s.Plan && of.Plan == nil {
		return nil, fmt.Errorf("the sheet %s is about a plan, and there is none", s.Name)
	}
	p := newPage()
	s.draw(p, of)
	if p.y > height-margin/2 {
		return nil, fmt.Errorf("the sheet %s does not fit on one page", s.Name)
	}
	return &p.pic, nil
}
