package table

// remedies say what an owner does about each fault, in the order of [FaultBits].
var remedies = [...]string{
	"set the clock: mealtab clock --set; new coin cell",
	"check supply, ground, SDA and SCL of the clock module",
	"mealtab upload",
	"upload again",
	"switch the supply off before you reach in; clear the wheel, press any button",
	"new cells, a better adapter or a shorter lead",
	"see mealtab journal; press any button",
	"look at the bowl; press any button",
	"supply off: look at wheel, plug, switch",
	"clean it, mend its wires",
	"fill the hopper, break the bridge, free the wheel; bowl full: the barrier is blind",
	"fill it, then hold the portion button for three seconds, or mealtab hopper PLAN --filled now --port PORT",
	"upload the plan",
	"tell whoever changed it",
}

// Remedy says what an owner does about the fault shown in place n of [FaultBits].
func Remedy(n int) string { return remedies[n] }
