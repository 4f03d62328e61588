// Package chart draws what a plan will do: its week, its year, its hopper, its cells.
//
// In: a compiled plan ([review.Input]: plan, zone, table, present time). Out: a [Picture], written as SVG (SVG 1.1 with CSS
// for light and dark) or PNG. Lengths are CSS pixels, times local minutes, weights milligrams. Everything shown comes from the
// replay of the table, so a picture shows what the feeder will do. The same input gives the same bytes.
package chart

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/plan"
	"mealtab/compiler/replay"
	"mealtab/compiler/report/review"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// Input is a compiled plan at some time.
type Input = review.Input

// Options say how to draw.
type Options struct {
	Width   int       // CSS pixels, 300 to 2000; 0: 760
	From    table.Day // first local date shown; 0: that of Now
	Preset  int       // index, or replay.AllPresets
	Heading bool      // write the plan's name and the dates into the picture
}

const (
	defaultWidth = 760
	minWidth     = 300
	maxWidth     = 2000
	// narrow pictures, as on a phone, have shorter words.
	narrowBelow = 560
)

// Kinds lists the kinds of picture.
func Kinds() []string { return []string{"week", "year", "hopper", "battery"} }

// Draw draws a picture of a kind. The error says what the plan lacks for it.
func Draw(kind string, in Input, o Options) (*Picture, error) {
	if o.Width == 0 {
		o.Width = defaultWidth
	}
	if o.Width < minWidth || o.Width > maxWidth {
		return nil, fmt.Errorf("a picture %d pixels wide cannot be drawn: %d to %d", o.Width, minWidth, maxWidth)
	}
	d := &drawing{in: in, o: o, width: float64(o.Width), today: dayOf(nominal(in, in.Now))}
	d.from = d.today
	if o.From != 0 {
		d.from = int(o.From)
	}
	switch kind {
	case "week":
		return d.week(), nil
	case "year":
		return d.year(), nil
	case "hopper":
		return d.hopper()
	case "battery":
		return d.battery()
	}
	return nil, fmt.Errorf("there is no picture %q; there are %s", kind, strings.Join(Kinds(), ", "))
}

// drawing is a picture in the making.
type drawing struct {
	in    Input
	o     Options
	width float64
	from  int // first local date
	today int
	pic   Picture
}

func (d *drawing) narrow() bool { return d.o.Width < narrowBelow }

func (d *drawing) add(marks ...Mark) { d.pic.Marks = append(d.pic.Marks, marks...) }

// name is the plan's, or that of its file.
func (d *drawing) name() string {
	if d.in.Plan.Name != "" {
		return d.in.Plan.Name
	}
	return d.in.Plan.Source.Name
}

const headingHeight = 34

// heading writes the first line, if it is wanted, and returns where to go on.
func (d *drawing) heading(dates string) float64 {
	if !d.o.Heading {
		return 4
	}
	d.add(Text{X: 12, Y: 22, Size: 15, Bold: true, Paint: Ink, S: clipText(d.name(), 15, d.width-24)})
	if d.narrow() {
		d.add(Text{X: 12, Y: 40, Size: 12, Paint: Faint, S: dates})
		return headingHeight + 16
	}
	d.add(Text{X: d.width - 12, Y: 22, Size: 12, Anchor: End, Paint: Faint, S: dates})
	return headingHeight
}

var errNoHopper = errors.New("the hopper cannot be drawn: the plan does not say what it holds; add [hopper] holds = \"1.4 kg\"")

// errNoWeights is for portions in pockets whose weight nobody has said.
var errNoWeights = errors.New("the hopper cannot be drawn: the portions are pockets, and the plan does not say what one weighs; add [wheel] pocket = \"6.2 g\"")

// serving is one dispensing in local time.
type serving struct {
	at      table.Minute // UTC
	nominal table.Minute // by the clock on the wall
	parts   []part
}

// part is one meal's share.
type part struct {
	meal    int // of the plan
	mg      int64
	pockets int
	units   int64 // what sizes are compared by: milligrams, or pockets where weights are not known
}

func (s serving) units() (n int64) {
	for _, p := range s.parts {
		n += p.units
	}
	return n
}

// beforeAll lies before every instant that a date from 2000 on can mean, east of UTC.
const beforeAll = -2 * table.MinutesPerDay

// servings calls f for each serving of the local dates [from, to); f returns false to stop. The replay begins with the table:
// the remainder of portions is carried from serving to serving.
func (d *drawing) servings(from, to int, f func(serving) bool) {
	end := (table.Minute(to) + 2) * table.MinutesPerDay
	c := replay.New(d.in.Table, replay.Options{From: beforeAll, To: end, Preset: d.o.Preset})
	for {
		due, ok := c.Next()
		if !ok {
			return
		}
		n := nominal(d.in, due.At)
		if day := dayOf(n); day < from || day >= to {
			continue
		}
		if !f(d.serving(due, n)) {
			return
		}
	}
}

func (d *drawing) serving(due replay.Serving, n table.Minute) serving {
	s := serving{at: due.At, nominal: n, parts: make([]part, 0, len(due.Meals))}
	unitMg := int64(d.in.Table.Wheel.UnitMg)
	for _, share := range due.Meals {
		p := part{meal: d.in.MealOf[share.Meal], mg: int64(share.Units) * unitMg, pockets: share.Pockets, units: int64(share.Units)}
		if i := slices.IndexFunc(s.parts, func(q part) bool { return q.meal == p.meal }); i >= 0 {
			s.parts[i].mg += p.mg
			s.parts[i].pockets += p.pockets
			s.parts[i].units += p.units
			continue
		}
		s.parts = append(s.parts, p)
	}
	return s
}

// weighed reports whether portions are weights.
func (d *drawing) weighed() bool { return d.in.Table.Wheel.UnitMg > 0 }

// amount is "18 g", or "3 pockets" where weights are not known.
func (d *drawing) amount(massUnits int64) string {
	if d.weighed() {
		return units.Milligrams(massUnits * int64(d.in.Table.Wheel.UnitMg)).Short()
	}
	return plan.Portion{Pockets: int(massUnits)}.String()
}

// shortAmount is amount where there is little room.
func (d *drawing) shortAmount(massUnits int64) string {
	if d.weighed() {
		return units.Milligrams(massUnits * int64(d.in.Table.Wheel.UnitMg)).Short()
	}
	return fmt.Sprintf("%d p", massUnits)
}

// shown reports whether a meal is served in the preset drawn.
func (d *drawing) shown(m *plan.Meal) bool {
	return d.o.Preset == replay.AllPresets || m.Presets == 0 || m.Presets>>d.o.Preset&1 != 0
}
