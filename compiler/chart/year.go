package chart

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"mealtab/compiler/plan"
	"mealtab/compiler/review"
	"mealtab/compiler/table"
)

const (
	months    = 12
	monthRow  = 34 // height of a month
	barMost   = 18 // height of the bar of the day with most food
	monthDays = 31
)

// yearLayout is where months and days lie.
type yearLayout struct {
	top, left, cell float64
	first           time.Time // the first day of the first month
}

func (l yearLayout) monthOf(t time.Time) int {
	return (t.Year()-l.first.Year())*12 + int(t.Month()) - int(l.first.Month())
}

// place is the left end and the base line of a day's cell; ok is false outside the year.
func (l yearLayout) place(t time.Time) (x, base float64, ok bool) {
	m := l.monthOf(t)
	return l.left + float64(t.Day()-1)*l.cell, l.top + float64(m)*monthRow + monthRow - 5, m >= 0 && m < months
}

// year draws twelve months, a row each: food per day as a bar, and a sign on every odd day.
func (d *drawing) year() *Picture {
	t := date(d.from)
	l := yearLayout{left: 78, first: time.Date(t.Year(), t.Month(), 1, 0, 0, 0, 0, time.UTC)}
	if d.narrow() {
		l.left = 38
	}
	l.cell = (d.width - l.left - 10) / monthDays
	end := l.first.AddDate(0, months, 0)
	dates := l.first.Format("January 2006") + " to " + end.AddDate(0, 0, -1).Format("January 2006")
	l.top = d.heading(dates) + 18
	totals := d.totals(dayNumber(l.first), dayNumber(end))
	d.monthNames(l)
	d.bars(l, totals)
	signs := d.signs(l)
	d.pic.Title = d.name() + ", " + dates
	d.pic.Desc = d.yearText(l, totals, signs)
	d.drawSigns(l, signs)
	d.pic.Width, d.pic.Height = d.width, d.yearLegend(l.top+months*monthRow+22, signs)
	return &d.pic
}

// dayTotal is what a local date gets.
type dayTotal struct {
	units    int64
	servings int
}

func (d *drawing) totals(from, to int) []dayTotal {
	list := make([]dayTotal, to-from)
	d.servings(from, to, func(s serving) bool {
		t := &list[dayOf(s.nominal)-from]
		t.units += s.units()
		t.servings++
		return true
	})
	return list
}

func (d *drawing) monthNames(l yearLayout) {
	layout := "Jan 2006"
	if d.narrow() {
		layout = "Jan"
	}
	for m := range months {
		t := l.first.AddDate(0, m, 0)
		y := l.top + float64(m)*monthRow
		if m%2 == 0 {
			d.add(Rect{X: 4, Y: y, W: d.width - 8, H: monthRow, R: 4, Paint: Band})
		}
		d.add(Text{X: 10, Y: y + monthRow - 8, Size: 12, Paint: Ink, S: t.Format(layout)})
	}
	for day := 1; day <= monthDays; day++ {
		if day == 1 || day%5 == 0 {
			d.add(Text{X: l.left + (float64(day)-0.5)*l.cell, Y: l.top - 6, Size: 11, Anchor: Middle, Paint: Faint, S: fmt.Sprint(day)})
		}
	}
}

// bars draws the food of each day; a day with none has a short line. Days with what most days have need no tip.
func (d *drawing) bars(l yearLayout, totals []dayTotal) {
	most, usual := biggest(totals), usualTotal(totals)
	gap := min(3, l.cell*0.22)
	plain := map[Paint][]Rect{}
	var told []Mark
	for i, total := range totals {
		t := l.first.AddDate(0, 0, i)
		x, base, _ := l.place(t)
		h, paint := 1.0, Past
		if total.units > 0 {
			h = max(2, barMost*float64(total.units)/float64(most))
			if dayNumber(t) >= d.today {
				paint = Level
			}
		}
		bar := Rect{X: x + gap/2, Y: base - h, W: l.cell - gap, H: h, Paint: paint}
		if total == usual {
			plain[paint] = append(plain[paint], bar)
			continue
		}
		bar.Tip = t.Format("Mon 2 January 2006") + ": nothing"
		if total.servings > 0 {
			bar.Tip = fmt.Sprintf("%s: %s, %s", t.Format("Mon 2 January 2006"), plural(total.servings, "serving"), d.amount(total.units))
		}
		told = append(told, bar)
	}
	d.add(Rects{Past, plain[Past]}, Rects{Level, plain[Level]})
	d.add(told...)
}

func biggest(totals []dayTotal) (most int64) {
	for _, t := range totals {
		most = max(most, t.units)
	}
	return most
}

// usualTotal is the one that most days have; of equals the first.
func usualTotal(totals []dayTotal) (usual dayTotal) {
	count := map[dayTotal]int{}
	for _, t := range totals {
		count[t]++
	}
	best := 0
	for _, t := range totals {
		if count[t] > best {
			best, usual = count[t], t
		}
	}
	return usual
}

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
		day := date(dayOf(minuteOf(c.At + int64(c.Before.Seconds))))
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

func (d *drawing) yearLegend(y float64, signs []sign) float64 {
	seen := map[signKind]bool{}
	for _, s := range signs {
		seen[s.kind] = true
	}
	food := "food per day"
	x := 14.0
	d.add(Rect{X: x, Y: y - 12, W: 8, H: 12, Paint: Level}, Text{X: x + 16, Y: y, Size: 12, Paint: Ink, S: food})
	x += 16 + textWidth(food, 12) + 18
	for _, kind := range slices.Sorted(maps.Keys(seen)) {
		w := 16 + textWidth(signNames[kind], 12) + 18
		if x+w > d.width-8 {
			x, y = 14, y+22
		}
		d.add(signMarks(kind, x+5, y-4)...)
		d.add(Text{X: x + 16, Y: y, Size: 12, Paint: Ink, S: signNames[kind]})
		x += w
	}
	return y + 14
}

// yearText is the picture in words: what a usual day gets, and the odd days.
func (d *drawing) yearText(l yearLayout, totals []dayTotal, signs []sign) string {
	var b strings.Builder
	fed, least, most := 0, int64(math.MaxInt64), int64(0)
	for _, t := range totals {
		if t.servings > 0 {
			fed++
			least, most = min(least, t.units), max(most, t.units)
		}
	}
	switch {
	case fed == 0:
		b.WriteString("No food on any day.")
	case least == most:
		fmt.Fprintf(&b, "%s on %s.", d.amount(most), plural(fed, "day"))
	default:
		fmt.Fprintf(&b, "%s to %s a day on %s.", d.amount(least), d.amount(most), plural(fed, "day"))
	}
	for _, s := range signs {
		if len(s.texts) > 0 {
			fmt.Fprintf(&b, " %d %s: %s.", s.day, l.first.AddDate(0, s.month, 0).Format("January 2006"), strings.Join(s.texts, "; "))
		}
	}
	return b.String()
}

// dayStart is the first minute of a local date, in nominal time.
func dayStart(day int) table.Minute { return table.Minute(day) * table.MinutesPerDay }
