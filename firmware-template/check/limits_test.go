package check

import (
	"fmt"
	"testing"

	"mealtab/compiler/table"
	"mealtab/emulator/replay"
)

// irregular is n times of day, a minute or two apart.
func irregular(n int) (list []uint16) {
	for i := range n {
		list = append(list, uint16(5*i+i%2))
	}
	return list
}

// Lists of times about each change in how their number is written: a byte up to 127, two from 128.
func TestLongLists(t *testing.T) {
	p := start(t, "engine")
	for _, n := range []int{1, 2, 3, 4, 5, 126, 127, 128, 129, 140, 254, 255} {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			tab := manyParts(table.Times{List: irregular(n)}, 1)
			first := table.Minute(tab.Start) * table.MinutesPerDay
			s := span{after: first - 1, limit: first + 4*table.MinutesPerDay, preset: replay.AllPresets, slice: 1560, most: 1 << 20, adjust: 10}
			if got := compare(t, p, tab, s); got < 3*n {
				t.Errorf("%d servings in four days", got)
			}
		})
	}
}
