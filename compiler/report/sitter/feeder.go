package sitter

import (
	"fmt"

	"mealtab/compiler/table"
)

// light says what the flashes ask of somebody who has no computer at hand. Those that only the owner can mend are one row.
func light(in Input) Section {
	rows := Rows{First: 200}
	low := "Too little power: is the plug firm? Give the meals by hand while it flashes."
	if in.Cells {
		low = "The cells are nearly empty: put new ones in, all of one kind. Give the meals by hand while it flashes."
	}
	ack := "press the plan button once"
	if n := len(in.Plan.Presets); n > 1 {
		ack = fmt.Sprintf("press the plan button %d times", n) // back to the same preset
	}
	for _, f := range []struct {
		bit  int
		does string
		here bool // on this board
	}{
		{table.FaultBitJam, "The wheel is stuck. Unplug, look into the wheel, free it, plug in, " + ack + ".", true},
		{table.FaultBitSupply, low, true},
		{table.FaultBitMissed, "A meal, or a part of one, was left out. Look into the bowl, give by hand what is missing, " + ack + ".", true},
		{table.FaultBitPower, "Power went off in the middle of a meal. Look into the bowl, " + ack + ".", true},
		{table.FaultBitEmpty, "Less food fell than should. Fill the hopper; if it is full, loosen the food with a spoon. Look into the bowl, " + ack + ".", in.Sensors},
		{table.FaultBitRefill, "The hopper is nearly empty. Fill it, then hold the portion button for three seconds.", in.Hopper},
	} {
		if f.here {
			rows.Cells = append(rows.Cells, [2]string{upper(table.Flashes(bitNumber(f.bit))), f.does})
		}
	}
	rows.Cells = append(rows.Cells, [2]string{"Any other", "Give the meals by hand and call; say how often it flashes."})
	power := "to see whether there is, press the plan button: one flash says yes, and nothing changes."
	if n := len(in.Plan.Presets); n > 1 {
		power = fmt.Sprintf("to see whether there is, press the plan button %d times, slowly: the last answer must be %s again.", n, flashes(in.Preset+1))
	}
	return Section{"light", "The light", []Block{Text("Dark is good, if there is power; " + power + " Flashes every eight to ten seconds mean:"), rows}}
}

func bitNumber(bit int) (n int) {
	for ; bit > 1; bit >>= 1 {
		n++
	}
	return n
}

// flashes is "1 flash", "2 flashes".
func flashes(n int) string {
	if n == 1 {
		return "1 flash"
	}
	return fmt.Sprintf("%d flashes", n)
}

func upper(s string) string {
	if s != "" && s[0] >= 'a' && s[0] <= 'z' {
		return string(s[0]-'a'+'A') + s[1:]
	}
	return s
}

// buttons says what to press, and what not.
func buttons(in Input) Section {
	rows := Rows{First: 100, Cells: [][2]string{
		{"Feed now", feedNow(in)},
		{"Portion", "changes the size of all meals: leave it. Pressed by mistake: press on until it flashes three times."},
		{"Plan", planButton(in)},
	}}
	return Section{"buttons", "The buttons", []Block{rows, Text("Any press also says that you have seen a fault: the light goes dark if its cause is gone.")}}
}

// feedNow is what a press of the first button gives.
func feedNow(in Input) string {
	b := in.Table.Button
	if b.Portion == 0 {
		return "gives nothing with this plan."
	}
	s := "gives " + amount(in, int64(b.Portion)) + ", besides the plan: only if told to."
	if b.PerHour > 0 {
		s += fmt.Sprintf(" At most %s in an hour; two flashes: not now.", times(int(b.PerHour)))
	}
	return s
}

// planButton is what the button does that steps through the presets.
func planButton(in Input) string {
	if len(in.Plan.Presets) < 2 {
		return "has nothing to change: one flash."
	}
	name := isolate(in.Plan.Presets[in.Preset])
	return fmt.Sprintf("changes to other meals: leave it. This sheet is for “%s”, number %d. Pressed by mistake: press on until it flashes %s.", name, in.Preset+1,
		times(in.Preset+1))
}

// times is "once", "2 times".
func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}
