package power

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"mealtab/compiler/prose"
	"mealtab/compiler/units"
)

// Report is all that an owner is shown of it.
type Report struct {
	Title    string // of the plan
	Profile  *Profile
	Counts   Counts
	Life     Range
	Gains    []Gain
	Together Life
	MinMV    int // millivolts; below it the wheel is not turned
}

// NewReport computes what a year's counts come to.
func NewReport(title string, p *Profile, c Counts, minMV int) *Report {
	r := &Report{Title: title, Profile: p, Counts: c, Life: p.Range(c), MinMV: minMV}
	r.Gains, r.Together = p.Gains(c)
	return r
}

// Text is the report for reading; explained, with the arithmetic and the source of each current.
func (r *Report) Text(explained bool) string {
	var b strings.Builder
	r.lifetime(&b)
	r.activity(&b)
	r.budget(&b)
	r.improve(&b)
	if explained {
		r.arithmetic(&b)
	}
	b.WriteString(prose.Heed(cellCautions))
	return b.String()
}

// cellCautions are the usual ones for cells.
var cellCautions = []string{
	"Data sheets and this estimate are not your feeder: measure the current in the lead of the cells, asleep, and look at the cells after a month.",
	"All cells of a set are of one kind and one age; take out spent ones, they leak. Alkaline cells are never charged.",
	"Cells, the coin cell of the clock above all, sit behind a screwed lid: a swallowed or chewed cell is an emergency, go to a veterinarian at once.",
	"Below the supply limit the wheel no longer turns: keep a second way to feed, and somebody who looks every day.",
}

// String is a life in the unit in which one thinks of it: "173 days", "2.3 years".
func (l Life) String() string {
	if l.Years < 1.5 {
		return fmt.Sprintf("%.0f days", l.Days())
	}
	return fmt.Sprintf("%.1f years", l.Years)
}

// ended says too what ends it, where that is not the charge.
func (l Life) ended() string {
	if l.Limited {
		return l.String() + ", then the cells are too old"
	}
	return l.String()
}

func (r *Report) lifetime(b *strings.Builder) {
	k := r.Profile.Pack
	fmt.Fprintf(b, "%s on %d %s cells, board %s\n", r.Title, k.Cells, k.Kind, r.Profile.Board)
	if e := r.Profile.Boost.Efficiency; r.same() {
		fmt.Fprintf(b, "  lasts  %s of %s, converter %.0f to %.0f %%\n", pad(r.Life[1].ended(), 12), k.Capacity[1], 100*e[0], 100*e[2])
		return
	}
	for i, what := range []string{"poor", "usual", "good"} {
		fmt.Fprintf(b, "  %-6s %s of %s, converter %.0f %%\n", what, pad(r.Life[i].ended(), 12), k.Capacity[i], 100*r.Profile.Boost.Efficiency[i])
	}
}

// same reports whether poor, usual and good cells are shown with the same life: their capacity is known, and the converter
// feeds too little to matter.
func (r *Report) same() bool {
	q := r.Profile.Pack.Capacity
	return q[0] == q[2] && r.Life[0].ended() == r.Life[1].ended() && r.Life[1].ended() == r.Life[2].ended()
}

func pad(s string, width int) string { return fmt.Sprintf("%-*s", width, s) }

func (r *Report) activity(b *strings.Builder) {
	c := r.Counts
	how := "counted by running the firmware"
	if !c.Counted {
		how = "computed from the replay and from what the firmware is meant to do, not counted"
	}
	fmt.Fprintf(b, "\nA year, %s\n", how)
	fmt.Fprintf(b, "  servings   %s, wheel turning %s, servo supplied %s\n", units.Thousands(int(c.Servings+0.5)), c.Wheel, c.Servo)
	fmt.Fprintf(b, "  wakes      %s, CPU executing %s, idle %s\n", units.Thousands(int(c.Wakes+0.5)), c.Awake(), c.Idle)
	fmt.Fprintf(b, "  writes     %s bytes of EEPROM, %s pages of the clock module's memory; line not in use\n",
		units.Thousands(int(c.EEPROMWrites+0.5)), units.Thousands(int(c.PageWrites+0.5)))
}

func (r *Report) budget(b *strings.Builder) {
	usual := r.Life[1]
	capacity := r.Profile.Pack.Capacity[1]
	self := units.MilliampHours(r.Profile.Pack.SelfDischarge) * capacity
	sum := usual.Budget.Sum + self
	fmt.Fprintf(b, "\nCharge a year, usual cells\n")
	line := func(name string, q units.MilliampHours) {
		part := float64(q / sum)
		percent := fmt.Sprintf("%.0f %%", 100*part)
		if part < 0.005 {
			percent = "<1 %"
		}
		fmt.Fprintf(b, "  %-36s %10s %5s  %s\n", name, q, percent, share(part))
	}
	for _, i := range usual.Budget.Items {
		if i.Charge > 0 {
			line(i.Name, i.Charge)
		}
	}
	line("self-discharge of the cells", self)
	fmt.Fprintf(b, "  %-36s %10s\n", "together", sum)
	if limit := r.Profile.SleepFor(r.Counts, 1); limit > 0 {
		fmt.Fprintf(b, "  for one year the board may draw at most %s around the clock\n", limit)
	}
}

func (r *Report) improve(b *strings.Builder) {
	var shown []Gain
	width := 0
	for _, g := range r.Gains {
		if g.Days >= 0.5 {
			shown = append(shown, g)
			width = max(width, len(moreDays(g.Days)))
		}
	}
	for i, g := range shown {
		if i == 0 {
			fmt.Fprint(b, "\nWhat would help, each alone\n")
		}
		fmt.Fprintf(b, "  %*s   %s\n", max(width, 11), moreDays(g.Days), g.Draw.Cut)
	}
	if len(shown) > 1 {
		fmt.Fprintf(b, "  all together: %s\n", r.Together.ended())
	}
}

// moreDays is a gain in the unit in which one thinks of it: days up to two years, then years and months.
func moreDays(days float64) string {
	if days < 2*365 {
		return "+" + units.Count(int(days+0.5), "day")
	}
	months := int(days/365*12 + 0.5)
	s := "+" + units.Count(months/12, "year")
	if months %= 12; months > 0 {
		s += " " + units.Count(months, "month")
	}
	return s
}

// arithmetic shows every factor.
func (r *Report) arithmetic(b *strings.Builder) {
	p, usual := r.Profile, r.Life[1]
	efficiency := p.Boost.Efficiency[1]
	fmt.Fprint(b, "\nThe arithmetic, usual case\n")
	for _, i := range usual.Budget.Items {
		if i.Charge == 0 {
			continue
		}
		through := ""
		if i.When == Turning || i.When == Standing {
			through = fmt.Sprintf(" × %s ÷ (%s × %.2f)", p.Boost.Out, p.Pack.Mean, efficiency)
		}
		fmt.Fprintf(b, "  %s\n    %s × %s%s = %s\n", i.Name, i.Current, i.Time, through, i.Charge)
		b.WriteString(prose.Wrap("    source: ", i.Source))
	}
	q := p.Pack.Capacity[1]
	self := units.MilliampHours(p.Pack.SelfDischarge) * q
	fmt.Fprintf(b, "  self-discharge\n    %.0f %% of %s = %s\n", 100*p.Pack.SelfDischarge, q, self)
	fmt.Fprintf(b, "  life\n    %s ÷ (%s + %s) = %.2f years; shelf life %.0f years\n", q, usual.Budget.Sum, self,
		float64(q)/float64(usual.Budget.Sum+self), p.Pack.Shelf[1])
	b.WriteString(prose.Wrap("    cells: ", p.Pack.Source))
	b.WriteString(prose.Wrap("    converter: ", p.Boost.Source))
	b.WriteString(prose.Wrap("    ", fmt.Sprintf("the capacity is that to 0.9 V a cell, but below %s the wheel is not turned: expect somewhat less. In the cold a cell gives less too (0 degrees: some 70 to 80 %%, from memory).", units.Millivolts(r.MinMV))))
}

// JSON writes the report for programs: fields may be added, none may change.
func (r *Report) JSON(w io.Writer) error {
	type item struct {
		Name    string  `json:"name"`
		MA      float64 `json:"current_mA"`
		Seconds float64 `json:"seconds_a_year"`
		MAh     float64 `json:"mAh_a_year"`
		Source  string  `json:"source"`
	}
	type gain struct {
		Change string  `json:"change"`
		Days   float64 `json:"more_days"`
	}
	out := struct {
		Plan    string     `json:"plan"`
		Board   string     `json:"board"`
		Counted bool       `json:"counted"`
		Days    [3]float64 `json:"days"` // poor, usual, good
		Limited [3]bool    `json:"limited_by_shelf_life"`
		Items   []item     `json:"items"`
		Gains   []gain     `json:"gains"`
	}{Plan: r.Title, Board: r.Profile.Board, Counted: r.Counts.Counted}
	for i, l := range r.Life {
		out.Days[i], out.Limited[i] = l.Days(), l.Limited
	}
	for _, i := range r.Life[1].Budget.Items {
		out.Items = append(out.Items, item{i.Name, float64(i.Current), float64(i.Time), float64(i.Charge), i.Source})
	}
	for _, g := range r.Gains {
		out.Gains = append(out.Gains, gain{g.Draw.Cut, g.Days})
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(out)
}

// share is a part of the whole as a bar.
func share(part float64) string {
	const width = 24
	n := int(part*width + 0.5)
	if n == 0 && part > 0 {
		return "."
	}
	return strings.Repeat("#", n)
}
