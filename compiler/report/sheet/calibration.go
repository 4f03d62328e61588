package sheet

import (
	"fmt"

	"mealtab/compiler/plan"
	"mealtab/compiler/report/chart"
)

// weighings is how many boxes there are: as a rule six of ten pockets are enough for ±3 %.
const weighings = 12

// calibration is the form that is filled in at the scale.
func calibration(p *page, of Input) {
	p.title(named("Calibration sheet", of.Plan), "A form for weighings: twelve boxes for pockets and grams, and the command that reads them.")
	p.y += 10
	p.blank("Date", margin, margin+40, margin+180)
	p.blank("Food", margin+200, margin+240, width-margin)
	p.y += 8
	p.text("Food out of the bowl, the animals in another room, fingers and paws off the wheel while it turns. Weigh the food that you feed, from a hopper " +
		"that is at least half full. Put an empty bowl on the scale below the outlet and tare it each time; turn ten pockets (or write beside it how many), write down the grams as the scale shows them.")
	p.heading("Weighings")
	p.y += 8
	p.boxes()
	p.heading("Back into the plan")
	p.text("Type the grams with a space between them; a weighing that stands out is named, and left out only if you say so. The last word writes the result into the [wheel] table:")
	p.y += 8
	p.text(`mealtab calibrate PLAN --pockets 10 --weighed "_____ _____ _____ _____ _____ _____" --write`)
	p.heading("Turn and trim, for a wheel without index switch")
	p.y += 12
	p.filled("Pockets asked for", "Pockets that really turned, in quarters too", `mealtab calibrate PLAN --asked ____ --turned ____ --write`)
	p.filled("Stands still from trim (µs)", "to trim (µs)", `mealtab calibrate PLAN --still "____us..____us" --write`)
	p.text("Then compile the plan again and upload it. Weigh anew with another food, another wheel, another season: kibble swells when it is damp.")
}

// boxes draws the weighings in two columns.
func (p *page) boxes() {
	const rowHeight, gap = 34.0, 24.0
	columnWidth := (width - 2*margin - gap) / 2
	for i := range weighings {
		x := margin + float64(i/(weighings/2))*(columnWidth+gap)
		y := p.y + float64(i%(weighings/2))*(rowHeight+6)
		p.add(chart.Text{X: x + 18, Y: y + 22, Size: size, Anchor: chart.End, Paint: chart.Ink, S: fmt.Sprint(i + 1)})
		p.box(x+28, y, 76, rowHeight)
		p.add(chart.Text{X: x + 112, Y: y + 22, Size: size, Paint: chart.Ink, S: "pockets"})
		p.box(x+170, y, 100, rowHeight)
		p.add(chart.Text{X: x + 278, Y: y + 22, Size: size, Paint: chart.Ink, S: "g"})
	}
	p.y += weighings / 2 * (rowHeight + 6)
}

// filled is two boxes with their names and the command that reads them.
func (p *page) filled(first, second, command string) {
	p.y += 14
	p.box(margin, p.y-20, 70, 30)
	p.add(chart.Text{X: margin + 80, Y: p.y, Size: size, Paint: chart.Ink, S: first})
	half := margin + 270.0
	p.box(half, p.y-20, 70, 30)
	p.add(chart.Text{X: half + 80, Y: p.y, Size: size, Paint: chart.Ink, S: second})
	p.y += 12
	p.text(command)
	p.y += 16
}

// named is a title with the plan's name, if there is one.
func named(title string, of *plan.Plan) string {
	if of == nil || of.Name == "" {
		return title
	}
	return title + ": " + of.Name
}
