package chart

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"mealtab/compiler/plan"
	"mealtab/compiler/report/review"
	"mealtab/compiler/table"
)

// signKind is what is odd about a day; the first matters most.
type signKind int

const (
	clockSign signKind = iota
	gapSign
	exceptionSign
	oddSign
	signKinds
)

// signNames are the words of the legend.
var signNames = [signKinds]string{"clocks change", "month too short", "exception", "begins, ends or differs"}

// sign is a mark above one day, or in the empty cell of a date that a month lacks.
type sign struct {
	kind  signKind
	month int // row
	day   int // column, 1 to 31
	texts []string
}

type cellKey struct{ month, day int }

// signs collects what is odd, by cell.
func (d *drawing) signs(l yearLayout) []sign {
	all := map[cellKey]*sign{}
	put := func(kind signKind, month, day int, text string) {
		if month < 0 || month >= months {
			return
		}
		s := all[cellKey{month, day}]
		if s == nil {
			s = &sign{kind: kind, month: month, day: day}
			all[cellKey{month, day}] = s
		}
		s.kind = min(s.kind, kind)
		if text != "" && !slices.Contains(s.texts, text) {
			s.texts = append(s.texts, text)
		}
	}
	onDay := func(kind signKind, t time.Time, text string) { put(kind, l.monthOf(t), t.Day(), text) }
	d.clockDays(l, onDay)
	for i := range d.in.Plan.Meals {
		if m := &d.in.Plan.Meals[i]; d.shown(m) {
			d.exceptions(m, onDay)
			d.shortMonths(l, m, put)
		}
	}
	for _, s := range review.Surprises(d.in) {
		t := date(s.Day)
		if strings.Contains(s.Text, "no such day") {
			continue // shown in the cell of the date itself
		}
		onDay(oddSign, t, s.Text)
	}
	list := make([]sign, 0, len(all))
	for _, s := range all {
		list = append(list, *s)
	}
	slices.SortFunc(list, func(a, b sign) int { return (a.month-b.month)*40 + a.day - b.day })
	return list
}

func (d *drawing) clockDays(l yearLayout, put func(signKind, time.Time, string)) {
	for _, c := range d.in.Zone.Transitions(l.first.Unix()-86400, l.first.AddDate(1, 0, 1).Unix()) {
		day := date(dayOf(table.MinuteOf(c.At + int64(c.Before.Seconds))))
		text := ""
		if dayNumber(day) < d.today { // later ones are told with the surprises
			text = "the clocks change"
		}
		put(clockSign, day, text)
	}
}

// exceptions are the single dates of a plan: taken out or added.
func (d *drawing) exceptions(m *plan.Meal, put func(signKind, time.Time, string)) {
	for _, list := range []struct {
		dates []plan.Local
		word  string
	}{{m.Set.ExDate, "left out"}, {m.Set.ExDays, "left out"}, {m.Set.RDate, "added"}} {
		if list.word == "added" && m.Set.Rule == nil {
			continue // a meal of single dates has nothing but these
		}
		for _, x := range list.dates {
			t := time.Date(x.Year, time.Month(x.Month), x.Day, 0, 0, 0, 0, time.UTC)
			text := m.Name + " " + list.word
			if x.Hour+x.Minute > 0 {
				text = fmt.Sprintf("%s at %s %s", m.Name, clock(x.Hour*60+x.Minute), list.word)
			}
			put(exceptionSign, t, text)
		}
	}
}

// shortMonths finds the dates that a rule asks for and the calendar lacks (RFC 5545 §3.3.10: such dates are ignored).
func (d *drawing) shortMonths(l yearLayout, m *plan.Meal, put func(kind signKind, month, day int, text string)) {
	r := m.Set.Rule
	if r == nil || r.Skip != plan.Omit || r.Freq < plan.Monthly {
		return
	}
	days := r.ByMonthDay
	if len(days) == 0 && len(r.ByDay)+len(r.ByYearDay)+len(r.ByWeekNo) == 0 {
		days = []int{m.Set.Start.Day}
	}
	for i := range months {
		t := l.first.AddDate(0, i, 0)
		if !activeMonth(m, t) {
			continue
		}
		for _, day := range days {
			if day > daysIn(t) {
				put(gapSign, i, day, fmt.Sprintf("%s is skipped: %s has no %d", m.Name, t.Format("January 2006"), day))
			}
		}
	}
}

// activeMonth reports whether a rule looks at a month at all.
func activeMonth(m *plan.Meal, t time.Time) bool {
	r, start := m.Set.Rule, m.Set.Start
	since := (t.Year()-start.Year)*12 + int(t.Month()) - start.Month
	if since < 0 || len(r.ByMonth) > 0 && !slices.Contains(r.ByMonth, int(t.Month())) {
		return false
	}
	if u := r.Until; u != nil && (t.Year()-u.Local.Year)*12+int(t.Month())-u.Local.Month > 0 {
		return false
	}
	if r.Freq == plan.Monthly {
		return since%r.Interval == 0
	}
	if len(r.ByMonth)+len(r.ByMonthDay) == 0 && int(t.Month()) != start.Month {
		return false
	}
	return (t.Year()-start.Year)%r.Interval == 0
}

// drawSigns puts signs above their days.
func (d *drawing) drawSigns(l yearLayout, signs []sign) {
	for _, s := range signs {
		x := l.left + (float64(s.day)-0.5)*l.cell
		y := l.top + float64(s.month)*monthRow + 6
		if s.kind == gapSign {
			y = l.top + float64(s.month)*monthRow + monthRow - 10
		}
		tip := fmt.Sprintf("%d %s: %s", s.day, l.first.AddDate(0, s.month, 0).Format("January 2006"), strings.Join(s.texts, "; "))
		d.add(Group{Tip: tip, Marks: signMarks(s.kind, x, y)})
	}
	x, base, ok := l.place(date(d.today))
	if ok {
		d.add(Group{Tip: "today", Marks: []Mark{Rect{X: x, Y: base + 1, W: l.cell, H: 2.5, Paint: Now}}})
	}
}

// signMarks draws a sign in a circle of radius 4.5.
func signMarks(kind signKind, x, y float64) []Mark {
	const r = 4.5
	switch kind {
	case clockSign: // a clock's face
		return []Mark{Circle{X: x, Y: y, R: r - 0.75, Ring: 1.5, Paint: Change},
			Line{Points: []Point{{x, y - r + 1.5}, {x, y}, {x + 2.2, y + 1.2}}, Width: 1.2, Paint: Change}}
	case gapSign: // a cross where there is no day
		const a = r * math.Sqrt2 / 2
		return []Mark{Line{Points: []Point{{x - a, y - a}, {x + a, y + a}}, Width: 1.8, Paint: Change},
			Line{Points: []Point{{x - a, y + a}, {x + a, y - a}}, Width: 1.8, Paint: Change}}
	case exceptionSign:
		return []Mark{Poly{Points: []Point{{x, y - r}, {x + r, y}, {x, y + r}, {x - r, y}}, Paint: Odd}}
	}
	return []Mark{Circle{X: x, Y: y, R: r - 1, Paint: Odd}}
}
