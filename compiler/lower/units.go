package lower

import (
	"mealtab/compiler/plan"
	"mealtab/compiler/table"
)

// units chooses the largest mass unit in which the pocket and every portion are whole.
func (l *lowering) units() {
	w := l.p.Wheel
	if w == nil || w.PocketMilligrams == 0 {
		l.t.Wheel.PocketUnits = 1
	} else {
		unit := w.PocketMilligrams
		for _, m := range l.p.Meals {
			unit = gcd(unit, milligrams(m.Portion, w.PocketMilligrams))
		}
		if b := l.p.Button; b != nil {
			unit = gcd(unit, milligrams(b.Portion, w.PocketMilligrams))
		}
		l.t.Wheel.UnitMg = uint32(unit)
		l.t.Wheel.PocketUnits = uint32(w.PocketMilligrams / unit)
	}
	if w != nil {
		l.t.Wheel.TurnMillis = uint32(w.TurnMillis)
		l.t.Wheel.TrimMicros = int32(w.TrimMicros)
	}
	l.t.Button = table.DefaultButton(l.t.Wheel)
	if b := l.p.Button; b != nil {
		l.t.Button = table.Button{Portion: l.portion(b.Portion), PerHour: b.PerHour, PerDay: b.PerDay}
	}
}

// portion is an amount in the table's unit.
func (l *lowering) portion(p plan.Portion) uint32 {
	if l.t.Wheel.UnitMg == 0 {
		return uint32(p.Pockets)
	}
	return uint32(milligrams(p, l.p.Wheel.PocketMilligrams) / int64(l.t.Wheel.UnitMg))
}

func milligrams(p plan.Portion, pocket int64) int64 {
	if p.Pockets > 0 {
		return int64(p.Pockets) * pocket
	}
	return p.Milligrams
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
