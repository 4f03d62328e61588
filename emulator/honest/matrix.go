package honest

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Cell is one fault on one board: all its phases.
type Cell struct{ Image, Fault string }

// Cells lists the cells of the matrix, row by row.
func Cells() (list []Cell) {
	for _, fault := range rows() {
		for _, image := range Images {
			if canHave(image, fault) {
				list = append(list, Cell{image, fault})
			}
		}
	}
	return list
}

// rows are the names of all faults; two may share one, for boards on the mains and on cells.
func rows() (names []string) {
	for _, f := range AllFaults() {
		if !slices.Contains(names, f.Name) {
			names = append(names, f.Name)
		}
	}
	return names
}

func canHave(image, fault string) bool {
	return slices.ContainsFunc(faultsFor(image), func(f Fault) bool { return f.Name == fault })
}

// Cases are the runs of a cell: an evening at every phase, on the board's good supply.
func (c Cell) Cases() (list []Case) {
	for _, f := range faultsFor(c.Image) {
		if f.Name != c.Fault {
			continue
		}
		for phase := range phasesOf(f) {
			list = append(list, Case{Image: c.Image, Supply: suppliesFor(c.Image)[0].Name, Faults: []string{f.Name}, Phase: phase, Short: true})
		}
	}
	return list
}

// Text says what a cell's runs showed: how many of the evening's thirteen pockets fell, what was shown, how long after the
// serving at the latest; or that the board cannot know, by the letter of the exception; or, in bold, the rules that were
// broken.
func (c Cell) Text(outcomes []*Outcome) string {
	least, most := 1<<30, 0
	var names, broken, unknown []string
	after := time.Duration(-1)
	for _, o := range outcomes {
		fell := 0
		for _, w := range o.Windows {
			fell += w.fell
			for code, on := range w.codes {
				if on {
					names = add(names, faultName(code))
				}
			}
			if w.spoilt {
				after = max(after, w.shownAfter)
			}
		}
		least, most = min(least, fell), max(most, fell)
		for _, v := range o.Broken {
			broken = add(broken, v.Rule)
		}
		for _, u := range o.Unknown {
			unknown = add(unknown, letter(u))
		}
	}
	text := fmt.Sprint(most)
	if least != most {
		text = fmt.Sprintf("%d–%d", least, most)
	}
	if len(names) > 0 {
		text += " " + strings.Join(names, ", ")
	}
	if after >= 0 {
		text += fmt.Sprintf(" ≤ %s", rounded(after))
	}
	if len(unknown) > 0 {
		text += " (" + strings.Join(unknown, ", ") + ")"
	}
	if len(broken) > 0 {
		text += " **" + strings.Join(broken, ", ") + "**"
	}
	return text
}

// add puts a name into a list in order, once.
func add(list []string, name string) []string {
	i, found := slices.BinarySearch(list, name)
	if found {
		return list
	}
	return slices.Insert(list, i, name)
}

// rounded is a time as a reader needs it: 20 s, 1 min, 15 min.
func rounded(d time.Duration) string {
	if d <= 50*time.Second {
		return fmt.Sprintf("%d s", (d+10*time.Second-1)/(10*time.Second)*10)
	}
	return fmt.Sprintf("%d min", (d+time.Minute-1)/time.Minute)
}

func letter(exception string) string {
	i := slices.IndexFunc(Exceptions(), func(e Exception) bool { return e.Name == exception })
	return string(rune('a' + i))
}

// Matrix is the table in Markdown of cells' texts.
func Matrix(texts map[Cell]string) string {
	var b strings.Builder
	b.WriteString("| fault | " + strings.Join(Images, " | ") + " |\n|" + strings.Repeat(" --- |", 1+len(Images)) + "\n")
	for _, fault := range rows() {
		b.WriteString("| " + fault + " |")
		for _, image := range Images {
			text := "–"
			if canHave(image, fault) {
				text = texts[Cell{image, fault}]
			}
			b.WriteString(" " + text + " |")
		}
		b.WriteString("\n")
	}
	return b.String()
}

// Legend lists the exceptions by their letters.
func Legend() string {
	var b strings.Builder
	for _, e := range Exceptions() {
		fmt.Fprintf(&b, "- (%s) *%s*: %s.\n", letter(e.Name), e.Name, e.Why)
	}
	return b.String()
}
