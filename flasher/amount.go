package flasher

import (
	"fmt"

	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// GivenFor is how many pockets a feeder in that state turns for an amount asked for by button or line, in mass units of its table; 0 units: the
// button's portion. It is FORMAT.md's sum at 100 %, with the remainder of the servings before, which the answer to SERVE comes from too; whether
// the feeder serves at all is another question.
func GivenFor(t *table.Table, s Status, massUnits uint32) int {
	if massUnits == 0 {
		massUnits = t.Button.Portion
	}
	pocket := 10 * int64(t.Wheel.PocketUnits)
	carry := int64(s.Carry)
	if carry > pocket/2 || carry < -pocket/2 {
		carry = 0 // left by another table
	}
	return int((carry + 10*int64(massUnits) + pocket/2) / pocket)
}

// AmountWords is what so many pockets are: "12.4 g (2 pockets)", or "2 pockets" where nobody has weighed one.
func AmountWords(t *table.Table, pockets int) string {
	count := units.Count(pockets, "pocket")
	if each := t.Wheel.PocketMg(); each != 0 {
		return fmt.Sprintf("%s (%s)", units.Milligrams(int64(pockets)*each), count)
	}
	return count
}
