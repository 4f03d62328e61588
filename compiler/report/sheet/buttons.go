package sheet

import (
	"strings"

	"mealtab/compiler/report/chart"
	"mealtab/compiler/table"
)

// buttons is the card that hangs beside the feeder.
func buttons(p *page, of Input) {
	p.title(named("Lights and buttons", of.Plan), "A card: what each button does, which fault each pattern of flashes means, and what to do.")
	p.heading("Buttons")
	lefts := []float64{margin, margin + 150}
	for _, b := range [][]string{
		{"feed now", "one portion, at most as often in an hour and a day as the plan allows; two flashes: not now"},
		{"portion", "all portions of the plan at 80, 90, 100, 110, 120 %, then 80 again; one to five flashes say which, three are 100 %"},
		{"portion, held 3 s", "the hopper was filled (one flash), on boards that count what it holds"},
		{"plan", "the plan's next preset; its number in flashes. A feeder that lives answers with at least one"},
	} {
		p.row(lefts, b)
	}
	p.text("Any press also says that you have seen a fault.")
	p.heading("Light")
	p.text("Dark: all is well, or there is no power (press plan to tell them apart). A double wink each minute: not the first preset. A fault flashes every eight to ten seconds:")
	p.y += 4
	lefts = []float64{margin, margin + 140, margin + 415}
	for i, f := range table.FaultBits() {
		p.flashes(margin, p.y+leading-4, i)
		p.row(lefts, []string{"", f.Meaning, table.Remedy(i)})
	}
	p.heading("Always")
	p.text(cautions)
}

// cautions are those of everyday use.
const cautions = "See the animal and the bowl every day: a feeder is never the only care, and what was given need not have been eaten. Fresh water beside it. " +
	"Switch the supply off before you reach into the wheel. A vet decides about diets and about the meals of a sick animal."

// flashes draws how the light shows a fault: a dot is a short flash, a bar a long one.
func (p *page) flashes(x, y float64, bit int) {
	words := table.Flashes(bit)
	n := bit + 1
	if strings.HasPrefix(words, "a long") {
		p.add(chart.Rect{X: x, Y: y - 4, W: 26, H: 8, R: 4, Paint: chart.Ink})
		x += 34
		n -= table.ShortFlashes
	}
	for i := range n {
		p.add(chart.Circle{X: x + 4 + float64(i)*13, Y: y, R: 4, Paint: chart.Ink})
	}
}
