package main

import (
	"fmt"
	"path/filepath"
	"strings"

	"mealtab/cmd/mealtab/internal/known"
	"mealtab/compiler/plan"
	"mealtab/compiler/units"
)

// remind prints warnings: whole the first time, and then only how many they are, so that one that is new is seen. check always prints all.
func (a *app) remind(ds plan.Diagnostics) error {
	var fresh plan.Diagnostics
	name, old := "", 0
	for i, before := range known.Read(readings(ds)) {
		if !before {
			fresh = append(fresh, ds[i])
			continue
		}
		old++
		if ds[i].Source != nil {
			name = ds[i].Source.Name
		}
	}
	if err := a.report(fresh); err != nil || old == 0 {
		return err
	}
	pronoun := "them"
	if old == 1 {
		pronoun = "it"
	}
	_, err := fmt.Fprintf(a.err, "%s: %s as before; mealtab check shows %s\n", name, units.Count(old, "warning"), pronoun)
	return err
}

// reportAll prints warnings whole, and notes that they have been read.
func (a *app) reportAll(ds plan.Diagnostics) error {
	known.Read(readings(ds))
	return a.report(ds)
}

// readings are what is remembered of warnings: wherever they stand in their file, they are the same.
func readings(ds plan.Diagnostics) []string {
	texts := make([]string, len(ds))
	for i, d := range ds {
		name := ""
		if d.Source != nil {
			name, _ = filepath.Abs(d.Source.Name)
		}
		texts[i] = strings.Join([]string{name, d.Message, d.Hint}, "\n")
	}
	return texts
}
