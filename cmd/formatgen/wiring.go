package main

import (
	_ "embed"
	"strings"
	"text/template"

	"mealtab/compiler/profile"
)

//go:embed wiring.svg.tmpl
var wiringTemplate string

var drawing = template.Must(template.New("wiring").Parse(wiringTemplate))

// wiringDrawing is the picture of a wiring page.
func wiringDrawing(p *profile.Profile) (string, error) {
	var out strings.Builder
	err := drawing.Execute(&out, struct {
		*profile.Profile
		Cells bool
	}{p, p.Supply == profile.Cells})
	return out.String(), err
}

// wiringTable is its table of pins.
func wiringTable(p *profile.Profile) string {
	var rows [][]string
	for _, w := range p.Wiring() {
		rows = append(rows, []string{w.Pin, w.Unit, w.To})
	}
	return markdown([]string{"pin", "unit", "goes to"}, rows)
}

// wiringPages are the boards that have one of their own; those with sensors share that of the board they are like.
func wiringPages() (boards []*profile.Profile) {
	for _, p := range profile.Boards() {
		if p.Sensors() == "" {
			boards = append(boards, p)
		}
	}
	return boards
}
