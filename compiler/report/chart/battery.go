package chart

import (
	"fmt"
	"math"

	"mealtab/compiler/power"
	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

const (
	lifeHeight = 74 // of the part that shows how long a set of cells lasts
	barRow     = 24
	barsShown  = 9 // the smaller loads are summed up
)

// battery draws how long a set of cells lasts, poor to good, and which loads take the charge of a year. What happens in a year
// is computed from the replay and from what the firmware is meant to do; a rehearsal counts it better.
func (d *drawing) battery() (*Picture, error) {
	board, err := profile.LoadFor(d.in.Plan.Source.Name, d.in.Plan.Board)
	if err != nil {
		return nil, err
	}
	if board.Supply == profile.Mains {
		return nil, fmt.Errorf("the battery cannot be drawn: %s runs on a wall supply", board.Name)
	}
	p, err := power.Of(board)
	if err != nil {
		return nil, err
	}
	from := max(d.in.Now, table.Minute(d.in.Table.Start)*table.MinutesPerDay)
	counts := power.Computed(d.in.Table, power.Board{ClockHz: float64(board.ClockHz), TurnMillis: float64(board.TurnMillis)}, d.o.Preset, from-from%table.MinutesPerDay)
	life := p.Range(counts)
	loads := loadsOf(p, life[1].Budget)
	y := d.heading(fmt.Sprintf("%d %s cells, %s", p.Pack.Cells, p.Pack.Kind, board.Name)) + 8
	said := lifeText(p, life)
	y = d.paragraph(12, y+8, said) + 4
	d.lifeLine(y, life)
	y = d.loads(y+lifeHeight, loads)
	d.pic.Title = d.name() + ": how long the cells last"
	d.pic.Desc = said
	for _, l := range loads {
		d.pic.Desc += fmt.Sprintf(" %s: %s a year.", l.name, l.charge)
	}
	d.pic.Width, d.pic.Height = d.width, y+8
	return &d.pic, nil
}

// load is one bar.
type load struct {
	name   string
	charge units.MilliampHours
}

// loadsOf lists the loads, the greatest first, with what the cells lose by themselves and the smallest in one.
func loadsOf(p *power.Profile, b power.Budget) []load {
	list := make([]load, 0, len(b.Items)+1)
	self := load{"the cells themselves", units.MilliampHours(p.Pack.SelfDischarge) * p.Pack.Capacity[1]}
	for _, i := range b.Items {
		if self.charge > i.Charge && self.name != "" {
			list = append(list, self)
			self.name = ""
		}
		list = append(list, load{i.Name, i.Charge})
	}
	if self.name != "" {
		list = append(list, self)
	}
	if len(list) <= barsShown {
		return list
	}
	rest := load{name: "all others"}
	for _, l := range list[barsShown-1:] {
		rest.charge += l.charge
	}
	return append(list[:barsShown-1], rest)
}

func lifeText(p *power.Profile, life power.Range) string {
	s := fmt.Sprintf("A set of %d %s cells lasts about %s: %s in poor conditions, %s in good ones", p.Pack.Cells, p.Pack.Kind, life[1], life[0], life[2])
	if life[2].Limited {
		s += ", when the cells themselves grow too old"
	}
	return s + ". Computed, not measured."
}

// lifeLine shows the range on a scale of years, or of days where it is short.
func (d *drawing) lifeLine(y float64, life power.Range) {
	unit, word := 1.0, "%g y"
	if life[2].Years < 1.5 {
		unit, word = 1/365.25, "%g d"
	}
	left, right := 24.0, d.width-24
	steps := 8.0
	if d.narrow() {
		steps = 4
	}
	step := float64(niceStep(int64(math.Ceil(life[2].Years/unit)), int64(steps)))
	most := step * math.Ceil(life[2].Years/unit/step)
	x := func(years float64) float64 { return left + (right-left)*years/unit/most }
	for at := 0.0; at <= most; at += step {
		d.add(Line{Points: []Point{{x(at * unit), y + 12}, {x(at * unit), y + 44}}, Width: 1, Paint: Rule},
			Text{X: x(at * unit), Y: y + 60, Size: 11, Anchor: Middle, Paint: Faint, S: fmt.Sprintf(word, at)})
	}
	from, to := x(life[0].Years), x(life[2].Years)
	d.add(Rect{X: from, Y: y + 22, W: max(to-from, 2), H: 12, R: 3, Paint: Level, Tip: "from poor to good conditions"},
		Circle{X: x(life[1].Years), Y: y + 28, R: 8, Paint: Change, Tip: "usual conditions: " + life[1].String()})
}

// loads draws the bars and returns where they end.
func (d *drawing) loads(y float64, list []load) float64 {
	left, right := 250.0, d.width-84
	if d.narrow() {
		left, right = 132, d.width-70
	}
	d.add(Text{X: 12, Y: y + 8, Size: 12, Bold: true, Paint: Ink, S: "Charge in a year"})
	y += 18
	most := units.MilliampHours(0)
	for _, l := range list {
		most = max(most, l.charge)
	}
	for _, l := range list {
		w := 1.0
		if most > 0 {
			w = max(1, (right-left)*float64(l.charge/most))
		}
		d.add(Text{X: 12, Y: y + 16, Size: 12, Paint: Ink, S: clipText(l.name, 12, left-20)},
			Rect{X: left, Y: y + 5, W: w, H: 14, R: 2, Paint: Level, Tip: l.name + ": " + l.charge.String() + " a year"},
			Text{X: left + w + 6, Y: y + 16, Size: 11, Paint: Faint, S: l.charge.String()})
		y += barRow
	}
	return y
}
