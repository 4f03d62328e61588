package check

import (
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"mealtab/compiler/table"
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

// slowTables fill a bank with what costs most.
func slowTables() map[string]*table.Table {
	return map[string]*table.Table{
		"positions in the year": manyRules(3, func(r *table.Rule, i int) {
			for n := range 13 {
				r.NthOfYear = append(r.NthOfYear, table.Nth{N: n / 7 * 26, Weekday: (n + i) % 7}) // 0: every such weekday
			}
			r.SetPos = &table.SetPos{Period: table.PeriodYear, Positions: []int{200, -200}}
		}),
		"every term": manyRules(1, func(r *table.Rule, _ int) {
			one := table.Every{N: 1}
			r.EveryDays, r.EveryWeeks, r.EveryMonth, r.EveryYears, r.Months = one, one, one, one, 0x0FFF
			r.MonthDays = table.MonthDays{FromStart: 0x7FFFFFFF}
			for n := range 7 {
				r.NthOfMonth = append(r.NthOfMonth, table.Nth{Weekday: n})
			}
			r.NthOfYear = r.NthOfMonth[:6]
			r.SetPos = &table.SetPos{Period: table.PeriodYear, Positions: []int{200, -200}}
		}),
		"one long list": manyRules(1, func(r *table.Rule, _ int) {
			for n := range 61 {
				r.NthOfYear = append(r.NthOfYear, table.Nth{N: n / 7 * 5, Weekday: n % 7})
			}
			r.SetPos = &table.SetPos{Period: table.PeriodYear, Positions: []int{200, -200}}
		}),
		"weeks by position": manyRules(2, func(r *table.Rule, i int) {
			r.Weeks = &table.Weeks{WeekStart: i % 7, Every: table.Every{N: 1}, Numbers: []int{1, 2, 3, 51, 52, 53}}
			r.SetPos = &table.SetPos{Period: table.PeriodWeekYear, Positions: []int{300, -300}}
		}),
		"one long list of weeks": manyRules(1, func(r *table.Rule, i int) {
			r.Weeks = &table.Weeks{WeekStart: i % 7, Every: table.Every{N: 1}}
			for n := range 42 {
				r.Weeks.Numbers = append(r.Weeks.Numbers, (n+52)%53+1) // 53, 1, 2 and so on
			}
			r.SetPos = &table.SetPos{Period: table.PeriodWeekYear, Positions: []int{300, -300}}
		}),
		"weeks in months": manyRules(27, func(r *table.Rule, i int) {
			r.Weeks = &table.Weeks{WeekStart: i % 7, Every: table.Every{N: 1}, Numbers: []int{1, 53}}
			r.SetPos = &table.SetPos{Period: table.PeriodMonth, Positions: []int{30, -30}}
		}),
		"cycles":    manyParts(table.Times{Cycle: &table.Cycle{Period: 7, Phase: 3, Hours: 0x800001}}, 40),
		"times":     manyParts(table.Times{List: []uint16{1439}}, 120),
		"overrides": manySpans(),
	}
}

func slowTable() *table.Table {
	w := table.Wheel{PocketUnits: 1}
	return &table.Table{
		Start: 9000, Through: table.MaxDay, Late: table.DefaultLate, Wheel: w, Button: table.DefaultButton(w),
		Zone: table.Zone{Standard: 4, DST: &table.DST{Shift: 4,
			Start: table.Transition{Month: 3, Week: 5, Weekday: 6, Minutes: 120}, End: table.Transition{Month: 10, Week: 5, Weekday: 6, Minutes: 180}}},
	}
}

func manyRules(n int, set func(r *table.Rule, i int)) *table.Table {
	t := slowTable()
	for i := range n {
		r := table.Everyday()
		set(&r, i)
		t.Rules = append(t.Rules, r)
	}
	t.Meals = []table.Meal{{Portion: 1, Parts: []table.Part{{Rule: 1, Times: table.Times{List: []uint16{1439}}}}}}
	return t
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

// manySpans changes the offset as often as it may around the turn of the year.
func manySpans() *table.Table {
	t := manyParts(table.Times{List: []uint16{1439}}, 30)
	g := table.OverrideGroup{Offset: 8}
	at := table.Minute(9861-10) * table.MinutesPerDay
	for range 120 {
		g.Spans = append(g.Spans, table.Span{Start: at, End: at + 15})
		at += 5 * table.MinutesPerDay / 16
	}
	t.Zone.Overrides = []table.OverrideGroup{g}
	return t
}
