package scenario_test

import (
	"strings"
	"testing"
	"time"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/emulator/scenario"
	"mealtab/firmware-template/image"
)

// mains is the board of most tests, with the firmware that is shipped for it.
func mains(t testing.TB) (*profile.Profile, *avr.Image) { return boardNamed(t, "m328-mains") }

// inService is a feeder with a table and its clock set.
func inService(t testing.TB, c board.Config, encoded []byte) *board.Board {
	t.Helper()
	b, err := board.New(c)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Program(encoded); err != nil {
		t.Fatal(err)
	}
	b.SetClock(b.Now())
	return b
}

func boardNamed(t testing.TB, name string) (*profile.Profile, *avr.Image) {
	t.Helper()
	b, ok := profile.Named(name)
	hex, found := image.Hex(name)
	if !ok || !found {
		t.Fatalf("no board or image %s", name)
	}
	img, err := avr.ReadImage(hex)
	if err != nil {
		t.Fatal(err)
	}
	return b, img
}

// procedure is one that can be cut.
type procedure func(*profile.Profile, *avr.Image) (*scenario.Sweep, error)

func sweep(t testing.TB, of procedure) *scenario.Sweep {
	t.Helper()
	b, img := mains(t)
	s, err := of(b, img)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func report(t *testing.T, s *scenario.Sweep, cuts []scenario.Cut) {
	begun := time.Now()
	bad := s.Run(cuts)
	t.Logf("%s: %d EEPROM writes, %d cuts, %d violations, %v", s.Name, s.Writes(), len(cuts), len(bad), time.Since(begun).Round(time.Millisecond))
	for i, v := range bad {
		if i == 10 {
			t.Errorf("and %d more", len(bad)-i)
			break
		}
		t.Errorf("%v (repeat: mealtab rehearse --cut %s)", v, v.Cut)
	}
}

func TestCutsAtEveryWriteOfAMeal(t *testing.T) {
	s := sweep(t, scenario.MealSweep)
	report(t, s, s.WriteCuts())
}

func TestCutsAtRandomCyclesOfAMeal(t *testing.T) {
	s := sweep(t, scenario.MealSweep)
	n := 20_000
	if raceEnabled {
		n = 200
	}
	report(t, s, s.RandomCuts(n, 1))
}

func TestCutsAtEveryWriteOfAnUpload(t *testing.T) {
	s := sweep(t, scenario.UploadSweep)
	report(t, s, s.WriteCuts())
}

func TestSecondCutsWhileAMealRecovers(t *testing.T) {
	s := sweep(t, scenario.MealSweep)
	n := 2000
	if raceEnabled {
		n = 100
	}
	report(t, s, s.RandomPairs(n, 2))
}

// TestCutsThatLeaveMarginalBits: a byte on which a cut falls reads differently from one time to the next, and what the
// feeder makes of it holds all the same.
func TestCutsThatLeaveMarginalBits(t *testing.T) {
	for _, of := range []procedure{scenario.MealSweep, scenario.UploadSweep} {
		s := sweep(t, of)
		var cuts []scenario.Cut
		for _, c := range append(s.WriteCuts(), s.RandomPairs(marginalPairs(), 3)...) {
			if strings.HasSuffix(c.Point, ".before") || strings.HasSuffix(c.Point, ".after") {
				continue // no byte is being written
			}
			c.Marginal = true
			cuts = append(cuts, c)
		}
		report(t, s, cuts)
	}
}

func marginalPairs() int {
	if raceEnabled {
		return 20
	}
	return 1000
}

// TestCutsRepeat: a cut's text form gives the same cut, and it can be watched.
func TestCutsRepeat(t *testing.T) {
	s := sweep(t, scenario.MealSweep)
	c := s.WriteCuts()[40]
	again, err := s.ParseCut(c.String())
	if err != nil || again != c {
		t.Errorf("%v reads as %v (%v)", c, again, err)
	}
	c.Marginal = true
	if again, err := s.ParseCut(c.String()); err != nil || again != c {
		t.Errorf("%v reads as %v (%v)", c, again, err)
	}
	for _, text := range []string{"", "meal:w7.program", "meal:w999.before:1s", "supper:c1:1s", "meal:cx:1s", "meal:c1:soon"} {
		if c, err := s.ParseCut(text); err == nil {
			t.Errorf("%q reads as %v", text, c)
		}
	}
	if lines, why := s.Watch(c); why != "" || len(lines) < 10 {
		t.Errorf("watched, %v gives %q and %d lines", c, why, len(lines))
	}
}

// TestSweepSeesForgetting: a journal that is wiped while the power is off makes the feeder forget what it has served, and
// the sweep says so.
func TestSweepSeesForgetting(t *testing.T) {
	s := sweep(t, scenario.MealSweep)
	s.Tamper = func(b *board.Board) {
		m, _ := table.MapFor(len(b.MCU().EEPROM()))
		journal := b.MCU().EEPROM()[m.Journal():][:m.JournalSlots*table.JournalSlotSize]
		for i := range journal {
			journal[i] = 0xFF
		}
	}
	cuts := s.WriteCuts()
	if bad := s.Run(cuts); len(bad) < len(cuts)/2 {
		t.Errorf("%d of %d cuts with a wiped journal are seen", len(bad), len(cuts))
	}
	s.Tamper = func(b *board.Board) { b.MCU().EEPROM()[8] ^= 1 }
	if bad := s.Run(cuts); len(bad) != len(cuts) {
		t.Errorf("%d of %d cuts with a spoilt table are seen", len(bad), len(cuts))
	}
}
