package scenario

import (
	"fmt"
	"math"
	"time"

	"mealtab/emulator/board"
)

// wheelActions are what can happen to wheel, hopper and sensors.
var wheelActions = map[string]action{
	"jam":        {"pockets, for", jamBounds, func(r *run, e *Event) error { return jam(r, e, true) }},
	"solid jam":  {"pockets, for", jamBounds, func(r *run, e *Event) error { return jam(r, e, false) }},
	"unjam":      plain((*board.Board).Unjam),
	"wheel load": {"percent", []bound{{"percent", "%", 0, 100}}, func(r *run, e *Event) error { r.b.SetWheelLoad(e.Percent / 100); return nil }},
	"wheel speed": {"percent", []bound{{"percent", "% of what was calibrated", 10, 300}}, func(r *run, e *Event) error {
		r.b.SetPace(e.Percent / 100)
		return nil
	}},
	"stop pulse":   {"micros", []bound{{"micros", "µs", 1300, 1700}}, func(r *run, e *Event) error { r.b.SetStopPulse(e.Micros); return nil }},
	"detents gone": plain(func(b *board.Board) { b.SetDetent(false) }),
	"detents back": plain(func(b *board.Board) { b.SetDetent(true) }),
	"hopper":       {"grams", []bound{{"grams", "g", 0, 1e5}}, func(r *run, e *Event) error { r.b.Refill(e.Grams * 1000); return nil }},
	"bridge":       {"pockets", []bound{{"pockets", "whole pockets", 0, 10000}}, bridge},

	"index never closes": plain(func(b *board.Board) { b.SetIndex(board.NeverCloses) }),
	"index never opens":  plain(func(b *board.Board) { b.SetIndex(board.NeverOpens) }),
	"index good":         plain(func(b *board.Board) { b.SetIndex(board.ContactGood); b.SetIndexBounce(0) }),
	"index bounces":      {"for", nil, indexBounces},
	"barrier blind":      plain(func(b *board.Board) { b.SetBeam(board.BeamBlind) }),
	"barrier dark":       plain(func(b *board.Board) { b.SetBeam(board.BeamDark) }),
	"barrier good":       plain(func(b *board.Board) { b.SetBeam(board.BeamGood) }),
}

var jamBounds = []bound{{"pockets", "pockets from where the wheel stands", 0, 10000}}

func jam(r *run, e *Event, kibble bool) error {
	var d time.Duration
	if err := times(e.For, &d); err != nil {
		return err
	}
	r.b.JamFor(e.Pockets, kibble, d)
	return nil
}

func bridge(r *run, e *Event) error {
	if e.Pockets != math.Trunc(e.Pockets) {
		return fmt.Errorf("pockets is %v; a bridge lets whole pockets pass empty", e.Pockets)
	}
	r.b.Bridge(int64(e.Pockets))
	return nil
}

const mostBounce = 50 * time.Millisecond

func indexBounces(r *run, e *Event) error {
	d := 5 * time.Millisecond
	if err := times(e.For, &d); err != nil {
		return err
	}
	if d > mostBounce {
		return fmt.Errorf("for is %v; a contact bounces for 0 to %v", d, mostBounce)
	}
	r.b.SetIndexBounce(float64(d) / float64(time.Millisecond))
	return nil
}
