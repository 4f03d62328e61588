package replay

import "mealtab/compiler/table"

// wheel turns masses into whole pockets and carries the remainder, in tenths of a mass unit so that an
// adjustment by tenths stays exact.
type wheel struct {
	pocket, carry int64
	adjust        int64
}

func newWheel(t *table.Table, o Options) wheel {
	adjust := int64(o.Adjust)
	if adjust == 0 {
		adjust = 10
	}
	return wheel{pocket: 10 * int64(t.Wheel.PocketUnits), carry: o.Carry, adjust: adjust}
}

// turn returns the pockets for a portion: to the nearest, so that the carry stays within half a pocket.
func (w *wheel) turn(units uint32) int {
	sum := w.carry + int64(units)*w.adjust
	n := (sum + w.pocket/2) / w.pocket
	w.carry = sum - n*w.pocket
	return int(n)
}
