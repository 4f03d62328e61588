package table

import (
	"math/bits"
)

func (r *reader) meals(t *Table) {
	for r.err == nil && r.pos < len(r.b) {
		if len(t.Meals) == MaxMeals {
			r.fail("meals", "more than %d", MaxMeals)
			return
		}
		t.Meals = append(t.Meals, r.meal(len(t.Meals)+1, &t.Wheel))
	}
}

func (r *reader) meal(number int, w *Wheel) Meal {
	var m Meal
	for r.err == nil {
		head := r.u8()
		r.noteOf("meal", number, "HEAD", "%s", headText(head))
		if head&headPresets != 0 {
			r.mealPresets(&m, number)
		}
		if len(m.Parts) == 0 {
			m.Portion = r.number()
			r.noteOf("meal", number, "PORTION", "%s", w.portionText(m.Portion))
		}
		m.Parts = append(m.Parts, r.part(head, number))
		if head&headMore == 0 {
			break
		}
	}
	return m
}

func (r *reader) mealPresets(m *Meal, number int) {
	if len(m.Parts) > 0 {
		r.fail("HEAD", "presets stand in the first part of a meal only")
	}
	if m.Presets = uint8(r.u8()); m.Presets == 0 {
		r.fail("PRESETS", "a meal in no preset")
	}
	r.noteOf("meal", number, "PRESETS", "mask %02X", m.Presets)
}

func (r *reader) part(head, number int) Part {
	p := Part{Rule: head & headRuleMask}
	if p.Rule == headRuleEscape {
		p.Rule = int(r.number())
		if p.Rule < headRuleEscape {
			r.fail("rule number", "%d does not need the escape", p.Rule)
		}
	}
	p.Times = r.times(head >> headFormShift & headFormMask)
	r.noteOf("meal", number, "TIMES", "%s", p.Times)
	return p
}

func (r *reader) times(form int) Times {
	switch form {
	case formSteps:
		return Times{List: r.steps()}
	case formGrid:
		return Times{List: r.grid()}
	case formCycle:
		return Times{Cycle: r.cycle()}
	}
	n := form + 1
	if form == formList {
		n = r.u8()
	}
	list := make([]uint16, 0, n)
	for ; n > 0 && r.err == nil; n-- {
		list = append(list, r.time())
	}
	return Times{List: list}
}

func (r *reader) time() uint16 {
	b := r.u8()
	switch {
	case b < quarters:
		return uint16(b * quarterMinutes)
	case b < longTime:
		r.fail("time", "%02X is no quarter hour of the day", b)
		return 0
	}
	m := (b&^longTime)<<8 | r.u8()
	if m%quarterMinutes == 0 {
		r.fail("time", "minute %d takes one byte, not two", m)
	}
	return uint16(m)
}

func (r *reader) steps() []uint16 {
	first := int(r.time())
	step := int(r.number())
	n := int(r.number())
	if n < 1 || n > MinutesPerDay || step < 1 || step >= MinutesPerDay || first+(n-1)*step >= MinutesPerDay {
		r.fail("STEPS", "%d times from minute %d by %d leave the day", n, first, step)
		return nil
	}
	list := make([]uint16, n)
	for i := range list {
		list[i] = uint16(first + i*step)
	}
	return list
}

func (r *reader) grid() []uint16 {
	hours := r.u24()
	var minutes uint64
	for n := r.u8(); n > 0 && r.err == nil; n-- {
		m := r.u8()
		if m > 59 || minutes>>m != 0 {
			r.fail("GRID", "minute %d: minutes ascend and lie within 0 to 59", m)
			return nil
		}
		minutes |= 1 << m
	}
	list := make([]uint16, 0, bits.OnesCount32(hours)*bits.OnesCount64(minutes))
	for h := range 24 {
		for m := range 60 {
			if hours>>h&1 != 0 && minutes>>m&1 != 0 {
				list = append(list, uint16(h*60+m))
			}
		}
	}
	return list
}

func (r *reader) cycle() *Cycle {
	c := &Cycle{Period: r.number(), Phase: r.number(), Hours: AllHours}
	switch b := r.u8(); b {
	case 0:
	case 1:
		c.Hours = r.u24()
	default:
		r.fail("CYCLE", "restricted is %d, not 0 or 1", b)
	}
	return c
}
