package sheet

import (
	"strings"

	"mealtab/compiler/profile"
)

// wiring is the card beside the soldering iron: a wire a row, with a box to tick when it is in and one when it was measured.
func wiring(p *page, of Input) {
	p.title("Wiring: "+of.Board.Name, "A card: what goes to each pin of the board, with boxes to tick.")
	p.text(of.Board.Title + ". First box: the wire is in. Second: measured, without supply, from the pin to where it goes.")
	p.y += 6
	lefts := []float64{margin + 52, margin + 150, margin + 220}
	for _, w := range of.Board.Wiring() {
		p.box(margin, p.y+4, 13, 13)
		p.box(margin+22, p.y+4, 13, 13)
		p.row(lefts, []string{w.Pin, w.Unit, strings.ReplaceAll(w.To, "*", "")})
	}
	p.heading("Before the first supply")
	supply := "The adapter is certified, of 5 V, the right way round by a meter, with a fuse of 2 to 3 A in its line. "
	if of.Board.Supply == profile.Cells {
		supply = "Three D cells of one kind and one age, the right way round by a meter, with a fuse of 2 to 3 A in their line. "
	}
	p.text("No short between supply and ground, at the chip and at the servo. " + supply +
		"The charging diode or its resistor on the clock module is out before a CR2032 goes in. The hopper is empty, the wheel guarded, fingers and paws away.")
	p.text("Then: mealtab selftest goes through the board part by part and names a wire that is wrong.")
}
