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
	b.Observe(func(e board.Event) {
		if e.Kind == board.PocketFell {
			fmt.Println(b.Now().Format("15:04:05"), "a pocket falls")
		}
	})

	b.RunUntil(time.Date(2027, 6, 1, 7, 0, 1, 200_000_000, time.UTC))
	b.PowerOff()
	fmt.Println(b.Now().Format("15:04:05"), "the power fails")
	b.Run(10 * time.Minute)
	b.PowerOn()
	b.Run(time.Minute)
	fmt.Println(b.Pockets(), "pockets")
	// Output:
	// 07:00:00 a pocket falls
	// 07:00:00 a pocket falls
	// 07:00:01 the power fails
	// 07:10:01 a pocket falls
	// 07:10:01 a pocket falls
	// 4 pockets
}

// breakfast is a table with one meal of so many pockets, at 07:00 UTC every day.
func breakfast(pockets uint32) []byte {
	encoded, err := table.Encode(&table.Table{
		Board: 1, Start: 9000, Through: table.MaxDay, Late: table.DefaultLate,
		Wheel: table.Wheel{PocketUnits: 1, TurnMillis: 310}, Button: table.DefaultButton(table.Wheel{PocketUnits: 1}),
		Meals: []table.Meal{{Portion: pockets, Parts: []table.Part{{Times: table.Times{List: []uint16{420}}}}}},
	})
	if err != nil {
		panic(err)
	}
	return encoded
}
