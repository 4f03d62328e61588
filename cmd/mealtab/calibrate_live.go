package main

import (
	"errors"
	"fmt"

	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/flasher"
)

// liveWheel turns the wheel of a feeder, by servings as by hand.
type liveWheel struct {
	feeder *flasher.Feeder
	table  *table.Table
}

func newLiveWheel(f *flasher.Feeder) (*liveWheel, error) {
	_, _, t, err := decodedInForce(f)
	if err != nil {
		return nil, err
	}
	return &liveWheel{f, t}, nil
}

// Turn serves so many pockets. The feeder answers before it turns, and does not say how long it took.
func (w *liveWheel) Turn(pockets int) (turned int, took units.Milliseconds, err error) {
	st, err := w.feeder.Status()
	if err != nil {
		return 0, 0, err
	}
	turned, err = w.feeder.Serve(st, uint32(pockets)*w.table.Wheel.PocketUnits)
	if errors.Is(err, flasher.ErrRefused) {
		err = fmt.Errorf("%w\nHere: %s.\nIn a day two weighings of %d pockets each fit into what is given by hand, %d pockets", err, refusal(w.feeder, w.table, uint32(pockets)*w.table.Wheel.PocketUnits, serving.TableClock(w.table)), table.MaxAsked, table.MaxAskedDay)
	}
	return turned, 0, err
}
