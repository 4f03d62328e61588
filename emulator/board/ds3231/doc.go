// Package ds3231 emulates the DS3231 real-time clock: registers, calendar, both alarms, the INT/SQW output, the
// temperature-compensated oscillator with ageing and drift, and the switch to the backup cell.
//
// In: bytes on the two-wire bus, the supplies, the temperature, instants in nanoseconds of the world's time. Out: bytes,
// the state of the INT/SQW pin, and the instant at which that pin may next change. Nothing ticks: the registers are
// brought up to date when someone looks.
//
// Source: DS3231 data sheet 19-5170 Rev 10, cited as [DS p.N]; where it says "undefined" or nothing, the comment says
// "choice".
package ds3231

// Register addresses [DS p.11, figure 1].
const (
	Seconds, Minutes, Hours       = 0x00, 0x01, 0x02
	Day, Date, Month, Year        = 0x03, 0x04, 0x05, 0x06
	A1Seconds, A1Minutes, A1Hours = 0x07, 0x08, 0x09
	A1Day                         = 0x0A
	A2Minutes, A2Hours, A2Day     = 0x0B, 0x0C, 0x0D
	Control, Status, Ageing       = 0x0E, 0x0F, 0x10
	TempMSB, TempLSB              = 0x11, 0x12
	registers                     = 0x13
)

// Bits of the control register [DS p.13].
const (
	EOSC  = 1 << 7 // 1: the oscillator stops on battery
	BBSQW = 1 << 6
	CONV  = 1 << 5
	RS2   = 1 << 4
	RS1   = 1 << 3
	INTCN = 1 << 2
	A2IE  = 1 << 1
	A1IE  = 1 << 0
)

// Bits of the status register [DS p.14].
const (
	OSF     = 1 << 7
	EN32kHz = 1 << 3
	BSY     = 1 << 2
	A2F     = 1 << 1
	A1F     = 1 << 0
)

// Mask and day bits of the alarm registers [DS p.12, table 2].
const (
	AxM  = 1 << 7
	DYDT = 1 << 6 // 1: day of the week, 0: date
)

// Contents after the first power-up [DS p.11, 13, 14]; the time is 01/01/00, day 1, 00:00:00 [DS3231M data sheet].
const (
	controlReset = RS2 | RS1 | INTCN
	statusReset  = OSF | EN32kHz
)

// Durations in nanoseconds.
const (
	second          = 1_000_000_000
	conversionEvery = 64 * second   // [DS p.13]
	conversionTime  = 125_000_000   // tCONV typical [DS p.4]
	busyLag         = 2_000_000     // BSY follows CONV [DS p.13]
	stopDelay       = 100_000_000   // tOSF [DS p.4]
	never           = 1<<64 - 1     // no instant
	quarters        = 4             // temperature steps in a degree [DS p.1]
	roomTemperature = 25 * quarters // where the ageing step is 0.1 ppm [DS p.3]
)
