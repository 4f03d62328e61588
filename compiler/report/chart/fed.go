package chart

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"mealtab/compiler/report/fed"
	"mealtab/compiler/units"
)

const fedHeight = 200 // of the plot

var errNoRecords = errors.New("planned against recorded cannot be drawn: there is no record of a serving in these days")

// fedPlot is the frame: amounts upwards, a column for each day.
type fedPlot struct {
	top, left, right float64
	days             int
	most             int64
	weighed          bool
}

func (p fedPlot) column() float64   { return (p.right - p.left) / float64(p.days) }
func (p fedPlot) x(i int) float64   { return p.left + float64(i)*p.column() }
func (p fedPlot) y(n int64) float64 { return p.top + fedHeight*(1-float64(n)/float64(p.most)) }
func (p fedPlot) amount(n int64) string {
	if p.weighed {
		return units.Milligrams(n).Short()
	}
	return fmt.Sprint(n)
}

// fedDay is a day's amounts in the plot's unit.
type fedDay struct{ planned, turned, hand int64 }

// Fed draws planned against recorded. The error says that there is nothing to draw.
func Fed(r *fed.Report, o Options) (*Picture, error) {
	if o.Width == 0 {
		o.Width = defaultWidth
	}
	if o.Width < minWidth || o.Width > maxWidth {
		return nil, fmt.Errorf("a picture %d pixels wide cannot be drawn: %d to %d", o.Width, minWidth, maxWidth)
	}
	if len(r.Days) == 0 {
		return nil, errNoRecords
	}
	d := &drawing{o: o, width: float64(o.Width)}
	p := fedPlot{left: 58, right: d.width - 16, days: len(r.Days), weighed: true, most: r.Most}
	for i := range r.Days {
		p.weighed = p.weighed && (r.Days[i].Weighed || len(r.Days[i].Servings) == 0)
	}
	if !p.weighed {
		p.most = 0
	}
	for i := range r.Days {
		a := p.amounts(&r.Days[i])
		p.most = max(p.most, a.planned, a.turned+a.hand)
	}
	p.most = max(1, p.most+p.most/10)
	first, last := r.Days[0].Date, r.Days[p.days-1].Date
	dates := dateText(int(first), "2 Jan 2006") + " to " + dateText(int(last), "2 Jan 2006")
	name := r.Title
	if name == "" {
		name = "This feeder"
	}
	p.top = 12
	if o.Heading {
		d.add(Text{X: 12, Y: 22, Size: 15, Bold: true, Paint: Ink, S: clipText(name, 15, d.width-24)},
			Text{X: 12, Y: 40, Size: 12, Paint: Faint, S: "planned and recorded, " + dates})
		p.top = 60
	}
	d.fedGrid(p, r)
	for i := range r.Days {
		d.fedColumn(p, i, r)
	}
	d.pic.Title = name + ": planned and recorded, " + dates
	y := d.fedLegend(p)
	var desc []string
	for _, w := range r.Weeks {
		desc = append(desc, dateText(int(w.From), "2 Jan")+" to "+dateText(int(w.To)-1, "2 Jan")+". "+w.Sentence)
		y = d.paragraph(12, y+22, desc[len(desc)-1])
	}
	y = d.paragraph(12, y+22, r.Sensing.Basis())
	d.pic.Desc = strings.Join(append(desc, r.Sensing.Basis()), " ")
	d.pic.Width, d.pic.Height = d.width, y+14
	return &d.pic, nil
}

func (p fedPlot) amounts(d *fed.Day) fedDay {
	if p.weighed {
		return fedDay{d.PlannedMg, d.TurnedMg, d.HandMg}
	}
	return fedDay{int64(d.PlannedPockets), int64(d.TurnedPockets), int64(d.HandPockets)}
}

// fedGrid draws the amounts, and the ration's range behind all.
func (d *drawing) fedGrid(p fedPlot, r *fed.Report) {
	if p.weighed && r.Most > 0 {
		d.add(Rect{X: p.left, Y: p.y(r.Most), W: p.right - p.left, H: p.y(r.Least) - p.y(r.Most), Paint: Band,
			Tip: "the ration: " + units.Milligrams(r.Least).Short() + " to " + units.Milligrams(r.Most).Short() + " a day"})
	}
	step := niceStep(p.most, 5)
	for n := int64(0); n <= p.most; n += step {
		d.add(Line{Points: []Point{{p.left, p.y(n)}, {p.right, p.y(n)}}, Width: 1, Paint: Rule},
			Text{X: p.left - 8, Y: p.y(n) + 4, Size: 11, Anchor: End, Paint: Faint, S: p.amount(n)})
	}
}

// fedColumn draws a day: what turned, what by hand on top, a frame for what was planned, and below it what was odd.
func (d *drawing) fedColumn(p fedPlot, i int, r *fed.Report) {
	day := &r.Days[i]
	a := p.amounts(day)
	gap := min(4, p.column()/5)
	x, w, bottom := p.x(i)+gap/2, p.column()-gap, p.y(0)
	g := Group{Tip: fedTip(day)}
	if !day.Whole() {
		g.Marks = append(g.Marks, Rect{X: x, Y: bottom + 3, W: w, H: 5, Paint: Past})
	}
	g.Marks = append(g.Marks, Rect{X: x, Y: p.y(a.turned), W: w, H: bottom - p.y(a.turned), Paint: Level})
	if a.hand > 0 {
		g.Marks = append(g.Marks, Rect{X: x, Y: p.y(a.turned + a.hand), W: w, H: p.y(a.turned) - p.y(a.turned+a.hand), Paint: Odd})
	}
	if a.planned > 0 {
		top := p.y(a.planned)
		g.Marks = append(g.Marks, Line{Points: []Point{{x, bottom}, {x, top}, {x + w, top}, {x + w, bottom}}, Width: 1, Paint: Ink})
	}
	missed, late := false, false
	for _, s := range day.Servings {
		missed = missed || s.State == fed.Missed || s.State == fed.Part
		late = late || s.State == fed.Late
	}
	side, middle := min(6, w/2+1), x+w/2
	if missed {
		g.Marks = append(g.Marks, shape(3, middle, bottom+17, side, Now))
	}
	if late {
		g.Marks = append(g.Marks, shape(0, middle, bottom+30, min(5, side), Change))
	}
	d.add(g)
	every := max(1, int(math.Ceil(52/p.column())))
	if i%every == 0 && middle+22 < d.width {
		d.add(Text{X: middle, Y: bottom + 50, Size: 11, Anchor: Middle, Paint: Faint, S: dateText(int(day.Date), "2 Jan")})
	}
}

// fedTip says a day in words.
func fedTip(day *fed.Day) string {
	parts := []string{dateText(int(day.Date), "Mon 2 Jan 2006")}
	if amount := day.Amount(); amount != "" {
		parts = append(parts, amount)
	}
	for _, s := range day.Servings {
		if s.State != fed.Given {
			parts = append(parts, strings.Join(append(s.Meals, s.Text()), " "))
		}
	}
	for _, u := range day.Unknown {
		parts = append(parts, "partly not known: "+u.Why)
	}
	return strings.Join(parts, "; ")
}

// fedLegend says what the marks mean and returns its last base line.
func (d *drawing) fedLegend(p fedPlot) float64 {
	x, y := 12.0, p.y(0)+72
	for _, l := range []struct {
		mark func(x, y float64) Mark
		text string
	}{
		{func(x, y float64) Mark { return Rect{X: x, Y: y - 5, W: 10, H: 10, Paint: Level} }, "turned"},
		{func(x, y float64) Mark { return Rect{X: x, Y: y - 5, W: 10, H: 10, Paint: Odd} }, "by hand"},
		{func(x, y float64) Mark {
			return Line{Points: []Point{{x, y + 5}, {x, y - 5}, {x + 10, y - 5}, {x + 10, y + 5}}, Width: 1, Paint: Ink}
		}, "planned"},
		{func(x, y float64) Mark { return Rect{X: x, Y: y - 2, W: 10, H: 5, Paint: Past} }, "not all is known"},
		{func(x, y float64) Mark { return shape(3, x+5, y, 6, Now) }, "left out, or in part"},
		{func(x, y float64) Mark { return shape(0, x+5, y, 5, Change) }, "late"},
	} {
		w := 30 + textWidth(l.text, 12)
		if x+w > d.width && x > 12 {
			x, y = 12, y+20
		}
		d.add(l.mark(x, y), Text{X: x + 16, Y: y + 4, Size: 12, Paint: Ink, S: l.text})
		x += w
	}
	return y + 4
}
