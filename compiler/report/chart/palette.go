package chart

import (
	"fmt"
	"sort"
	"strings"
)

// Paint names a colour, which has one value on light and one on dark ground.
type Paint string

// The paints beside those of meals.
const (
	Paper  Paint = "paper" // the ground
	Ink    Paint = "ink"   // text
	Faint  Paint = "faint" // less important text
	Rule   Paint = "rule"  // lines of the grid
	Band   Paint = "band"  // every other row
	Change Paint = "change"
	Odd    Paint = "odd"
	Now    Paint = "now"
	Level  Paint = "level" // the hopper's, and the bars of days
	Past   Paint = "past"
	Black  Paint = "black" // of a sheet that any printer prints, and its ground
	White  Paint = "white"
)

// shades are the values as CSS writes them. Text has at least 4.5:1 against the ground, marks 3:1 (WCAG 2.2, 1.4.3 and
// 1.4.11); a test computes it.
var shades = map[Paint][2]string{
	Paper:  {"#fffdf8", "#1d1b18"},
	Ink:    {"#24211c", "#f0ebe2"},
	Faint:  {"#655f55", "#b5ad9f"},
	Rule:   {"#ddd6c8", "#423d36"},
	Band:   {"#f6f1e6", "#26231f"},
	Change: {"#a3441a", "#f0925a"},
	Odd:    {"#7a3f92", "#cfa3e0"},
	Now:    {"#b02a4c", "#f58aa6"},
	Level:  {"#2c6e6a", "#63b9b2"},
	Past:   {"#8f887b", "#7f776b"},
	Black:  {"#000000", "#ffffff"},
	White:  {"#ffffff", "#000000"},
}

// mealShades are those of the meals, in order of the plan.
var mealShades = [][2]string{
	{"#b3541e", "#f0925a"}, {"#1f6f78", "#5cc4cd"}, {"#7a4a8c", "#c79ad8"}, {"#56731c", "#a9cc5a"},
	{"#a8325a", "#f08aa8"}, {"#2f5aa8", "#8fb4f2"}, {"#7f6100", "#e0bd4a"}, {"#4a5a63", "#aebac2"},
}

// meal is the paint of a meal by its number in the plan.
func meal(n int) Paint { return Paint(fmt.Sprintf("meal%d", n%len(mealShades))) }

func init() {
	for i, s := range mealShades {
		shades[meal(i)] = s
	}
}

// CSS gives each paint its colour as fill (class f-NAME) and stroke (class s-NAME), for light and dark; for pages that put
// the picture into their text. Selectors begin with the prefix.
func CSS(prefix string) string {
	names := make([]string, 0, len(shades))
	for p := range shades {
		names = append(names, "f-"+string(p), "s-"+string(p))
	}
	sort.Strings(names)
	return css(prefix, names, true)
}

func css(prefix string, classes []string, both bool) string {
	var light, dark strings.Builder
	for _, class := range classes {
		property := "fill"
		if class[0] == 's' {
			property = "stroke"
		}
		s := shades[Paint(class[2:])]
		fmt.Fprintf(&light, "%s.%s{%s:%s}", prefix, class, property, s[0])
		fmt.Fprintf(&dark, "%s.%s{%s:%s}", prefix, class, property, s[1])
	}
	if !both {
		return light.String()
	}
	return light.String() + "@media(prefers-color-scheme:dark){" + dark.String() + "}"
}
