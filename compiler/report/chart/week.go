package chart

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

const (
	weekDays   = 7
	weekRow    = 48 // height of a day
	markMost   = 12 // radius of the biggest portion
	markLeast  = 3
	labelSpace = 40 // a portion's weight needs that much room to the next mark
)

// weekLayout is where the days and hours lie.
type weekLayout struct {
	top, left, right float64
}

func (l weekLayout) x(ofDay int) float64 {
	return l.left + (l.right-l.left)*float64(ofDay)/table.MinutesPerDay
}

// center is the height at which a day's marks stand.
func (l weekLayout) center(day int) float64 { return l.top + float64(day)*weekRow + 18 }

// week draws seven days by 24 hours. A serving is a mark whose area is its portion.
func (d *drawing) week() *Picture {
	days := make([][]serving, weekDays)
	var most int64
	d.servings(d.from, d.from+weekDays, func(s serving) bool {
		i := dayOf(s.nominal) - d.from
		days[i] = append(days[i], s)
		for _, p := range s.parts {
			most = max(most, p.units)
		}
		return true
	})
	falls := d.whatFalls(days)
	if falls != "" {
		most = 0
		for _, list := range days {
			for _, s := range list {
				for _, p := range s.parts {
					most = max(most, p.units)
				}
			}
		}
	}
	dates := dateText(d.from, "2 January") + " to " + dateText(d.from+weekDays-1, "2 January 2006")
	d.pic.Title = d.name() + ", " + dates
	d.pic.Desc = d.weekText(days)
	l := weekLayout{top: d.heading(dates) + 22, left: 92, right: d.width - 66}
	if d.narrow() {
		l.left, l.right = 46, d.width-46
	}
	d.hours(l)
	notes := d.changes(l)
	for i, list := range days {
		d.day(l, i, list, most)
	}
	d.nowLine(l)
	d.pic.Width, d.pic.Height = d.width, d.legend(l.top+weekDays*weekRow+22, notes)
	if falls != "" {
		d.pic.Desc += " " + falls
		d.pic.Height = d.paragraph(14, d.pic.Height+8, falls) + 14
	}
	return &d.pic
}

// whatFalls turns a week in which a serving gives no pocket at all into one of what falls: a portion that is saved up is not food yet. It says
// so; "" if every serving turns the wheel.
func (d *drawing) whatFalls(days [][]serving) string {
	if !d.weighed() {
		return ""
	}
	saved := false
	for _, list := range days {
		for _, s := range list {
			for _, p := range s.parts {
				saved = saved || p.units > 0 && p.pockets == 0
			}
		}
	}
	if !saved {
		return ""
	}
	pocket := d.in.Table.Wheel.PocketMg()
	for _, list := range days {
		for _, s := range list {
			for i := range s.parts {
				s.parts[i].units = int64(s.parts[i].pockets) * int64(d.in.Table.Wheel.PocketUnits)
			}
		}
	}
	return "A pocket holds " + units.Milligrams(pocket).Short() + ", more than some portions: these are saved up until they fill one. Shown is what falls."
}

// hours draws the ground: a band for every other day, and the hours.
func (d *drawing) hours(l weekLayout) {
	for i := 0; i < weekDays; i += 2 {
		d.add(Rect{X: 4, Y: l.top + float64(i)*weekRow, W: d.width - 8, H: weekRow, R: 4, Paint: Band})
	}
	step := 3
	if d.narrow() {
		step = 6
	}
	bottom := l.top + weekDays*weekRow
	for h := 0; h <= 24; h += step {
		x := l.x(h * 60)
		d.add(Line{Points: []Point{{x, l.top}, {x, bottom}}, Width: 1, Paint: Rule})
		d.add(Text{X: x, Y: l.top - 7, Size: 11, Anchor: Middle, Paint: Faint, S: fmt.Sprintf("%d", h)})
	}
}

// day draws a row: its name, its marks, its sum.
func (d *drawing) day(l weekLayout, i int, list []serving, most int64) {
	y := l.center(i)
	if d.narrow() {
		d.add(Text{X: 8, Y: y + 2, Size: 12, Bold: d.from+i == d.today, Paint: Ink, S: dateText(d.from+i, "Mon")},
			Text{X: 8, Y: y + 17, Size: 10.5, Paint: Faint, S: dateText(d.from+i, "2 Jan")})
	} else {
		d.add(Text{X: 12, Y: y + 4, Size: 13, Bold: d.from+i == d.today, Paint: Ink, S: dateText(d.from+i, "Mon")},
			Text{X: 46, Y: y + 4, Size: 13, Paint: Faint, S: dateText(d.from+i, "2 Jan")})
	}
	var sum int64
	for n, s := range list {
		sum += s.units()
		d.servingMark(l, i, s, most, d.roomAfter(l, list, n) > labelSpace)
	}
	total := d.shortAmount(sum)
	if sum == 0 {
		total = "none"
	}
	d.add(Text{X: d.width - 8, Y: y + 4, Size: 12, Anchor: End, Paint: Ink, S: total})
}

// roomAfter is the smaller distance to the servings before and after.
func (d *drawing) roomAfter(l weekLayout, list []serving, n int) float64 {
	room := math.Inf(1)
	x := l.x(ofDay(list[n].nominal))
	for _, i := range []int{n - 1, n + 1} {
		if i >= 0 && i < len(list) {
			room = min(room, math.Abs(l.x(ofDay(list[i].nominal))-x))
		}
	}
	return room
}

func (d *drawing) servingMark(l weekLayout, i int, s serving, most int64, labelled bool) {
	x, y := l.x(ofDay(s.nominal)), l.center(i)
	g := Group{Tip: d.servingText(s)}
	parts := slices.Clone(s.parts)
	slices.SortStableFunc(parts, func(a, b part) int { return int(b.units - a.units) }) // the small one on top
	for _, p := range parts {
		if p.units == 0 { // nothing falls: a point in the colour of the lines
			g.Marks = append(g.Marks, shape(Shape(p.meal), x, y, markLeast, Rule))
			continue
		}
		r := max(markLeast, markMost*math.Sqrt(float64(p.units)/float64(most)))
		g.Marks = append(g.Marks, shape(Shape(p.meal), x, y, r, meal(p.meal)))
	}
	d.add(g)
	if labelled {
		d.add(Text{X: x, Y: y + 26, Size: 10.5, Anchor: Middle, Paint: Faint, S: d.shortAmount(s.units())})
	}
}

// servingText says what a serving is: "Mon 30 November 07:00, breakfast 18 g".
func (d *drawing) servingText(s serving) string {
	return dateText(dayOf(s.nominal), "Mon 2 January ") + d.servingWords(s)
}

func (d *drawing) servingWords(s serving) string {
	words := make([]string, len(s.parts))
	for i, p := range s.parts {
		words[i] = d.in.Plan.Meals[p.meal].Name + " " + d.amount(p.units)
		if p.units == 0 {
			words[i] = d.in.Plan.Meals[p.meal].Name + " nothing yet"
		}
	}
	return clock(ofDay(s.nominal)) + " " + strings.Join(words, " and ")
}

// weekText is the picture in words.
func (d *drawing) weekText(days [][]serving) string {
	lines := make([]string, len(days))
	for i, list := range days {
		var sum int64
		words := make([]string, len(list))
		for n, s := range list {
			words[n] = d.servingWords(s)
			sum += s.units()
		}
		lines[i] = dateText(d.from+i, "Mon 2 January: ") + strings.Join(words, ", ")
		switch len(list) {
		case 0:
			lines[i] += "nothing"
		case 1:
		default:
			lines[i] += "; in all " + d.amount(sum)
		}
	}
	return strings.Join(lines, ". ") + "."
}

// changes frames the hours that the clocks skip or repeat, and returns what to say about them.
func (d *drawing) changes(l weekLayout) (notes []string) {
	from := (table.Minute(d.from-1) * table.MinutesPerDay).Unix()
	to := (table.Minute(d.from+weekDays+1) * table.MinutesPerDay).Unix()
	for _, c := range d.in.Zone.Transitions(from, to) {
		before := table.MinuteOf(c.At + int64(c.Before.Seconds))
		after := table.MinuteOf(c.At + int64(c.After.Seconds))
		i := dayOf(before) - d.from
		if i < 0 || i >= weekDays {
			continue
		}
		text, low, high := "forward", before, after
		if after < before {
			text, low, high = "back", after, before
		}
		note := fmt.Sprintf("%[2]s: the clocks go %[1]s, from %[3]s to %[4]s", text, dateText(d.from+i, "Monday"), clock(ofDay(before)), clock(ofDay(after)))
		d.band(l, low, high, note)
		notes = append(notes, note)
	}
	return notes
}

// band marks the wall clock times [low, high), which may run over midnight.
func (d *drawing) band(l weekLayout, low, high table.Minute, tip string) {
	for low < high {
		i := dayOf(low)
		end := min(high, table.Minute(i+1)*table.MinutesPerDay)
		if row := i - d.from; row >= 0 && row < weekDays {
			x, w := l.x(ofDay(low)), l.x(int(end)-i*table.MinutesPerDay)-l.x(ofDay(low))
			y := l.top + float64(row)*weekRow
			d.add(Group{Tip: tip, Marks: frame(x, y, w, weekRow)})
		}
		low = end
	}
}

// nowLine shows the present, where the week contains it.
func (d *drawing) nowLine(l weekLayout) {
	n := nominal(d.in, d.in.Now)
	i := dayOf(n) - d.from
	if i < 0 || i >= weekDays {
		return
	}
	x, y := l.x(ofDay(n)), l.top+float64(i)*weekRow
	d.add(Group{Tip: "now, " + clock(ofDay(n)), Marks: []Mark{
		Line{Points: []Point{{x, y}, {x, y + weekRow}}, Width: 2, Paint: Now},
		Poly{Points: []Point{{x - 4, y}, {x + 4, y}, {x, y + 6}}, Paint: Now},
	}})
}

// legend names the meals, says what the clocks do, and returns the height of the picture.
func (d *drawing) legend(y float64, notes []string) float64 {
	x := 14.0
	for i := range d.in.Plan.Meals {
		m := &d.in.Plan.Meals[i]
		if !d.shown(m) {
			continue
		}
		s := clipText(m.Name, 12, 170) + " " + m.Portion.String()
		w := 20 + textWidth(s, 12) + 18
		if x > 14 && x+w > d.width-8 {
			x, y = 14, y+22
		}
		d.add(shape(Shape(i), x+5, y-4, 6, meal(i)), Text{X: x + 18, Y: y, Size: 12, Paint: Ink, S: s})
		x += w
	}
	for _, note := range notes {
		y += 22
		d.add(frame(14, y-10, 10, 13)...)
		y = d.paragraph(32, y, note)
	}
	return y + 14
}

// frame is an hour that the clocks skip or repeat: a roof on two posts.
func frame(x, y, w, h float64) []Mark {
	return []Mark{Rect{X: x, Y: y, W: w, H: 4, Paint: Change}, Rect{X: x, Y: y + 4, W: 1.5, H: h - 4, Paint: Change}, Rect{X: x + w - 1.5, Y: y + 4, W: 1.5, H: h - 4, Paint: Change}}
}
