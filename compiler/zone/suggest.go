package zone

import (
	"fmt"
	"slices"
	"strings"
)

const maxSuggestions = 3

// didYouMean returns "; did you mean …?" with the names nearest to what was typed, or "".
func didYouMean(typed string, names []string) string {
	type candidate struct {
		name     string
		distance int
	}
	var near []candidate
	for _, name := range names {
		if d := nameDistance(typed, name); d <= 1+len(typed)/4 {
			near = append(near, candidate{name, d})
		}
	}
	slices.SortStableFunc(near, func(a, b candidate) int { return a.distance - b.distance })
	var quoted []string
	for _, c := range near[:min(len(near), maxSuggestions)] {
		if c.distance == 0 && len(quoted) == 0 {
			return fmt.Sprintf("; did you mean %q?", c.name)
		}
		quoted = append(quoted, fmt.Sprintf("%q", c.name))
	}
	if len(quoted) == 0 {
		return ""
	}
	return "; did you mean " + strings.Join(quoted, " or ") + "?"
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
