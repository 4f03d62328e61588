package zone

import (
	"strconv"
	"strings"
)

const maxSuggestions = 3

// didYouMean returns "; did you mean …?" with the names nearest to what was typed, or "".
func didYouMean(typed string, names []string) string {
	nearest := 1 + len(typed)/4 // further off is another name, not a slip
	var near []string
	for _, name := range names {
		switch d := nameDistance(typed, name); {
		case d < nearest:
			near, nearest = append(near[:0], name), d
		case d == nearest:
			near = append(near, name)
		}
	}
	if len(near) == 0 {
		return ""
	}
	for i := range near {
		near[i] = strconv.Quote(near[i])
	}
	return "did you mean " + strings.Join(near[:min(len(near), maxSuggestions)], " or ") + "?"
}

// nameDistance compares as people type: without regard to case, space for underscore, and the city alone
// counts as much as the whole name.
func nameDistance(typed, name string) int {
	typed, name = fold(typed), fold(name)
	d := editDistance(typed, name)
	if !strings.Contains(typed, "/") {
		d = min(d, editDistance(typed, name[strings.LastIndex(name, "/")+1:]))
	}
	return d
}

func fold(s string) string { return strings.ToLower(strings.ReplaceAll(s, " ", "_")) }

// editDistance is the Levenshtein distance in bytes.
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j+1]+1, row[j]+1)
		}
	}
	return row[len(b)]
}
