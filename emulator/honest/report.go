package honest

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
)

// Report writes what was broken: for each rule and cause how many runs on which images, and one that shows it.
func Report(w io.Writer, outcomes []*Outcome) {
	type key struct{ rule, faults string }
	type group struct {
		runs    int
		images  map[string]int
		example string
	}
	groups := map[key]*group{}
	for _, o := range outcomes {
		for _, v := range o.Broken {
			k := key{v.Rule, strings.Join(o.Case.Faults, "+")}
			g := groups[k]
			if g == nil {
				g = &group{images: map[string]int{}, example: o.Case.String() + "   " + v.String()}
				groups[k] = g
			}
			g.runs++
			g.images[o.Case.Image]++
		}
	}
	order := slices.SortedFunc(maps.Keys(groups), func(a, b key) int {
		return cmp.Or(cmp.Compare(a.rule, b.rule), cmp.Compare(groups[b].runs, groups[a].runs), cmp.Compare(a.faults, b.faults))
	})
	for _, k := range order {
		g := groups[k]
		var images []string
		for _, name := range slices.Sorted(maps.Keys(g.images)) {
			images = append(images, fmt.Sprintf("%s %d", name, g.images[name]))
		}
		fmt.Fprintf(w, "%-9s %-40s %4d runs (%s)\n          %s\n", k.rule, k.faults, g.runs, strings.Join(images, ", "), g.example)
	}
}
