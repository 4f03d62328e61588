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
		return Times{Cycle: r.cycleTimes()}
	}
	n := form + 1
	if form == formList {
		n = r.count(MaxListTimes)
	}
	return Times{List: r.timeList(n)}
}

// count reads how many times follow, at least one.
func (r *reader) count(most int) int {
	n := r.number()
	if n < 1 || n > uint32(most) {
		r.fail("times", "%d times: there are 1 to %d", n, most)
		return 0
	}
	return int(n)
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

func (r *reader) steps() []uint16 {
	n := int(r.number())
	step := int(r.time())
	first := int(r.time())
	if n < 1 || n > MinutesPerDay || step < 1 || first+(n-1)*step >= MinutesPerDay {
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
	hours := r.hours()
	within := r.timeList(r.count(MaxListTimes))
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

// hours reads the hours that are left out, and gives the others.
func (r *reader) hours() uint32 {
	out := r.number()
	if out > AllHours {
		r.fail("hours", "mask %06X has more than 24 bits", out)
	}
	return AllHours &^ out
}

func (r *reader) cycleTimes() *Cycle {
	period, after := r.cycle(MaxCycle, epochDays*MinutesPerDay)
	return &Cycle{Period: period, Phase: (after + period - 1) % period, Hours: r.hours()}
}
