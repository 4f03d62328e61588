package scenario_test

import (
	"testing"
	"time"

	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/scenario"
	"mealtab/firmware-template/image"
)

// mains is the board of most tests, with the firmware that is shipped for it.
func mains(t testing.TB) (table.Board, *avr.Image) { return boardNamed(t, "m328-mains") }

func boardNamed(t testing.TB, name string) (table.Board, *avr.Image) {
	t.Helper()
	b, ok := table.BoardNamed(name)
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
	b, img := mains(t)
	s, err := scenario.MealSweep(b, img)
	if err != nil {
		t.Fatal(err)
	}
	report(t, s, s.WriteCuts())
}

func TestCutsAtRandomCyclesOfAMeal(t *testing.T) {
	b, img := mains(t)
	s, err := scenario.MealSweep(b, img)
	if err != nil {
		t.Fatal(err)
	}
	report(t, s, s.RandomCuts(1000, 1))
}

func TestCutsAtEveryWriteOfAnUpload(t *testing.T) {
	b, img := mains(t)
	s, err := scenario.UploadSweep(b, img)
	if err != nil {
		t.Fatal(err)
	}
	report(t, s, s.WriteCuts())
}

func TestSecondCutsWhileAMealRecovers(t *testing.T) {
	b, img := mains(t)
	s, err := scenario.MealSweep(b, img)
	if err != nil {
		t.Fatal(err)
	}
	report(t, s, s.RandomPairs(1000, 2))
}
