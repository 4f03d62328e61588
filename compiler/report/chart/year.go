package chart

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"mealtab/compiler/table"
	"mealtab/compiler/units"
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
			bar.Tip = fmt.Sprintf("%s: %s, %s", t.Format("Mon 2 January 2006"), units.Count(total.servings, "serving"), d.amount(total.units))
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
		fmt.Fprintf(&b, "%s on %s.", d.amount(most), units.Count(fed, "day"))
	default:
		fmt.Fprintf(&b, "%s to %s a day on %s.", d.amount(least), d.amount(most), units.Count(fed, "day"))
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
