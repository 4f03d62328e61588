package check

import (
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"mealtab/compiler/table"
	"mealtab/compiler/table/tablegen"
	"mealtab/emulator/avr"
)

// searcher runs searches of the real machine code on the emulated chip and counts cycles.
type searcher struct {
	t     testing.TB
	image *avr.Image
}

func newSearcher(t testing.TB) *searcher {
	elf := filepath.Join(built, "cycles.elf")
	if out, err := exec.Command("make", "-s", "-C", "..", "WORK="+built, elf).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	b, err := os.ReadFile(elf)
	if err != nil {
		t.Fatal(err)
	}
	img, err := avr.ReadImage(b)
	if err != nil {
		t.Fatal(err)
	}
	return &searcher{t, img}
}

// worst is the most cycles of count searches of 26 hours, the first after an instant, the others a step of minutes later each.
func (s *searcher) worst(encoded []byte, after table.Minute, step, count int) (cycles uint64, at table.Minute) {
	eeprom := make([]byte, 1024)
	copy(eeprom[1:], encoded)
	binary.LittleEndian.PutUint32(eeprom[1014:], uint32(after))
	binary.LittleEndian.PutUint32(eeprom[1018:], uint32(step))
	binary.LittleEndian.PutUint16(eeprom[1022:], uint16(count))
	m := avr.New(avr.Config{Part: avr.ATmega328P, Fuses: avr.CrystalFuses})
	done, began := 0, uint64(0)
	m.SetHooks(avr.Hooks{Pins: func(avr.Port) {
		busy := m.Peek(avr.PORTB)&1 != 0
		switch {
		case m.Peek(avr.PORTB)&2 != 0:
			s.t.Fatalf("the firmware does not open %x", encoded)
		case busy && began == 0:
			began = m.Cycle()
		case !busy && began != 0:
			if n := m.Cycle() - began; n > cycles {
				cycles, at = n, after+table.Minute(done*step)
			}
			done, began = done+1, 0
		}
	}})
	img := *s.image
	img.EEPROM = eeprom
	if err := m.Load(&img); err != nil {
		s.t.Fatal(err)
	}
	m.RunFor(1 << 33)
	if done != count {
		s.t.Fatalf("%d of %d searches ended within 2^33 cycles: %x", done, count, encoded)
	}
	return cycles, at
}

const cellsHz = 8_000_000 // the slower of the boards' clocks

// The golden tables of households: every eleventh hour for nine days from the table's start, and about the change of clocks, the
// autumn and the year's end; at most 30 ms at 8 MHz.
func TestHouseholdSearch(t *testing.T) {
	s := newSearcher(t)
	for name, encoded := range goldenTables(t) {
		tab, err := table.Decode(encoded)
		if err != nil {
			t.Fatal(err)
		}
		worst, at := uint64(0), table.Minute(0)
		first := table.Minute(tab.Start) * table.MinutesPerDay
		for _, day := range []table.Minute{0, 85, 300, 360} {
			if n, a := s.worst(encoded, first+day*table.MinutesPerDay, 661, 20); n > worst {
				worst, at = n, a
			}
		}
		ms := float64(worst) * 1000 / cellsHz
		t.Logf("%-28s %8d cycles, %5.1f ms at 8 MHz (%s)", name, worst, ms, at)
		if ms > 30 {
			t.Errorf("%s: a search takes %.1f ms at 8 MHz, the limit is 30", name, ms)
		}
	}
}

// Banks made to be slow within the bounds of table.Check.
func TestWorstSearch(t *testing.T) {
	s := newSearcher(t)
	newYear := table.Minute(table.Day(9862)) * table.MinutesPerDay // 2027-01-01
	for name, tab := range slowTables() {
		encoded, err := table.Encode(tab)
		if err != nil {
			t.Fatal(err)
		}
		if m, _ := table.MapFor(1024); len(encoded) > m.TableRoom() {
			t.Fatalf("%s: %d bytes do not fit a bank", name, len(encoded))
		}
		n, at := s.worst(encoded, newYear-1600, 2160, 3)
		t.Logf("%-24s %3d bytes %10d cycles, %4.0f ms at 8 MHz (%s)", name, len(encoded), n, float64(n)*1000/cellsHz, at)
		if n > cellsHz {
			t.Errorf("%s: a search takes %.2f s at 8 MHz, the limit is 1", name, float64(n)/cellsHz)
		}
	}
}

// slowTables fill a bank, or the work that the format allows, with what costs most.
func slowTables() map[string]*table.Table {
	one := table.Every{N: 1}
	positions := &table.SetPos{Period: table.PeriodYear, Positions: []int{200, -200}}
	everyTerm := func(r *table.Rule, _ int) {
		r.EveryDays, r.EveryWeeks, r.EveryMonth, r.EveryYears, r.Months = one, one, one, one, 0x0FFF
		r.MonthDays = table.MonthDays{FromStart: 0x7FFFFFFF}
	}
	weeks := func(n int, period table.Period) func(*table.Rule, int) {
		return func(r *table.Rule, i int) {
			r.Weeks = &table.Weeks{WeekStart: i % 7, Every: one}
			for w := range n {
				r.Weeks.Numbers = append(r.Weeks.Numbers, (w+52)%53+1) // 53, 1, 2 and so on
			}
			r.SetPos = &table.SetPos{Period: period, Positions: []int{30, -30}}
		}
	}
	slow := map[string]*table.Table{
		"weekdays by position": fullRules(func(r *table.Rule, _ int) { r.SetPos = positions }),
		"positions in the year": fullRules(func(r *table.Rule, i int) {
			r.NthOfYear = []table.Nth{{N: 0, Weekday: i % 7}, {N: 26, Weekday: (i + 1) % 7}}
			r.SetPos = positions
		}),
		"a mask": fullRules(func(r *table.Rule, _ int) {
			r.MonthDays, r.SetPos = table.MonthDays{FromStart: 0x3F}, positions
		}),
		"masks": fullRules(func(r *table.Rule, _ int) {
			r.MonthDays, r.Months, r.SetPos = table.MonthDays{FromStart: 0x7FFFFFFF}, 0x0FFF, positions
		}),
		"every": fullRules(func(r *table.Rule, _ int) { r.EveryDays, r.SetPos = one, positions }),
		"every term": fullRules(func(r *table.Rule, i int) {
			everyTerm(r, i)
			r.SetPos = positions
		}),
		"every term of weeks": fullRules(func(r *table.Rule, i int) {
			everyTerm(r, i)
			weeks(1, table.PeriodYear)(r, i)
		}),
		"one long list": fullRules(func(r *table.Rule, _ int) {
			for n := range 19 {
				r.NthOfYear = append(r.NthOfYear, table.Nth{N: n / 7 * 5, Weekday: n % 7})
			}
			r.SetPos = positions
		}),
		"weeks by position":      fullRules(weeks(2, table.PeriodWeekYear)),
		"weeks, week years":      fullRules(weeks(1, table.PeriodWeekYear)),
		"weeks, years":           fullRules(weeks(1, table.PeriodYear)),
		"one long list of weeks": fullRules(weeks(14, table.PeriodWeekYear)),
		"weeks in months":        fullRules(weeks(2, table.PeriodMonth)),
		"weeks in weeks":         fullRules(weeks(2, table.PeriodWeek)),
		"masks in months": fullRules(func(r *table.Rule, i int) {
			everyTerm(r, i)
			r.SetPos = &table.SetPos{Period: table.PeriodMonth, Positions: []int{9}}
		}),
		"rules without positions": fullRules(func(r *table.Rule, i int) {
			everyTerm(r, i)
			r.Weeks = &table.Weeks{WeekStart: i % 7, Every: one, Numbers: []int{1, 53}}
		}),
	}
	alternate := uint32(0x555555)
	for name, times := range map[string]table.Times{
		"cycles":           {Cycle: &table.Cycle{Period: 7, Phase: 3, Hours: 0x800001}},
		"cycles by hours":  {Cycle: &table.Cycle{Period: 61, Phase: 3, Hours: alternate}},
		"cycles, no hours": {Cycle: &table.Cycle{Period: 61, Phase: 60, Hours: 1 << 23}},
		"times":            {List: []uint16{1439}},
		"lists":            {List: tablegen.Irregular(60)},
		"steps":            {List: everyMinutes(1)},
		"grids":            {List: grid(alternate, []uint16{1, 31, 33})},
	} {
		slow[name] = fullParts(times, table.Zone{})
		slow[name+" in broken time"] = fullParts(times, manySpans())
	}
	return slow
}

func everyMinutes(step int) (list []uint16) {
	for m := 0; m < table.MinutesPerDay; m += step {
		list = append(list, uint16(m))
	}
	return list
}

func grid(hours uint32, minutes []uint16) (list []uint16) {
	for h := range uint16(24) {
		for _, m := range minutes {
			if hours>>h&1 != 0 {
				list = append(list, 60*h+m)
			}
		}
	}
	return list
}

// full adds to a table as long as it can be encoded for a bank.
func full(t *table.Table, add func(t *table.Table, i int)) *table.Table {
	for i := 0; ; i++ {
		more := *t
		more.Rules, more.Meals = slices.Clone(t.Rules), slices.Clone(t.Meals)
		add(&more, i)
		if b, err := table.Encode(&more); err != nil || len(b) > bankRoom {
			return t
		}
		t = &more
	}
}

func fullRules(set func(r *table.Rule, i int)) *table.Table {
	t := slowTable()
	t.Meals = []table.Meal{{Portion: 1, Parts: []table.Part{{Rule: 0, Times: table.Times{List: []uint16{1439}}}}}}
	return full(t, func(t *table.Table, i int) {
		r := table.Everyday()
		set(&r, i)
		t.Rules = append(t.Rules, r)
	})
}

func fullParts(times table.Times, z table.Zone) *table.Table {
	t := manyParts(times, 1)
	if z.Overrides != nil {
		t.Zone = z
	}
	return full(t, func(t *table.Table, _ int) {
		parts := slices.Clone(t.Meals[0].Parts)
		t.Meals[0].Parts = append(parts, table.Part{Times: times})
	})
}

func slowTable() *table.Table {
	w := table.Wheel{PocketUnits: 1}
	return &table.Table{
		Start: 9000, Through: table.MaxDay, Late: table.DefaultLate, Wheel: w, Button: table.DefaultButton(w),
		Zone: table.Zone{Standard: 4, DST: &table.DST{Shift: 4,
			Start: table.Transition{Month: 3, Week: 5, Weekday: 6, Minutes: 120}, End: table.Transition{Month: 10, Week: 5, Weekday: 6, Minutes: 180}}},
	}
}

func manyParts(times table.Times, n int) *table.Table {
	t := slowTable()
	m := table.Meal{Portion: 1}
	for range n {
		m.Parts = append(m.Parts, table.Part{Times: times})
	}
	t.Meals = []table.Meal{m}
	return t
}

// manySpans changes the offset as often as it may around the turn of the year: four groups, thirty hours from span to span.
func manySpans() table.Zone {
	z := slowTable().Zone
	for i := range table.MaxGroups {
		g := table.OverrideGroup{Offset: int8(8 + 4*i)}
		at := table.Minute(9861-2)*table.MinutesPerDay + table.Minute(i)*360
		for range 4 {
			g.Spans = append(g.Spans, table.Span{Start: at, End: at + 75})
			at += 75 + 15*table.MinSpanDistance
		}
		z.Overrides = append(z.Overrides, g)
	}
	return z
}
