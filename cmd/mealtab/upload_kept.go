package main

import (
	"fmt"

	"mealtab/cmd/mealtab/internal/known"
	"mealtab/cmd/mealtab/internal/preview"
	"mealtab/compiler/table"
	"mealtab/flasher"
)

// propose looks at a feeder for which a cargo is meant. What is proposed keeps the date by which the feeder ends its preset; kept says so, "":
// there is none to keep.
func (a *app) propose(f *flasher.Feeder, c *cargo) (p *flasher.Proposal, kept string, err error) {
	if p, err = f.Propose(c.bytes); err != nil {
		return nil, "", err
	}
	tab, day, ok := preview.KeptDate(p)
	if !ok {
		return p, "", nil
	}
	if p, err = f.Propose(tab); err != nil {
		return nil, "", err
	}
	return p, fmt.Sprintf("preset %d, which is in force, still ends by itself on %s: the plan says no date, the feeder does", p.Status.Preset+1, day), nil
}

// keeping is the cargo with the table that keeps the feeder's date.
func (a *app) keeping(c *cargo, tab []byte) *cargo {
	schedule := *c.schedule
	if t, err := table.Decode(tab); err == nil {
		schedule.Table = t
	}
	if names, ok := known.Of(c.bytes); ok {
		_ = known.Keep(tab, names)
	}
	return &cargo{tab, &schedule, c.db, c.compiled}
}
