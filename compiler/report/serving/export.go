package serving

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"mealtab/compiler/ical"
	"mealtab/compiler/units"
)

// jsonServing is the interface that README.md documents under "Replay as JSON": fields may be added, none may change.
type jsonServing struct {
	Local   string      `json:"local"`
	UTC     string      `json:"utc"`
	Offset  string      `json:"offset"`
	Zone    string      `json:"zone,omitempty"`
	Pockets int         `json:"pockets"`
	Grams   json.Number `json:"grams,omitempty"`
	Meals   []jsonMeal  `json:"meals"`
}

type jsonMeal struct {
	Meal    int         `json:"meal"`
	Name    string      `json:"name,omitempty"`
	Pockets int         `json:"pockets"`
	Grams   json.Number `json:"grams,omitempty"`
}

const (
	localLayout  = "2006-01-02T15:04:05"
	offsetLayout = "-07:00"
)

func gramsNumber(milligrams int64) json.Number {
	if milligrams == 0 {
		return ""
	}
	return json.Number(strings.TrimSuffix(units.Milligrams(milligrams).InGrams(), " g"))
}

// Writer takes servings one by one; Close completes the output.
type Writer interface {
	Write(Serving) error
	Close() error
}

// NewWriter returns a writer for "json", "csv" or "ics".
func (s *Schedule) NewWriter(format string, w io.Writer) (Writer, error) {
	switch format {
	case "json":
		return &jsonWriter{out: w}, nil
	case "csv":
		return newCSV(w), nil
	case "ics":
		return &icsWriter{out: w, schedule: s}, nil
	}
	return nil, fmt.Errorf("no format %q", format)
}

// jsonWriter writes an array with one object a line, so that line tools work too.
type jsonWriter struct {
	out   io.Writer
	begun bool
}

func (j *jsonWriter) Write(s Serving) error {
	local := s.Local()
	v := jsonServing{
		Local: local.Format(localLayout), UTC: s.At.Time().Format(localLayout + "Z"), Offset: local.Format(offsetLayout),
		Zone: s.Offset.Abbrev, Pockets: s.Pockets(), Grams: gramsNumber(s.Milligrams()), Meals: []jsonMeal{},
	}
	for _, m := range s.Meals {
		v.Meals = append(v.Meals, jsonMeal{m.Number, m.Name, m.Pockets, gramsNumber(m.Milligrams)})
	}
	line, err := json.Marshal(v)
	if err != nil {
		return err
	}
	head := ",\n "
	if !j.begun {
		head, j.begun = "[\n ", true
	}
	_, err = fmt.Fprintf(j.out, "%s%s", head, line)
	return err
}

func (j *jsonWriter) Close() error {
	tail := "\n]\n"
	if !j.begun {
		tail = "[]\n"
	}
	_, err := io.WriteString(j.out, tail)
	return err
}

// csvWriter writes RFC 4180 with a header line and one row for each meal.
type csvWriter struct{ out *csv.Writer }

func newCSV(w io.Writer) *csvWriter {
	c := &csvWriter{csv.NewWriter(w)}
	c.out.UseCRLF = true // RFC 4180 §2
	_ = c.out.Write([]string{"local", "utc", "offset", "meal", "name", "pockets", "grams"})
	return c
}

func (c *csvWriter) Write(s Serving) error {
	local := s.Local()
	for _, m := range s.Meals {
		err := c.out.Write([]string{local.Format(localLayout), s.At.Time().Format(localLayout + "Z"), local.Format(offsetLayout),
			strconv.Itoa(m.Number), m.Name, strconv.Itoa(m.Pockets), gramsNumber(m.Milligrams).String()})
		if err != nil {
			return err
		}
	}
	return nil
}

func (c *csvWriter) Close() error {
	c.out.Flush()
	return c.out.Error()
}

// icsWriter collects the events: the calendar is written at the end.
type icsWriter struct {
	out      io.Writer
	schedule *Schedule
	events   []ical.ServingEvent
}

// shownMinutes is the length of an event: long enough to be seen in a calendar's day view.
const shownMinutes = 5

func (i *icsWriter) Write(s Serving) error {
	var words, names []string
	for _, m := range s.Meals {
		names = append(names, m.Label())
		if m.Milligrams > 0 {
			words = append(words, m.Label()+" "+units.Milligrams(m.Milligrams).Short())
		} else {
			words = append(words, m.Label()+" "+units.Count(m.Pockets, "pocket"))
		}
	}
	i.events = append(i.events, ical.ServingEvent{
		At: s.At.Time(), Key: strings.Join(names, "\n") + s.Local().Format("\n"+time.DateOnly), Minutes: shownMinutes, Summary: strings.Join(words, ", "),
		Description: "The wheel turns " + units.Count(s.Pockets(), "pocket") + ".",
	})
	return nil
}

func (i *icsWriter) Close() error {
	title := i.schedule.Title
	if title == "" {
		title = "feeder"
	}
	return ical.WriteServings(i.out, title, i.schedule.Zone, i.schedule.Written, i.events)
}
