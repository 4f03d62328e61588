package board

import "math"

// pocketFalls empties a pocket into the bowl: what it holds has a normal spread, is nothing under a bridge, and at most what
// is in the hopper.
func (b *Board) pocketFalls() {
	w := &b.wheel
	w.fallen++
	mg := max(0, b.cfg.Wheel.PocketMg*(1+b.cfg.Wheel.Spread*b.random.spread()))
	mg = min(math.Floor(mg), w.hopper)
	if w.bridge > 0 {
		w.bridge--
		mg = 0
	}
	w.hopper -= mg
	if mg > 0 {
		w.filled++
		b.breakBeam(mg)
	}
	b.event(PocketFell, int64(mg))
}

// Bridge lets so many pockets pass empty: the kibble has made a bridge above the wheel, until it falls in.
func (b *Board) Bridge(pockets int64) { b.wheel.bridge = pockets }

// Refill sets what is in the hopper, in mg.
func (b *Board) Refill(mg float64) { b.wheel.hopper = mg }

// HopperMg is what is in the hopper.
func (b *Board) HopperMg() float64 { return b.wheel.hopper }

// Pockets is how many have passed the outlet since the beginning, full or empty.
func (b *Board) Pockets() int64 { return b.wheel.fallen }

// Filled is how many of them had kibble in them.
func (b *Board) Filled() int64 { return b.wheel.filled }
