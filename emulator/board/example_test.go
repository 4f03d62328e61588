package board_test

import (
	"fmt"
	"time"

	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/firmware-template/image"
)

// A builder's test of a feeder: breakfast at seven, the power fails while the wheel turns, and the meal is finished when
// it is back, right to one pocket: how far the one that was turning got is not known.
func Example() {
	hex, _ := image.Hex("m328-mains")
	firmware, err := avr.ReadImage(hex)
	if err != nil {
		panic(err)
	}
	c, err := board.ForBoard("m328-mains")
	if err != nil {
		panic(err)
	}
	c.Firmware = firmware
	c.Start = time.Date(2027, 6, 1, 6, 0, 0, 0, time.UTC)
	b, err := board.New(c)
	if err != nil {
		panic(err)
	}
	b.SetClock(c.Start)
	if err := b.Program(breakfast(5)); err != nil {
		panic(err)
	}
	last := "" // one line for those of a minute
	b.Observe(func(e board.Event) {
		if now := b.Now().Format("15:04"); e.Kind == board.PocketFell && now != last {
			fmt.Println(now, "a pocket falls")
			last = now
		}
	})

	b.RunUntil(time.Date(2027, 6, 1, 7, 0, 0, 900_000_000, time.UTC))
	b.PowerOff()
	fmt.Println(b.Now().Format("15:04"), "the power fails")
	b.Run(10 * time.Minute)
	b.PowerOn()
	b.Run(time.Minute)
	fmt.Println("five pockets, one more or less:", b.Pockets() >= 4 && b.Pockets() <= 6)
	// Output:
	// 07:00 a pocket falls
	// 07:00 the power fails
	// 07:10 a pocket falls
	// five pockets, one more or less: true
}

// breakfast is a table with one meal of so many pockets, at 07:00 UTC every day.
func breakfast(pockets uint32) []byte { return breakfastOf(1, pockets) }

// breakfastOf is breakfast for a board by its number in tables.
func breakfastOf(board uint8, pockets uint32) []byte {
	encoded, err := table.Encode(&table.Table{
		Board: board, Start: 9000, Through: table.MaxDay, Late: table.DefaultLate,
		Wheel: table.Wheel{PocketUnits: 1, TurnMillis: 310}, Button: table.DefaultButton(table.Wheel{PocketUnits: 1}),
		Meals: []table.Meal{{Portion: pockets, Parts: []table.Part{{Times: table.Times{List: []uint16{420}}}}}},
	})
	if err != nil {
		panic(err)
	}
	return encoded
}
