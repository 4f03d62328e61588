package page

import (
	"fmt"
	"html/template"
	"net/url"
	"strconv"
	"strings"
	"time"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/food/ration"
	"mealtab/compiler/profile"
	"mealtab/compiler/replay"
	"mealtab/compiler/report/chart"
	"mealtab/compiler/report/review"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// frame is what every view shows.
type frame struct {
	View  string // see, change, …
	Title string
	File  string // "" where nothing can be saved
	State State
}

func (s *session) frame(view string) frame {
	return frame{View: view, Title: s.title(), File: s.o.Name, State: s.state()}
}

// seeView is the view of the plan as it is.
type seeView struct {
	frame
	Ready    bool // there is a proved table to show
	Stale    bool // what is shown is older than the text
	Faults   []Issue
	Zone     string
	Proof    string
	Brief    string
	Verdict  string
	Week     template.HTML
	Earlier  string // query of the week before
	Later    string
	ThisWeek bool
	WeekName string
	Year     template.HTML
	Hopper   template.HTML
	Cells    template.HTML // empty: it has none
	Next     []nextLine
	Facts    []fact
	Odd      []oddLine
	More     int // odd days not listed
	Presets  []presetLink
	Cautions []string
}

type nextLine struct{ Day, Time, What, Amount, Pockets string }

type fact struct{ Name, Value, Note string }

type oddLine struct{ Date, Text string }

type presetLink struct {
	Name, Query string
	Current     bool
}

const (
	shownNext = 8
	shownOdd  = 20
)

func (s *session) see(q url.Values) seeView {
	v := seeView{frame: s.frame("see"), Cautions: cautions}
	c := s.good
	if c == nil {
		for _, d := range s.c.Diagnostics {
			v.Faults = append(v.Faults, Issue{d.Severity.String(), d.Message, d.Hint, d.Pos.Line})
		}
		return v
	}
	v.Ready, v.Stale = true, !s.c.ok()
	in := s.input(c)
	preset := presetOf(c, q.Get("preset"))
	now := c.Zone.At(s.o.Now().Unix())
	v.Zone = fmt.Sprintf("%s, now %s", c.Plan.Zone, serving.OffsetWords(now.Abbrev, now.Seconds))
	v.Proof, v.Brief, v.Verdict = s.verdict()
	v.Presets = presetLinks(c, preset)
	v.weeks(s, c, q, preset)
	v.Year = both("year", in, chart.Options{Preset: preset})
	v.Hopper = both("hopper", in, chart.Options{Preset: preset})
	if c.Board.Supply == profile.Cells {
		v.Cells = both("battery", in, chart.Options{Preset: preset})
	}
	v.Next = s.next(c, preset)
	v.Facts = facts(c, in, preset)
	list := review.Surprises(in)
	for i, o := range list {
		if i == shownOdd {
			v.More = len(list) - shownOdd
			break
		}
		v.Odd = append(v.Odd, oddLine{o.Date(), o.Text})
	}
	return v
}

// cautions are the usual ones, short.
var cautions = []string{
	"A serving given is not a serving eaten: someone looks at the bowl and the animal every day.",
	"This is a home-built device. Keep a second way to feed, and try a new plan while you are at home.",
	"The feeder gives no water: fresh water must always be there.",
	"An animal that takes insulin or is ill is fed as its veterinarian says.",
}

func (s *session) input(c *Compiled) review.Input {
	return review.Input{Plan: c.Plan, Zone: c.Zone, Table: c.Output.Table, MealOf: c.Output.MealOf, Now: moment.Minute(s.o.Now())}
}

// presetOf finds a preset by the number in a query; the board begins with the first.
func presetOf(c *Compiled, number string) int {
	if len(c.Plan.Presets) == 0 {
		return replay.AllPresets
	}
	n, err := strconv.Atoi(number)
	if err != nil || n < 0 || n >= len(c.Plan.Presets) {
		return 0
	}
	return n
}

func presetLinks(c *Compiled, current int) (list []presetLink) {
	for i, name := range c.Plan.Presets {
		list = append(list, presetLink{name, "?preset=" + strconv.Itoa(i), i == current})
	}
	return list
}

// weeks draws the week asked for and finds its neighbours.
func (v *seeView) weeks(s *session, c *Compiled, q url.Values, preset int) {
	first, name := s.firstDay(c, preset)
	from := first
	if d, err := moment.Date(q.Get("from")); err == nil && int(d) != first {
		from, name = int(d), "Seven days from "+dateText(int(d), "2 January 2006")
	}
	link := func(day int) string {
		query := "?from=" + dateText(min(max(day, 0), int(table.MaxDay)), time.DateOnly)
		if preset > 0 {
			query += "&preset=" + strconv.Itoa(preset)
		}
		return query
	}
	v.Earlier, v.Later, v.ThisWeek, v.WeekName = link(from-7), link(from+7), from == first, name
	v.Week = both("week", s.input(c), chart.Options{Preset: preset, From: table.Day(from)})
}

// firstDay is the date from which a week is shown when none is asked for: today, or that of the first serving where the plan
// begins later.
func (s *session) firstDay(c *Compiled, preset int) (day int, name string) {
	today := dayOf(c, s.o.Now())
	sched := c.Schedule()
	next, ok := sched.Walk(serving.Range{From: moment.Minute(s.o.Now()), To: serving.End(sched.Table)}, preset).Next()
	if !ok {
		return today, "The next seven days"
	}
	if day = dayOf(c, next.At.Time()); day > today+1 {
		return day, "The first seven days"
	}
	return today, "The next seven days"
}

// weekNow is the week of the newest plan that was right, for the view of changes.
func (s *session) weekNow() template.HTML {
	if s.good == nil {
		return ""
	}
	preset := presetOf(s.good, "")
	day, _ := s.firstDay(s.good, preset)
	return both("week", s.input(s.good), chart.Options{Preset: preset, From: table.Day(day)})
}

// both draws a picture for wide and for narrow places; the style sheet shows the one that fits. A picture that the plan lacks
// something for becomes the sentence that says so.
func both(kind string, in chart.Input, o chart.Options) template.HTML {
	var b strings.Builder
	for _, size := range []struct {
		class string
		width int
	}{{"wide", 760}, {"narrow", 360}} {
		o.Width = size.width
		p, err := chart.Draw(kind, in, o)
		if err != nil {
			return template.HTML("<p class=\"note\">" + template.HTMLEscapeString(sentence(err.Error())) + "</p>")
		}
		fmt.Fprintf(&b, `<div class="%s">%s</div>`, size.class, p.Inline(kind+"-"+size.class))
	}
	return template.HTML(b.String())
}

// sentence makes a message one.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

func dayOf(c *Compiled, t time.Time) int {
	local := t.Unix() + int64(c.Zone.At(t.Unix()).Seconds)
	return int((local - table.Epoch) / 86400)
}

func dateText(day int, layout string) string {
	return time.Date(2000, 1, 1+day, 0, 0, 0, 0, time.UTC).Format(layout)
}

// Schedule is a compiled plan as a schedule with names.
func (c *Compiled) Schedule() *serving.Schedule {
	s := &serving.Schedule{Table: c.Output.Table, Clock: c.Zone, Title: c.Plan.Name, Zone: c.Plan.Zone}
	for _, m := range c.Output.MealOf {
		s.Names = append(s.Names, c.Plan.Meals[m].Name)
	}
	return s
}

// next lists the next servings.
func (s *session) next(c *Compiled, preset int) (lines []nextLine) {
	sched := c.Schedule()
	today := dayOf(c, s.o.Now())
	for _, due := range sched.Walk(serving.Range{From: moment.Minute(s.o.Now()), To: serving.End(sched.Table)}, preset).Take(shownNext) {
		local := due.Local()
		line := nextLine{Day: local.Format("Mon 2 Jan 2006"), Time: local.Format("15:04"), Pockets: units.Count(due.Pockets(), "pocket")}
		switch dayOf(c, due.At.Time()) - today {
		case 0:
			line.Day = "today"
		case 1:
			line.Day = "tomorrow"
		}
		names := make([]string, len(due.Meals))
		for i, m := range due.Meals {
			names[i] = m.Name
		}
		line.What = strings.Join(names, " and ")
		if mg := due.Milligrams(); mg > 0 {
			line.Amount = units.Milligrams(mg).Short()
		}
		lines = append(lines, line)
	}
	return lines
}

// facts says what the plan amounts to.
func facts(c *Compiled, in review.Input, preset int) (list []fact) {
	sum := review.Summarize(in, preset)
	if sum.Days == 0 {
		return []fact{{"Food", "none from now on", ""}}
	}
	if m := sum.Day.Milligrams; m.Most > 0 {
		f := fact{"Food a day", tenths(m.Mean()/1000) + " g", ""}
		if m.Least != m.Most {
			f.Note = units.Milligrams(m.Least).Short() + " to " + units.Milligrams(m.Most).Short()
		}
		list = append(list, f)
	}
	p := sum.Day.Pockets
	list = append(list, fact{"Turns of the wheel", tenths(p.Mean()) + " pockets a day", ""})
	list = append(list, eaters(c, sum)...)
	if gap := sum.Hungry; gap.To > gap.From {
		list = append(list, fact{"Longest without food", review.Duration(gap.To - gap.From), ""})
	}
	if h := sum.Hopper; h.Known && !h.Lasts {
		list = append(list, fact{"A full hopper", fmt.Sprintf("%d days", h.Days), units.Milligrams(c.Plan.Hopper).Short() + " if filled now"})
	}
	return list
}

// eaters compares with the rations of the pets that the plan names.
func eaters(c *Compiled, sum review.Summary) (list []fact) {
	home, ds := ration.FromPlan(c.Plan)
	if home == nil || !home.Complete() || ds.HasErrors() {
		return nil
	}
	v, _ := home.Compare(units.Milligrams(sum.Day.Milligrams.Mean()))
	names := make([]string, len(home.Members))
	for i, m := range home.Members {
		names[i] = m.Pet.Name
	}
	return []fact{{"Ration of " + strings.Join(names, " and "), units.Milligrams(v.Least).Short() + " to " + units.Milligrams(v.Most).Short() + " a day", v.String()}}
}

func tenths(v float64) string { return strings.TrimSuffix(strconv.FormatFloat(v, 'f', 1, 64), ".0") }
