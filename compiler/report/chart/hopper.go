package chart

import (
	"fmt"
	"math"

	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

const (
	hopperHeight = 230 // of the plot
	longestDays  = 120 // a hopper that lasts longer is drawn that far
)

// hopperLayout is the plot's frame.
type hopperLayout struct {
	top, left, right float64
	from             table.Minute // nominal
	days             int
	holds            int64 // mg
}

func (l hopperLayout) x(nominal table.Minute) float64 {
	return l.left + (l.right-l.left)*float64(nominal-l.from)/float64(l.days*table.MinutesPerDay)
}

func (l hopperLayout) y(mg int64) float64 {
	return l.top + hopperHeight*(1-float64(mg)/float64(l.holds))
}

// hopper draws the level of a hopper that is full at the present time, until it cannot give a whole serving.
func (d *drawing) hopper() (*Picture, error) {
	holds := d.in.Plan.Hopper
	if holds == 0 {
		return nil, errNoHopper
	}
	if !d.weighed() {
		return nil, errNoWeights
	}
	start := nominal(d.in, d.in.Now)
	if d.from > d.today {
		start = dayStart(d.from)
	}
	levels, end := d.levels(start, holds)
	l := hopperLayout{left: 64, right: d.width - 20, from: dayStart(dayOf(start)), holds: holds}
	if d.narrow() {
		l.left = 52
	}
	l.days = max(2, dayOf(levels[len(levels)-1].at)-dayOf(start)+2)
	dates := "filled " + dateText(dayOf(start), "Mon 2 January 2006")
	l.top = d.heading(dates) + 14
	d.grid(l)
	d.level(l, levels)
	d.pic.Title = d.name() + ": the hopper, " + dates
	d.pic.Desc = end
	d.pic.Width, d.pic.Height = d.width, d.paragraph(12, l.top+hopperHeight+44, end)+14
	return &d.pic, nil
}

// reading is the level after a serving.
type reading struct {
	at table.Minute // nominal
	mg int64
}

// levels follows the hopper down and says how it ends.
func (d *drawing) levels(start table.Minute, holds int64) (list []reading, end string) {
	list = []reading{{start, holds}}
	left, last, empty := holds, -1, false
	d.servings(dayOf(start), dayOf(start)+longestDays, func(s serving) bool {
		if s.nominal < start {
			return true
		}
		mg := s.units() * int64(d.in.Table.Wheel.UnitMg)
		if mg > left {
			empty = true
			return false
		}
		left -= mg
		last = int(s.nominal)
		list = append(list, reading{s.nominal, left})
		return true
	})
	switch {
	case last < 0 && empty:
		return list, fmt.Sprintf("A full hopper (%s) does not hold one serving.", units.Milligrams(holds).Short())
	case last < 0:
		return list, "Nothing is served in this time."
	case empty:
		at := table.Minute(last)
		return list, fmt.Sprintf("A full hopper (%s) lasts %s; last whole serving %s.", units.Milligrams(holds).Short(), units.Count(dayOf(at)-dayOf(start), "day"), dateText(dayOf(at), "Mon 2 Jan 2006 ")+clock(ofDay(at)))
	}
	return list, fmt.Sprintf("A full hopper (%s) lasts longer than %s; %s are left then.", units.Milligrams(holds).Short(), units.Count(dayOf(table.Minute(last))-dayOf(start), "day"), units.Milligrams(left).Short())
}

// grid draws the amounts and dates.
func (d *drawing) grid(l hopperLayout) {
	step := niceStep(l.holds, 5)
	for mg := int64(0); mg <= l.holds; mg += step {
		y := l.y(mg)
		d.add(Line{Points: []Point{{l.left, y}, {l.right, y}}, Width: 1, Paint: Rule},
			Text{X: l.left - 8, Y: y + 4, Size: 11, Anchor: End, Paint: Faint, S: units.Milligrams(mg).Short()})
	}
	room := 62.0
	every := max(1, int(math.Ceil(room*float64(l.days)/(l.right-l.left))))
	for day := 0; day <= l.days; day += every {
		x := l.x(l.from + dayStart(day))
		d.add(Line{Points: []Point{{x, l.top + hopperHeight}, {x, l.top + hopperHeight + 5}}, Width: 1, Paint: Faint})
		if x+20 < d.width {
			d.add(Text{X: x, Y: l.top + hopperHeight + 20, Size: 11, Anchor: Middle, Paint: Faint, S: dateText(dayOf(l.from)+day, "2 Jan")})
		}
	}
}

// niceStep divides a whole into at most n steps of 1, 2 or 5 times a power of ten.
func niceStep(whole int64, n int64) int64 {
	for unit := int64(1); ; unit *= 10 {
		for _, f := range []int64{1, 2, 5} {
			if whole <= f*unit*n {
				return f * unit
			}
		}
	}
}

// level draws the stairs down.
func (d *drawing) level(l hopperLayout, list []reading) {
	bottom := l.top + hopperHeight
	points := []Point{{l.x(list[0].at), bottom}}
	for i, r := range list {
		x := l.x(r.at)
		if i > 0 {
			points = append(points, Point{x, l.y(list[i-1].mg)})
		}
		points = append(points, Point{x, l.y(r.mg)})
	}
	last := list[len(list)-1]
	points = append(points, Point{l.x(last.at), bottom})
	d.add(Poly{Points: points, Paint: Level})
	if len(list) > 1 {
		x := l.x(last.at)
		d.add(Line{Points: []Point{{x, l.top}, {x, bottom}}, Width: 1.5, Paint: Change})
		anchor := Middle
		if x > d.width-80 {
			anchor = End
		}
		d.add(Text{X: x, Y: l.top - 3, Size: 11, Anchor: anchor, Paint: Change, S: dateText(dayOf(last.at), "2 Jan ") + clock(ofDay(last.at))})
	}
}
