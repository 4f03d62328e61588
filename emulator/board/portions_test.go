package board_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/firmware-template/image"
)

// byWeight has portions that are no whole pockets, in two presets; the zone is UTC. Board 1.
func byWeight() *table.Table {
	at := func(minute uint16) []table.Part { return []table.Part{{Times: table.Times{List: []uint16{minute}}}} }
	w := table.Wheel{PocketUnits: 62, UnitMg: 100, TurnMillis: 310}
	return &table.Table{
		Board: 1, Start: 9000, Through: table.MaxDay, Late: table.DefaultLate, Wheel: w, Button: table.DefaultButton(w), Presets: 2,
		Meals: []table.Meal{
			{Portion: 180, Parts: at(7 * 60)},
			{Portion: 75, Presets: 1, Parts: at(12 * 60)},
			{Portion: 131, Presets: 2, Parts: at(18 * 60)},
		},
	}
}

// On the real firmware the running total stays within half a pocket of the plan, day by day, while the owner changes preset
// and portion and the power fails between meals.
func TestPortionsStayWithinHalfAPocketOnTheFirmware(t *testing.T) {
	hex, _ := image.Hex("m328-mains")
	firmware, err := avr.ReadImage(hex)
	if err != nil {
		t.Fatal(err)
	}
	c, err := board.ForBoard("m328-mains")
	if err != nil {
		t.Fatal(err)
	}
	c.Firmware = firmware
	day := time.Date(2027, 6, 1, 0, 0, 0, 0, time.UTC)
	c.Start = day
	b, err := board.New(c)
	if err != nil {
		t.Fatal(err)
	}
	b.SetClock(day)
	tab := byWeight()
	encoded, err := table.Encode(tab)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Program(encoded); err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(27, 6))
	preset, adjust := 0, 10
	planned, servings := int64(0), 0 // tenths of a unit
	pocket := 10 * int64(tab.Wheel.PocketUnits)
	for range 60 {
		for i, meal := range tab.Meals {
			minute := meal.Parts[0].Times.List[0]
			b.RunUntil(day.Add(time.Duration(minute)*time.Minute + 30*time.Second))
			if i == 0 || int(meal.Presets) == 1<<preset {
				planned += int64(meal.Portion) * int64(adjust)
				servings++
			}
			ahead := planned - b.Pockets()*pocket
			if 2*max(ahead, -ahead) > pocket {
				t.Fatalf("%s: %d pockets have fallen, %.1f were planned", b.Now(), b.Pockets(), float64(planned)/float64(pocket))
			}
			switch r.IntN(4) {
			case 0:
				b.Press(board.ButtonPreset, 200*time.Millisecond)
				preset = 1 - preset
			case 1:
				b.Press(board.ButtonPortion, 200*time.Millisecond)
				if adjust++; adjust > 12 {
					adjust = 8
				}
			case 2:
				b.Run(time.Minute)
				b.PowerOff()
				b.Run(time.Duration(1+r.IntN(200)) * time.Minute)
				b.PowerOn()
			}
		}
		day = day.Add(24 * time.Hour)
	}
	if servings < 100 {
		t.Errorf("%d servings in 60 days: the presses did not change much", servings)
	}
}
