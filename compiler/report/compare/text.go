package compare

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// Text says the result in words; local times are those of the first side.
func (r *Result) Text() string {
	var b strings.Builder
	a, z := r.Sides[0].Name, r.Sides[1].Name
	if r.Equal() {
		fmt.Fprintf(&b, "%s and %s feed the same: every serving from %s through %s\n", a, z, r.local(r.From), lastDay(r.To))
		return b.String()
	}
	if r.sameServings() {
		fmt.Fprintf(&b, "%s and %s serve the same, every serving from %s through %s\n", a, z, r.local(r.From), lastDay(r.To))
	}
	for i := range r.Presets {
		r.presetText(&b, &r.Presets[i])
	}
	if r.Ends >= 0 {
		t := r.Sides[r.Ends].Schedule.Table
		fmt.Fprintf(&b, "%s ends with %s; what the other serves after that is not compared\n", r.Sides[r.Ends].Name, t.Through)
	}
	for _, s := range r.Settings {
		fmt.Fprintf(&b, "%s\n", s)
	}
	return b.String()
}

func (r *Result) sameServings() bool {
	for _, p := range r.Presets {
		if p.First != nil {
			return false
		}
	}
	return true
}

func (r *Result) presetText(b *strings.Builder, p *Preset) {
	heading := ""
	if p.Number >= 0 {
		heading = fmt.Sprintf("preset %d: ", p.Number+1)
	}
	if p.First == nil {
		if heading != "" && !r.sameServings() {
			fmt.Fprintf(b, "%sthe same\n", heading)
		}
		return
	}
	fmt.Fprintf(b, "%sthe first difference is at %s\n", heading, r.local(p.First.At))
	for side := range r.Sides {
		fmt.Fprintf(b, "  %s  %s\n", serving.Pad(r.Sides[side].Name, r.width()), r.what(*p.First, side))
	}
	r.spanText(b, "in the week from then", &p.Week)
	wide := 0
	for _, d := range p.Week.List {
		wide = max(wide, utf8.RuneCountInString(r.what(d, 0)))
	}
	for _, d := range p.Week.List[min(1, len(p.Week.List)):] {
		fmt.Fprintf(b, "    %s  %s  %s\n", r.local(d.At), serving.Pad(r.what(d, 0), wide), r.what(d, 1))
	}
	if left := p.Week.differ() - len(p.Week.List); left > 0 {
		fmt.Fprintf(b, "    and %s more\n", units.Thousands(left))
	}
	r.spanText(b, "in the year from then", &p.Year)
	switch {
	case p.Count == 1:
		fmt.Fprintf(b, "  through %s nothing else differs\n", lastDay(r.To))
	default:
		fmt.Fprintf(b, "  through %s %s differ, the last at %s\n", lastDay(r.To), units.Count(p.Count, "serving"), r.local(p.Last))
	}
}

func (r *Result) width() int {
	return max(utf8.RuneCountInString(r.Sides[0].Name), utf8.RuneCountInString(r.Sides[1].Name))
}

func (s *Span) differ() int { return s.Only[0] + s.Only[1] + s.Other }

func (r *Result) spanText(b *strings.Builder, when string, s *Span) {
	fmt.Fprintf(b, "  %s:", when)
	for side := range r.Sides {
		if side > 0 {
			b.WriteString(" and")
		}
		fmt.Fprintf(b, " %s, %s", units.Count(s.Servings[side], "serving"), r.amount(s.Amounts[side]))
	}
	var parts []string
	for side, n := range s.Only {
		if n > 0 {
			parts = append(parts, fmt.Sprintf("%s only by %s", units.Thousands(n), r.Sides[side].Name))
		}
	}
	if s.Other > 0 {
		parts = append(parts, units.Thousands(s.Other)+" of another amount")
	}
	fmt.Fprintf(b, " (%s)\n", strings.Join(parts, ", "))
}

// what a side serves at a difference.
func (r *Result) what(d Difference, side int) string {
	if len(d.Meals[side]) == 0 {
		return "nothing"
	}
	return strings.Join(d.Meals[side], " and ") + ", " + r.amount(d.Amounts[side])
}

func (r *Result) amount(n int64) string {
	if r.ByWeight {
		return units.Milligrams(n).Short()
	}
	return units.Count(int(n), "pocket")
}

func (r *Result) local(m table.Minute) string {
	return serving.Local(r.Sides[0].Schedule.Clock, m.Time()).Format(serving.TimeLayout)
}

func lastDay(to table.Minute) table.Day { return table.Day(to/table.MinutesPerDay) - 1 }

// report is the JSON of a result.
type report struct {
	Equal    bool           `json:"equal"`
	Sides    [2]string      `json:"sides"`
	From     string         `json:"from"`
	Through  string         `json:"through"`
	Unit     string         `json:"unit"` // "mg" or "pockets"
	Presets  []presetReport `json:"presets"`
	Ends     [2]string      `json:"ends"` // the last date of each table
	Settings []string       `json:"settings"`
}

type presetReport struct {
	Preset  int         `json:"preset"` // from 1; 0: the tables have none
	Differ  int         `json:"differ"` // instants
	First   *diffReport `json:"first"`
	Last    string      `json:"last,omitempty"`
	Week    *spanReport `json:"week"`
	Year    *spanReport `json:"year"`
	Nothing bool        `json:"same"`
}

type diffReport struct {
	UTC     string      `json:"utc"`
	Local   string      `json:"local"`
	Amounts [2]int64    `json:"amounts"`
	Meals   [2][]string `json:"meals"`
}

type spanReport struct {
	Servings [2]int   `json:"servings"`
	Amounts  [2]int64 `json:"amounts"`
	Only     [2]int   `json:"only"`
	Other    int      `json:"other"`
}

// named is a list that is empty in JSON where it is nil here.
func named(list []string) []string { return append([]string{}, list...) }

// JSON writes one object (RFC 8259).
func (r *Result) JSON(w io.Writer) error {
	out := report{Equal: r.Equal(), Sides: [2]string{r.Sides[0].Name, r.Sides[1].Name}, From: r.From.String(), Through: lastDay(r.To).String(), Unit: "pockets", Ends: [2]string{r.Sides[0].Schedule.Table.Through.String(), r.Sides[1].Schedule.Table.Through.String()}, Settings: append([]string{}, r.Settings...)}
	if r.ByWeight {
		out.Unit = "mg"
	}
	for _, p := range r.Presets {
		e := presetReport{Preset: p.Number + 1, Differ: p.Count, Nothing: p.First == nil}
		if p.First != nil {
			d := p.First
			e.First = &diffReport{d.At.String(), serving.Local(r.Sides[0].Schedule.Clock, d.At.Time()).Format("2006-01-02T15:04:05-07:00"), d.Amounts, [2][]string{named(d.Meals[0]), named(d.Meals[1])}}
			e.Last = p.Last.String()
			e.Week = &spanReport{p.Week.Servings, p.Week.Amounts, p.Week.Only, p.Week.Other}
			e.Year = &spanReport{p.Year.Servings, p.Year.Amounts, p.Year.Only, p.Year.Other}
		}
		out.Presets = append(out.Presets, e)
	}
	encoder := json.NewEncoder(w)
	encoder.SetIndent("", "  ")
	return encoder.Encode(out)
}
