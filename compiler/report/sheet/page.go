package sheet

import "mealtab/compiler/report/chart"

// page is a sheet on which one thing is written below the other.
type page struct {
	pic chart.Picture
	y   float64 // base line of the last text, or lower edge of the last thing
}

func newPage() *page {
	return &page{pic: chart.Picture{Width: width, Height: height, Sheet: true}, y: margin}
}

func (p *page) add(m ...chart.Mark) { p.pic.Marks = append(p.pic.Marks, m...) }

// title is the sheet's, and what a screen reader says first.
func (p *page) title(s, about string) {
	p.pic.Title, p.pic.Desc = s, about
	p.y += 14
	for _, line := range chart.Lines(s, 24, width-2*margin) {
		p.add(chart.Text{X: margin, Y: p.y, Size: 24, Bold: true, Paint: chart.Ink, S: line})
		p.y += 28
	}
	p.y -= 12
}

func (p *page) heading(s string) {
	p.y += 32
	p.add(chart.Text{X: margin, Y: p.y, Size: 15, Bold: true, Paint: chart.Ink, S: s})
	p.y += 4
}

// text writes a paragraph between two places across the sheet.
func (p *page) text(s string) { p.y = p.column(margin, width-margin, p.y, s) }

// leading is from one base line to the next of running text.
const (
	size    = 12.5
	leading = 17.0
)

// column writes a paragraph below y and returns its last base line.
func (p *page) column(left, right, y float64, s string) float64 {
	for _, line := range chart.Lines(s, size, right-left) {
		y += leading
		p.add(chart.Text{X: left, Y: y, Size: size, Paint: chart.Ink, S: line})
	}
	return y
}

// blank is a line to write on behind its name.
func (p *page) blank(name string, left, line, right float64) {
	p.add(chart.Text{X: left, Y: p.y, Size: size, Paint: chart.Ink, S: name})
	p.stroke(line, p.y+3, right, p.y+3, 0.8)
}

func (p *page) stroke(x1, y1, x2, y2, w float64) {
	p.add(chart.Line{Points: []chart.Point{{X: x1, Y: y1}, {X: x2, Y: y2}}, Width: w, Paint: chart.Ink})
}

// rule is a line across the sheet.
func (p *page) rule() {
	p.y += 6
	p.stroke(margin, p.y, width-margin, p.y, 0.6)
}

// box is an empty one to write into.
func (p *page) box(x, y, w, h float64) {
	p.add(chart.Line{Points: []chart.Point{{X: x, Y: y}, {X: x + w, Y: y}, {X: x + w, Y: y + h}, {X: x, Y: y + h}, {X: x, Y: y}}, Width: 1, Paint: chart.Ink})
}

// row writes one paragraph beside the other, at the left edges given, and goes below the longest.
func (p *page) row(lefts []float64, cells []string) {
	low := p.y
	for i, cell := range cells {
		right := width - margin
		if i+1 < len(lefts) {
			right = lefts[i+1] - 14
		}
		low = max(low, p.column(lefts[i], right, p.y, cell))
	}
	p.y = low
	p.rule()
}
