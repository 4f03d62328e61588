// Package sitter makes the sheet that hangs on the fridge while somebody else looks after the animals.
//
// In: a compiled plan ([review.Input]), the first and the last local date, the preset in force. Out: a [Sheet], one content for all its forms: pages
// as pictures ([Sheet.Pages]) of A4 or Letter, black on white, and HTML with a style for print ([Sheet.HTML]). Amounts and times are replayed from the
// table. Nothing is clipped: what does not fit on one page goes onto the next, and [Sheet.Second] says what.
package sitter

import (
	"fmt"
	"strings"
	"time"

	"mealtab/compiler/report/review"
	"mealtab/compiler/table"
)

// Input is what a sheet is about.
type Input struct {
	review.Input
	From, To table.Day // local dates, both shown
	Preset   int       // index of the preset in force
	Sensors  bool      // the board has a light barrier: it sees that food fell
	Cells    bool      // it runs on cells
	Hopper   bool      // the board counts what the hopper holds
}

// mostDays is how long a sheet may be for: a season.
const mostDays = 100

// Sheet is the content.
type Sheet struct {
	Title, Dates string
	Sections     []Section
}

// Section is one part of the sheet.
type Section struct {
	Name    string // for programs: "meals", "day", "hopper", "light", "buttons", "wrong", "call", "always"
	Heading string
	Blocks  []Block
}

// Block is a paragraph ([Text]), rows of a table ([Rows]), boxes to tick ([Ticks]) or lines to write on ([Blanks]).
type Block interface{ block() }

// Text is a paragraph.
type Text string

// Rows is a table without a head; the first column is narrow.
type Rows struct {
	First float64 // width of the first column in CSS pixels
	Large bool    // to be read from across the kitchen
	Cells [][2]string
}

// Ticks is a row of boxes with a word each.
type Ticks []string

// Blanks is lines to write on, each behind its words.
type Blanks []string

func (Text) block()   {}
func (Rows) block()   {}
func (Ticks) block()  {}
func (Blanks) block() {}

// New makes the content. The error says which dates are wrong.
func New(in Input) (*Sheet, error) {
	days := int(in.To) - int(in.From) + 1
	switch {
	case days < 1:
		return nil, fmt.Errorf("the last date lies before the first")
	case days > mostDays:
		return nil, fmt.Errorf("a sheet is for %d days at most, and these are %d: make one for each part of the time", mostDays, days)
	case in.From > in.Table.Through:
		return nil, fmt.Errorf("the table ends on %s, before the first date", date(in.Table.Through, "2 January 2006"))
	}
	s := &Sheet{Title: "For whoever looks in: " + isolate(name(in)), Dates: dates(in.From, in.To)}
	m := newMeals(in)
	s.Sections = []Section{m.section(), everyDay(in), m.hopper(), light(in), buttons(in), wrong(m), call(), always()}
	return s, nil
}

func name(in Input) string {
	if in.Plan.Name != "" {
		return in.Plan.Name
	}
	return in.Plan.Source.Name
}

func date(d table.Day, layout string) string {
	return time.Date(2000, 1, 1+int(d), 0, 0, 0, 0, time.UTC).Format(layout)
}

// dates is "Sat 12 to Sun 27 December 2026".
func dates(from, to table.Day) string {
	const whole = "Mon 2 January 2006"
	if from == to {
		return date(from, whole)
	}
	first := "Mon 2 January 2006"
	switch {
	case date(from, "2006-01") == date(to, "2006-01"):
		first = "Mon 2"
	case date(from, "2006") == date(to, "2006"):
		first = "Mon 2 January"
	}
	return date(from, first) + " to " + date(to, whole)
}

// everyDay is what a feeder cannot do.
func everyDay(in Input) Section {
	days := int(in.To) - int(in.From) + 1
	ticks := make(Ticks, days)
	for i := range ticks {
		ticks[i] = date(in.From+table.Day(i), "Mon 2")
		if days > 35 {
			ticks[i] = date(in.From+table.Day(i), "2 Jan")
		}
	}
	return Section{"day", "Every day, please", []Block{
		Text("See every animal: is it as always, and has it eaten? Fresh water. Look into the bowl, and take out what is old. Is the light dark? Tick:"), ticks}}
}

func call() Section {
	return Section{"call", "Whom to call", []Block{Blanks{"At home", "Vet", "Vet at night", "Somebody near"},
		Text("Where the food is, medicine, and whatever else:"), Blanks{"", ""}}}
}

func always() Section {
	return Section{"always", "Always", []Block{
		Text("The feeder is never the only care: it cannot see who eats, or whether anybody does. What it gave need not have been eaten."),
		Text("A cat that has eaten nothing for 24 hours, any animal that is unwell: call the vet. The meals of a diabetic or sick animal are the vet's to change, nobody else's."),
		Text("Keep fingers, hair and paws off the wheel. Unplug the feeder before you reach in.")}}
}

// wrong is what to do when the feeder does not.
func wrong(m *meals) Section {
	b := []Block{Text("The bowl is empty at a mealtime, the light flashes and what stands above does not help, or there is no power: give the meal by hand, as much as the plan above says, " +
		"by a scale or a cup that you have marked. Then call.")}
	if late := m.in.Plan.Late; late > 0 {
		b = append(b, Text("When power comes back the feeder goes on by itself. A meal that is late by no more than "+review.Duration(table.Minute(late))+
			" it still gives: look into the bowl before you add one. A meal that is later it leaves out."))
	} else {
		b = append(b, Text("When power comes back the feeder goes on by itself. Meals of the time without power it leaves out."))
	}
	return Section{"wrong", "When something is wrong", b}
}

// list joins words with commas, the last with "and".
func list(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}
