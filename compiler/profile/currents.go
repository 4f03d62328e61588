package profile

import (
	"bytes"
	"fmt"
	"regexp"
	"slices"
)

// Currents are what a board on cells draws, and from what, as they are written: quantities are text with units.
// [mealtab/compiler/power.Of] reads them.
type Currents struct {
	Pack struct {
		Cells         int
		Kind, Mean    string
		Capacity      []string
		SelfDischarge float64   `toml:"self_discharge"`
		ShelfYears    []float64 `toml:"shelf_years"`
		Source        string
	} `toml:"pack"`
	Boost struct {
		Out, Source string
		Efficiency  []float64
	} `toml:"boost"`
	Draw []Draw `toml:"draw"`
}

// Draw is one current.
type Draw struct {
	Name, Part, When, Current, Source, Cut, Left string
	Fitted                                       *bool
}

// HasCurrents reports whether the description says anything of currents.
func (p *Profile) HasCurrents() bool { return len(p.Draw) > 0 }

// CurrentsSource is what the description says of currents, as it is written: a file of currents, for a copy with one's own measurements.
func (p *Profile) CurrentsSource() []byte {
	text := fmt.Appendf(nil, "board = %q\n", p.Name)
	for _, table := range currentTables {
		text = append(append(text, '\n'), bytes.TrimRight(p.currents[table], "\n")...)
		text = append(text, '\n')
	}
	return text
}

var currentTables = []string{"pack", "boost", "draw"}

var heading = regexp.MustCompile(`^\[+ *([A-Za-z0-9_-]+)`)

// currentsIn cuts the tables of currents out of a text, each with the comment before it.
func currentsIn(src []byte) map[string][]byte {
	found := map[string][]byte{}
	var comment []byte
	name := ""
	for line := range bytes.Lines(src) {
		if bytes.HasPrefix(line, []byte("#")) {
			comment = append(comment, line...)
			continue
		}
		if m := heading.FindSubmatch(line); m != nil {
			name = string(m[1])
		}
		if slices.Contains(currentTables, name) {
			found[name] = append(append(found[name], comment...), line...)
		}
		comment = nil
	}
	return found
}
