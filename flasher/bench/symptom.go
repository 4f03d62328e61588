package bench

// Symptom is something that is not as it should be, in words.
type Symptom string

// The symptoms, in the order of the walk.
const (
	Silent         Symptom = "nothing answers on the line"
	Babble         Symptom = "what answers is not a feeder"
	Echo           Symptom = "the line sends back what it is sent"
	Alive          Symptom = "the board's light flashes when the portion button is pressed"
	Lifeless       Symptom = "the board's light does not flash when the portion button is pressed"
	OnlyBootloader Symptom = "a bootloader answers, but no firmware"
	HalfRate       Symptom = "the chip runs at half its rate"
	DoubleRate     Symptom = "the chip runs at twice its rate"
	EighthRate     Symptom = "the chip runs at an eighth of its rate or less"
	ThreeQuarters  Symptom = "the chip runs at three quarters of its rate"
	TenthOff       Symptom = "the chip's clock is about a tenth off"
	OtherVersion   Symptom = "firmware and program speak different versions"
	OtherFirmware  Symptom = "the firmware is not the one that this program carries"
	OtherBoard     Symptom = "the firmware is for another board"
	OtherChip      Symptom = "the firmware is for another chip"
	FellSilent     Symptom = "the board stopped answering in the middle"

	ClockSilent   Symptom = "the clock chip does not answer"
	ClockStops    Symptom = "the clock chip does not keep what it is set to"
	ClockStands   Symptom = "the clock's seconds do not change"
	ClockOff      Symptom = "the clock does not keep time"
	ClockLost     Symptom = "the clock was set before and has lost its time"
	BothPulled    Symptom = "SDA and SCL both have pull-ups"
	BothFloating  Symptom = "neither SDA nor SCL has a pull-up"
	BothLow       Symptom = "SDA and SCL are both held low"
	SDAFloating   Symptom = "SDA alone has no pull-up"
	SCLFloating   Symptom = "SCL alone has no pull-up"
	SDALow        Symptom = "SDA alone is held low"
	SCLLow        Symptom = "SCL alone is held low"
	Crossed       Symptom = "the clock chip answers with SDA and SCL exchanged"
	IntLow        Symptom = "the interrupt wire is low though the clock does not pull"
	IntNever      Symptom = "the clock rings, and its interrupt wire does not fall"
	IntElsewhere  Symptom = "the clock rings, and another pin falls"
	MemoryMissing Symptom = "the memory chip beside the clock does not answer"

	EEPROMBad Symptom = "a byte of the EEPROM does not keep what is written"

	SupplyLow    Symptom = "the supply is too low at rest"
	SagStanding  Symptom = "the supply sags before the servo turns"
	SagTurning   Symptom = "the supply sags under the turning servo"
	ResetTurning Symptom = "the board was reset while the servo turned"
	ResetPulled  Symptom = "the supply takes the board down"

	LightDark   Symptom = "the light stays dark"
	LightTurned Symptom = "the light works when it is turned round"

	FeedStuck    Symptom = "the feed button reads as pressed all the time"
	PortionStuck Symptom = "the portion button reads as pressed all the time"
	PlanStuck    Symptom = "the plan button reads as pressed all the time"
	FeedDead     Symptom = "the feed button is pressed and not seen"
	PortionDead  Symptom = "the portion button is pressed and not seen"
	PlanDead     Symptom = "the plan button is pressed and not seen"
	FeedPortion  Symptom = "feed and portion button are seen as each other"
	FeedPlan     Symptom = "feed and plan button are seen as each other"
	PortionPlan  Symptom = "portion and plan button are seen as each other"

	IndexOpen     Symptom = "the index switch never closes"
	IndexClosed   Symptom = "the index switch never opens"
	IndexInverted Symptom = "the index switch is open where it should close"
	BeamDark      Symptom = "the light barrier is dark though nothing is in it"
	BeamBlind     Symptom = "the light barrier does not see what is put into it"

	NoTurn    Symptom = "the wheel does not turn"
	TurnsBack Symptom = "the wheel turns the wrong way"
	PlugDead  Symptom = "there is no voltage at the servo's plug"
	PlugLive  Symptom = "there is voltage at the servo's plug"
	OtherPin  Symptom = "the wheel moves by pulses on another pin"
	Creeps    Symptom = "the wheel creeps while it should stand"
	Erratic   Symptom = "the wheel does not turn as it is asked to"
)
