package sitter

import (
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/replay"
	"mealtab/compiler/report/review"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// meals is what is served on the days of a sheet.
type meals struct {
	in   Input
	days []day
}

// day is one local date.
type day struct {
	date  table.Day
	lines []line
	units int64 // mass units, or pockets where weights are not known
	shift int   // minutes by which the clocks change; 0: they do not
}

// line is one serving.
type line struct{ time, what string }

func newMeals(in Input) *meals {
	m := &meals{in: in, days: make([]day, int(in.To)-int(in.From)+1)}
	offset := func(at table.Minute) table.Minute { return table.Minute(in.Zone.At(at.Unix()).Seconds / 60) }
	for i := range m.days {
		d := &m.days[i]
		d.date = in.From + table.Day(i)
		d.shift = shiftOf(in, d.date)
	}
	end := (table.Minute(in.To) + 2) * table.MinutesPerDay
	// A replay begins with the table: the remainder of portions is carried from serving to serving.
	for c := replay.New(in.Table, replay.Options{From: -2 * table.MinutesPerDay, To: end, Preset: in.Preset, Until: replay.PresetEndAfter(in.Table, in.Now)}); ; {
		due, ok := c.Next()
		if !ok {
			return m
		}
		nominal := due.At + offset(due.At)
		at := int(nominal)/table.MinutesPerDay - int(in.From)
		if nominal < 0 || at < 0 || at >= len(m.days) {
			continue
		}
		m.days[at].add(in, due, nominal)
	}
}

// shiftOf is by how many minutes the clocks change within a local date.
func shiftOf(in Input, d table.Day) int {
	at := func(day table.Day) int {
		unix, _ := in.Zone.Resolve((table.Minute(day) * table.MinutesPerDay).Unix())
		return in.Zone.At(unix).Seconds / 60
	}
	return at(d+1) - at(d)
}

func (d *day) add(in Input, due replay.Serving, nominal table.Minute) {
	words := make([]string, len(due.Meals))
	for i, share := range due.Meals {
		p := in.Plan.Meals[in.MealOf[share.Meal]]
		d.units += int64(share.Units)
		words[i] = isolate(p.Name) + " " + amount(in, int64(share.Units))
	}
	d.lines = append(d.lines, line{nominal.Time().Format("15:04"), strings.Join(words, " and ")})
}

// amount is "18 g", or "3 pockets" where weights are not known.
func amount(in Input, massUnits int64) string {
	if mg := int64(in.Table.Wheel.UnitMg); mg > 0 {
		return units.Milligrams(massUnits * mg).Short()
	}
	return units.Count(int(massUnits), "pocket")
}

// isolate keeps a name that is written from right to left from turning its neighbours round (UAX #9, isolates).
func isolate(s string) string {
	if strings.ContainsFunc(s, func(r rune) bool {
		return r >= 0x0590 && r < 0x0900 || r >= 0xFB1D && r < 0xFE00 || r >= 0xFE70 && r < 0xFEFF
	}) {
		return "\u2068" + s + "\u2069"
	}
	return s
}

// group is days of which all servings are the same.
type group struct {
	days []day
}

func (m *meals) groups() (list []group) {
	for _, d := range m.days {
		i := slices.IndexFunc(list, func(g group) bool { return slices.Equal(g.days[0].lines, d.lines) })
		if i < 0 {
			list = append(list, group{})
			i = len(list) - 1
		}
		list[i].days = append(list[i].days, d)
	}
	return list
}

// Where the days differ too much for a list of each kind, there is one row a day.
const (
	mostGroups = 7
	mostLines  = 8 // servings of a day that have a row each
)

// section says what the feeder does, and when.
func (m *meals) section() Section {
	s := Section{Name: "meals", Heading: "What the feeder does by itself"}
	groups := m.groups()
	switch {
	case len(groups) == 1 && len(groups[0].days[0].lines) == 0:
		s.Blocks = append(s.Blocks, Text("Nothing: on these days the plan has no meal. Every meal is yours to give."))
	case len(groups) > mostGroups:
		rows := Rows{First: 84}
		for _, d := range m.days {
			rows.Cells = append(rows.Cells, [2]string{date(d.date, "Mon 2 Jan"), d.short() + m.total(d)})
		}
		s.Blocks = append(s.Blocks, rows)
	default:
		for _, g := range groups {
			s.Blocks = append(s.Blocks, m.group(g, len(groups) == 1)...)
		}
	}
	if odd := m.clockChanges(); odd != "" {
		s.Blocks = append(s.Blocks, Text(odd))
	}
	s.Blocks = append(s.Blocks, Text("Times are by the clock on the wall in "+m.in.Plan.Zone+". The wheel gives whole pockets: a serving may be a little more than this, and the next a little less."))
	return s
}

// group is a kind of day: when it is, and what comes when.
func (m *meals) group(g group, only bool) []Block {
	d := g.days[0]
	when := m.when(g)
	if only {
		when = "Every day"
	}
	if len(d.lines) == 0 {
		return []Block{Text(when + ": nothing.")}
	}
	head := Text(when + m.total(d) + ":")
	if len(d.lines) > mostLines {
		return []Block{head, Text(d.short())}
	}
	rows := Rows{First: 74, Large: true}
	for _, l := range d.lines {
		rows.Cells = append(rows.Cells, [2]string{l.time, l.what})
	}
	return []Block{head, rows}
}

// total is ", 40 g in all", where more than one serving makes it.
func (m *meals) total(d day) string {
	if len(d.lines) < 2 {
		return ""
	}
	return " (" + amount(m.in, d.units) + " in all)"
}

// short is all servings in a line; where all are of one meal and amount it is said once.
func (d day) short() string {
	if len(d.lines) == 0 {
		return "nothing"
	}
	var b strings.Builder
	for i := 0; i < len(d.lines); {
		times := []string{d.lines[i].time}
		n := i + 1
		for ; n < len(d.lines) && d.lines[n].what == d.lines[i].what; n++ {
			times = append(times, d.lines[n].time)
		}
		if i > 0 {
			b.WriteString("; ")
		}
		b.WriteString(strings.Join(times, ", ") + " " + d.lines[i].what)
		if len(times) > 1 {
			b.WriteString(" each")
		}
		i = n
	}
	return b.String()
}

// when is the days of a group: "Mondays and Fridays", or "Sat 12 to Wed 16 Dec, Fri 18 Dec".
func (m *meals) when(g group) string {
	if words := m.weekdays(g); words != "" {
		return words
	}
	var spans []string
	for i := 0; i < len(g.days); {
		n := i + 1
		for n < len(g.days) && g.days[n].date == g.days[n-1].date+1 {
			n++
		}
		first, last := g.days[i].date, g.days[n-1].date
		switch {
		case n == i+1:
			spans = append(spans, date(first, "Mon 2 Jan"))
		case n == i+2:
			spans = append(spans, date(first, "Mon 2 Jan"), date(last, "Mon 2 Jan"))
		default:
			spans = append(spans, date(first, "Mon 2 Jan")+" to "+date(last, "Mon 2 Jan"))
		}
		i = n
	}
	return list(spans)
}

// weekdays names the days of a group where it is all of some days of the week, over more than a week.
func (m *meals) weekdays(g group) string {
	if len(m.days) <= 7 {
		return ""
	}
	in := map[string]bool{}
	for _, d := range g.days {
		in[date(d.date, "Monday")] = true
	}
	all := 0
	var names []string
	for _, d := range m.days {
		if w := date(d.date, "Monday"); in[w] {
			all++
			if !slices.Contains(names, w+"s") {
				names = append(names, w+"s")
			}
		}
	}
	if all != len(g.days) {
		return ""
	}
	return list(names)
}

// clockChanges says on which nights the clocks change.
func (m *meals) clockChanges() string {
	var words []string
	for _, d := range m.days {
		if d.shift != 0 {
			direction := "forward"
			if d.shift < 0 {
				direction = "back"
			}
			words = append(words, fmt.Sprintf("On %s the clocks go %s by %s; the feeder's does so by itself.", date(d.date, "Mon 2 January"), direction,
				review.Duration(table.Minute(max(d.shift, -d.shift)))))
		}
	}
	return strings.Join(words, " ")
}

// hopper says when to fill it, if it is full on the first day.
func (m *meals) hopper() Section {
	s := Section{Name: "hopper", Heading: "The hopper"}
	holds := m.in.Plan.Hopper
	mg := int64(m.in.Table.Wheel.UnitMg)
	if holds == 0 || mg == 0 {
		s.Blocks = []Block{Text("How long it lasts is not known: look every day, and fill it when it is less than a third full.")}
		return s
	}
	full := units.Milligrams(holds).Short()
	var fill []string
	left := holds
	for i, d := range m.days {
		need := d.units * mg
		if need > holds {
			s.Blocks = []Block{Text("It holds " + full + ", and " + date(d.date, "Mon 2 Jan") + " needs " + units.Milligrams(need).Short() + ": fill it more than once a day.")}
			return s
		}
		if need > left {
			fill = append(fill, date(m.days[max(0, i-1)].date, "Mon 2 Jan"))
			left = holds
		}
		left -= need
	}
	how := "Full, it holds " + full + ". "
	if len(fill) == 0 {
		s.Blocks = []Block{Text(how + "Filled on " + date(m.in.From, "Mon 2 January") + " it lasts all these days; " + units.Milligrams(left).Short() + " are left then. Look every day all the same.")}
		return s
	}
	s.Blocks = []Block{Text(how + "Filled before the first meal of " + date(m.in.From, "Mon 2 January") + " and then each time to the top, it wants filling at the latest in the evening of:"), Ticks(fill)}
	if m.in.Hopper {
		s.Blocks = append(s.Blocks, Text("After filling hold the portion button for three seconds: one flash says that the feeder counts from full."))
	}
	return s
}
