package fed

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"mealtab/compiler/prose"
	"mealtab/compiler/units"
)

// Formats are those of [Write].
func Formats() []string { return []string{"text", "json", "csv"} }

// Write writes the report as text, JSON (one object) or CSV (a line for each serving).
func (r *Report) Write(out io.Writer, format string) error {
	switch format {
	case "json":
		enc := json.NewEncoder(out)
		enc.SetIndent("", "  ")
		return enc.Encode(r.JSON())
	case "csv":
		return r.csv(out)
	}
	_, err := io.WriteString(out, r.text())
	return err
}

// The JSON is for programs: fields may be added, none may change. Pockets that are not known are null; milligrams that are not known are left out.
type (
	// Document is the whole report.
	Document struct {
		Title       string        `json:"title"`
		Feeder      string        `json:"feeder"` // its name
		Sensing     string        `json:"sensing"`
		Basis       string        `json:"basis"`
		RationLeast int64         `json:"ration_least_mg,omitempty"`
		RationMost  int64         `json:"ration_most_mg,omitempty"`
		Days        []DocumentDay `json:"days"`
		Weeks       []DocumentWk  `json:"weeks"`
	}
	// DocumentDay is a local date.
	DocumentDay struct {
		Date           string            `json:"date"`
		Whole          bool              `json:"whole"` // every planned serving of the day has a record
		PlannedPockets int               `json:"planned_pockets"`
		TurnedPockets  int               `json:"turned_pockets"`
		HandPockets    int               `json:"hand_pockets"`
		PlannedMg      int64             `json:"planned_mg,omitempty"`
		TurnedMg       int64             `json:"turned_mg,omitempty"`
		HandMg         int64             `json:"hand_mg,omitempty"`
		Servings       []DocumentServing `json:"servings"`
		Unknown        []DocumentSpan    `json:"unknown"`
		Notes          []string          `json:"notes"`
	}
	// DocumentServing is one dispensing.
	DocumentServing struct {
		Due       string   `json:"due"` // RFC 3339, local
		Meals     []string `json:"meals"`
		State     State    `json:"state"`
		Servings  int      `json:"servings"`
		Planned   *int     `json:"planned_pockets"`
		Turned    *int     `json:"turned_pockets"`
		PlannedMg int64    `json:"planned_mg,omitempty"`
		TurnedMg  int64    `json:"turned_mg,omitempty"`
		LateBy    int      `json:"late_by_at_least_min"`
		Portions  int      `json:"portions_percent,omitempty"`
		Why       string   `json:"why"`
		Notes     []string `json:"notes"`
		Text      string   `json:"text"` // the same in words
	}
	// DocumentSpan is a time of which nothing is known.
	DocumentSpan struct {
		From string `json:"from"`
		To   string `json:"to"`
		Why  string `json:"why"`
	}
	// DocumentWk is a week, or what of it is in the report.
	DocumentWk struct {
		From     string `json:"from"`
		To       string `json:"to"` // the last date
		Sentence string `json:"sentence"`
	}
)

const isoDate = "2006-01-02"

var sensings = map[Sensing]string{Blind: "none", Counted: "pockets counted", Seen: "food seen"}

// JSON is the report for programs and the page.
func (r *Report) JSON() Document {
	doc := Document{Title: r.Title, Feeder: r.Feeder.Name, Sensing: sensings[r.Sensing], Basis: r.Sensing.Basis(), RationLeast: r.Least, RationMost: r.Most,
		Days: []DocumentDay{}, Weeks: []DocumentWk{}}
	for i := range r.Days {
		doc.Days = append(doc.Days, r.day(&r.Days[i]))
	}
	for _, w := range r.Weeks {
		doc.Weeks = append(doc.Weeks, DocumentWk{date(w.From, isoDate), date(w.To-1, isoDate), w.Sentence})
	}
	return doc
}

func (r *Report) day(d *Day) DocumentDay {
	out := DocumentDay{Date: date(d.Date, isoDate), Whole: d.Whole(), PlannedPockets: d.PlannedPockets, TurnedPockets: d.TurnedPockets, HandPockets: d.HandPockets,
		PlannedMg: d.PlannedMg, TurnedMg: d.TurnedMg, HandMg: d.HandMg, Servings: []DocumentServing{}, Unknown: []DocumentSpan{}, Notes: append([]string{}, d.Notes...)}
	for _, s := range d.Servings {
		out.Servings = append(out.Servings, DocumentServing{r.local(s.Due).Format(time.RFC3339), append([]string{}, s.Meals...), s.State, s.Count,
			pockets(s.Planned), pockets(s.Turned), s.PlannedMg, s.TurnedMg, s.LateBy, 10 * s.Adjust, s.Why, append([]string{}, s.Notes...), s.Text()})
	}
	for _, u := range d.Unknown {
		out.Unknown = append(out.Unknown, DocumentSpan{r.local(u.From).Format(time.RFC3339), r.local(u.To).Format(time.RFC3339), u.Why})
	}
	return out
}

func pockets(n int) *int {
	if n < 0 {
		return nil
	}
	return &n
}

func (r *Report) csv(out io.Writer) error {
	w := csv.NewWriter(out)
	_ = w.Write([]string{"date", "due", "meals", "state", "servings", "planned_pockets", "turned_pockets", "planned_mg", "turned_mg", "late_by_at_least_min", "why", "notes"})
	number := func(n int) string {
		if n < 0 {
			return ""
		}
		return strconv.Itoa(n)
	}
	for i := range r.Days {
		for _, s := range r.Days[i].Servings {
			_ = w.Write([]string{date(r.Days[i].Date, isoDate), r.local(s.Due).Format(time.RFC3339), strings.Join(s.Meals, "; "), string(s.State), strconv.Itoa(s.Count), number(s.Planned),
				number(s.Turned), strconv.FormatInt(s.PlannedMg, 10), strconv.FormatInt(s.TurnedMg, 10), strconv.Itoa(s.LateBy), s.Why, strings.Join(s.Notes, "; ")})
		}
		for _, u := range r.Days[i].Unknown {
			_ = w.Write([]string{date(r.Days[i].Date, isoDate), r.local(u.From).Format(time.RFC3339), "", string(Unknown), "0", "", "", "", "", "", u.Why, "until " + r.local(u.To).Format(time.RFC3339)})
		}
	}
	w.Flush()
	return w.Error()
}

// Text says what became of a serving: "3 of 3 pockets turned, at least 40 min late, after a power cut".
func (s *Serving) Text() string {
	var text string
	because := ""
	if s.Why != "" {
		because = ", " + s.Why
	}
	of := ""
	if s.Planned >= 0 && s.Planned != s.Turned {
		of = fmt.Sprintf(" of %d", s.Planned)
	}
	turned := units.Count(max(0, s.Turned), "pocket") + of + " turned"
	switch s.State {
	case ByHand:
		text = "by hand, " + turned
	case Given:
		text = turned
	case Late:
		text = turned + ", at least " + span(s.LateBy) + " late" + because
	case Part:
		text = "only " + turned + because
	case Missed:
		text = "left out" + because
		if s.Count > 1 {
			text = units.Count(s.Count, "serving") + " from here on left out" + because
		}
	case Waiting:
		text = "not yet" + because
		if s.Turned > 0 {
			text = turned + because
		}
	case Unknown:
		text = "not known" + because
	}
	if s.Planned == 0 && s.Turned == 0 {
		text = "no pocket is due this time" + because
	}
	if s.Adjust != 0 && s.Adjust != 10 && s.Turned >= 0 {
		text += fmt.Sprintf(", with portions at %d %%", 10*s.Adjust)
	}
	return strings.Join(append([]string{text}, s.Notes...), "; ")
}

func (r *Report) text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n", r.heading())
	b.WriteString(prose.Wrap("  ", r.Sensing.Basis()))
	if len(r.Days) == 0 {
		b.WriteString("\nThere is no record of a serving.\n")
		return b.String()
	}
	for i := range r.Days {
		r.dayText(&b, &r.Days[i])
	}
	b.WriteString("\n")
	for _, w := range r.Weeks {
		b.WriteString(prose.Wrap("  ", date(w.From, "Mon 2 Jan")+" to "+date(w.To-1, "Mon 2 Jan 2006")+". "+w.Sentence))
	}
	return b.String()
}

func (r *Report) heading() string {
	title := "What was planned, and what the feeder recorded"
	if r.Title != "" {
		title = r.Title + ": what was planned, and what the feeder recorded"
	}
	if n := len(r.Days); n > 0 {
		title += ", " + date(r.Days[0].Date, "2 Jan 2006") + " to " + date(r.Days[n-1].Date, "2 Jan 2006")
	}
	return title
}

// Amount is what turned of what was planned, "38 of 40 g": "" where nothing is known.
func (d *Day) Amount() string {
	switch {
	case d.PlannedPockets == 0 && d.HandPockets == 0:
		return ""
	case d.Weighed:
		return units.Milligrams(d.TurnedMg).Short() + " turned of " + units.Milligrams(d.PlannedMg).Short()
	}
	return fmt.Sprintf("%d of %s turned", d.TurnedPockets, units.Count(d.PlannedPockets, "pocket"))
}

func (r *Report) dayText(b *strings.Builder, d *Day) {
	head := date(d.Date, "Mon 2006-01-02")
	if amount := d.Amount(); amount != "" {
		head += "  " + amount
	}
	if d.HandPockets > 0 {
		head += " and " + units.Count(d.HandPockets, "pocket") + " by hand"
	}
	if verdict := r.Ration(d); verdict != "" {
		head += "; " + verdict
	}
	fmt.Fprintf(b, "\n%s\n", head)
	for _, s := range d.Servings {
		name := ""
		if len(s.Meals) > 0 {
			name = strings.Join(s.Meals, " and ") + ": "
		}
		b.WriteString(prose.Wrap("  ", r.local(s.Due).Format("15:04 ")+name+s.Text()))
	}
	for _, u := range d.Unknown {
		b.WriteString(prose.Wrap("  ", r.spanText(u)))
	}
	for _, n := range d.Notes {
		b.WriteString(prose.Wrap("  ", n))
	}
}

func (r *Report) spanText(u Span) string {
	to := r.local(u.To).Format("15:04")
	if to == "00:00" {
		to = "24:00"
	}
	return r.local(u.From).Format("15:04") + " to " + to + " not known: " + u.Why
}

// Ration compares a day that is known whole with the ration's range; "" where one of them is not known.
func (r *Report) Ration(d *Day) string {
	if r.Most == 0 || !d.Weighed || !d.Whole() {
		return ""
	}
	given := d.TurnedMg + d.HandMg
	bounds := fmt.Sprintf("the ration's %s to %s", units.Milligrams(r.Least).Short(), units.Milligrams(r.Most).Short())
	switch {
	case given < r.Least:
		return "less than " + bounds
	case given > r.Most:
		return "more than " + bounds
	}
	return "within " + bounds
}
