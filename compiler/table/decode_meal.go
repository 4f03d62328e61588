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
			m.Portion = r.read(&portionOperand).n
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
		p.Rule = int(r.read(&ruleOperand).n)
	}
	p.Times = r.times(head >> headFormShift & headFormMask)
	r.noteOf("meal", number, "TIMES", "%s", p.Times)
	return p
}

func (r *reader) times(form int) Times {
	operands := formOf(form).Operands
	v := make([]uint32, len(operands))
	for i := range operands {
		v[i] = r.read(&operands[i]).n
	}
	switch {
	case r.err != nil:
		return Times{}
	case form == formSteps:
		return Times{List: r.steps(int(v[0]), int(v[1]), int(v[2]))}
	case form == formGrid:
		return Times{List: r.grid(AllHours&^v[0], int(v[1]))}
	case form == formCycle:
		return Times{Cycle: r.cycleTimes(v)}
	case form == formList:
		return Times{List: r.timeList(int(v[0]))}
	}
	return Times{List: r.timeList(form + 1)}
}

// timeList reads times, each as the distance from the one before.
func (r *reader) timeList(n int) []uint16 {
	list := make([]uint16, 0, n)
	last := uint16(0)
	for ; n > 0 && r.err == nil; n-- {
		distance := r.time()
		if distance == 0 && len(list) > 0 {
			r.fail("times", "minute %d twice", last)
		}
		if last += distance; last >= MinutesPerDay {
			r.fail("times", "minute %d is beyond the day", last)
		}
		list = append(list, last)
	}
	return list
}

func (r *reader) time() uint16 {
	v := r.number()
	if v < quarters {
		return uint16(v * quarterMinutes)
	}
	m := v - quarters
	if m >= MinutesPerDay {
		r.fail("time", "minute %d is beyond the day", m)
		return 0
	}
	return uint16(m)
}

func (r *reader) steps(n, step, first int) []uint16 {
	if first+(n-1)*step >= MinutesPerDay {
		r.fail("STEPS", "%d times from minute %d by %d leave the day", n, first, step)
		return nil
	}
	list := make([]uint16, n)
	for i := range list {
		list[i] = uint16(first + i*step)
	}
	return list
}

func (r *reader) grid(hours uint32, n int) []uint16 {
	within := r.timeList(n)
	list := make([]uint16, 0, bits.OnesCount32(hours)*len(within))
	for h := range uint16(24) {
		for _, m := range within {
			if m >= 60 {
				r.fail("GRID", "minute %d is beyond the hour", m)
				return nil
			}
			if hours>>h&1 != 0 {
				list = append(list, h*60+m)
			}
		}
	}
	return list
}

func (r *reader) cycleTimes(v []uint32) *Cycle {
	period, after := r.cycle(v[0], v[1], epochDays*MinutesPerDay)
	return &Cycle{Period: period, Phase: (after + period - 1) % period, Hours: AllHours &^ v[2]}
}
