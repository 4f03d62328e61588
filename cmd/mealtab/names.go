package main

import (
	"bytes"
	"fmt"

	"mealtab/cmd/mealtab/internal/known"
	"mealtab/compiler/decompile"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
)

// keepNames lets later commands call this table's meals by their names. Where they cannot be kept, meals have numbers.
func (c *compiled) keepNames() {
	names := c.schedule().Names
	_ = known.Keep(c.Bytes, known.Names{Plan: c.plan.Name, Zone: c.plan.Zone, Meals: names, Presets: c.plan.Presets})
}

// schedule is a table as a schedule, with the names that this computer knows of it, or those of a plan that makes it; planName "": no plan was given.
func (s *session) schedule(tab []byte, planName string) (*serving.Schedule, error) {
	held, err := serving.OfTable(tab)
	if err != nil {
		return nil, err
	}
	names, ok := known.Of(tab)
	if planName != "" {
		if names, ok, err = s.a.namesOf(planName, tab); err != nil {
			return nil, err
		}
	}
	if ok {
		held.Names, held.Title, held.Zone = names.Meals, names.Plan, names.Zone
		s.a.useZone(held)
	}
	return held, nil
}

// useZone shows a table's times in the zone of its plan, which has names for summer and winter time, if that still keeps the table's clock.
func (a *app) useZone(held *serving.Schedule) {
	db, err := a.database()
	if err != nil {
		return
	}
	z, err := db.Load(held.Zone)
	if err != nil {
		return
	}
	if _, _, _, differs := decompile.Differs(z, held.Table, a.now); !differs {
		held.Clock = z
	}
}

// namesOf are a plan's names, if it makes this table.
func (a *app) namesOf(planName string, tab []byte) (n known.Names, ok bool, err error) {
	l, err := a.readPlan(planName)
	if err != nil {
		return n, false, err
	}
	t, err := table.Decode(tab)
	if err != nil {
		return n, false, err
	}
	day := (table.Minute(t.Start) * table.MinutesPerDay).Time().Format("2006-01-02")
	for _, o := range []compileOptions{{}, {from: day}} {
		c, err := a.compile(l, o)
		if err != nil {
			return n, false, err
		}
		same, err := table.WithPresetUntil(c.Bytes, t.PresetUntil) // which mealtab preset may have changed since
		if err == nil && bytes.Equal(table.WithSequence(same, 0), table.WithSequence(tab, 0)) {
			c.Bytes = same
			c.keepNames()
			n, ok = known.Of(tab)
			return n, ok, nil
		}
	}
	return n, false, fmt.Errorf("--plan %s: that plan makes another table than the one on the feeder, so that its names may be those of other meals; mealtab upload %s shows what differs before it asks", planName, planName)
}
