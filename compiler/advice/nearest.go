package advice

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// maxSuggested is the longest word, in bytes, that can be a misspelling of one of ours.
const maxSuggested = 40

// shownLength is how much of a value, in characters, a message repeats.
const shownLength = 80

// Shorten cuts long strings among the values of a message.
func Shorten(args []any) []any {
	out := slices.Clone(args)
	for i, a := range out {
		if s, ok := a.(string); ok && utf8.RuneCountInString(s) > shownLength {
			out[i] = string([]rune(s)[:shownLength-1]) + "…"
		}
	}
	return out
}

// Nearest returns the candidate most like word, or "" when none is close: at most a third of the letters differ
// (by insertion, deletion, replacement or exchange of neighbours).
func Nearest(word string, candidates []string) string {
	if len(word) > maxSuggested {
		return ""
	}
	best, bestDist := "", len(word)/3+1
	lower := strings.ToLower(word)
	for _, c := range candidates {
		if d := editDistance(lower, strings.ToLower(c)); d < bestDist || d == 0 {
			best, bestDist = c, d
		}
	}
	return best
}

// editDistance is the restricted Damerau–Levenshtein distance in bytes.
func editDistance(a, b string) int {
	before := make([]int, len(b)+1)
	prev := make([]int, len(b)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(a); i++ {
		cur := make([]int, len(b)+1)
		cur[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				cur[j] = min(cur[j], before[j-2]+1)
			}
		}
		before, prev = prev, cur
	}
	return prev[len(b)]
}

// DidYouMean is the hint for an unknown word: the synonym's own word, the nearest candidate, or the whole list.
func DidYouMean(word string, candidates []string, synonyms map[string]string) string {
	if s, ok := synonyms[strings.ToLower(word)]; ok {
		return fmt.Sprintf("did you mean %s?", s)
	}
	if s := Nearest(word, candidates); s != "" {
		return fmt.Sprintf("did you mean %s?", s)
	}
	return "known here: " + strings.Join(candidates, ", ")
}
