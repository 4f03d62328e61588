package scenario

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"

	"mealtab/emulator/avr"
	"mealtab/emulator/board"
)

// vcdOutput writes a value change dump (IEEE 1364-2005, clause 18): time scale 1 ns, one scope, eleven signals. The two
// bus lines are drawn from whole bytes, so changes come a little out of order and are held back until they are not. A signal
// whose budget is used up is unknown (x) from there on; comments at the end say how many changes were left out.
type vcdOutput struct {
	w       *bufio.Writer
	b       *board.Board
	pending []vcdChange
	last    map[byte]string // value of each signal, by identifier
	time    uint64
	begun   bool
	*budget
}

type vcdChange struct {
	at    uint64
	id    byte
	value string
}

// Identifier codes are printable characters.
const (
	vcdInt = '!' + iota
	vcdSDA
	vcdSCL
	vcdServo
	vcdBoost
	vcdLED
	vcdFeed
	vcdPortion
	vcdPlan
	vcdSupply
	vcdSleep
)

var vcdSignals = []struct {
	id       byte
	name     string
	start    string
	realtype bool
}{
	{vcdInt, "INT", "1", false}, {vcdSDA, "SDA", "1", false}, {vcdSCL, "SCL", "1", false},
	{vcdServo, "servo", "0", false}, {vcdBoost, "boost", "0", false}, {vcdLED, "LED", "0", false},
	{vcdFeed, "button_feed", "1", false}, {vcdPortion, "button_portion", "1", false}, {vcdPlan, "button_plan", "1", false},
	{vcdSupply, "supply", "", true}, {vcdSleep, "sleep", "0", false},
}

func vcdName(id byte) string {
	for _, s := range vcdSignals {
		if s.id == id {
			return s.name
		}
	}
	panic("a change of a signal that was not declared")
}

// vcdHold is longer than a byte takes on the bus at 50 kHz, in ns.
const vcdHold = 400_000

func newVCD(w io.Writer, b *board.Board, most int) *vcdOutput {
	v := &vcdOutput{w: bufio.NewWriter(w), b: b, last: map[byte]string{}, budget: newBudget(most)}
	fmt.Fprintf(v.w, "$version mealtab $end\n$timescale 1 ns $end\n$scope module feeder $end\n")
	for _, s := range vcdSignals {
		kind, size := "wire", 1
		if s.realtype {
			kind, size = "real", 64
		}
		fmt.Fprintf(v.w, "$var %s %d %c %s $end\n", kind, size, s.id, s.name)
	}
	fmt.Fprintf(v.w, "$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n")
	for _, s := range vcdSignals {
		value := s.start
		if s.realtype {
			value = volts(int64(b.Millivolts()))
		}
		v.write(s.id, value)
		v.last[s.id] = value
	}
	fmt.Fprintf(v.w, "$end\n")
	return v
}

func volts(mv int64) string { return "r" + strconv.FormatFloat(float64(mv)/1000, 'g', -1, 64) }

func level(high bool) string { return choose(high, "1", "0") }

func (v *vcdOutput) write(id byte, value string) {
	if value[0] == 'r' {
		fmt.Fprintf(v.w, "%s %c\n", value, id)
	} else {
		fmt.Fprintf(v.w, "%s%c\n", value, id)
	}
}

func (v *vcdOutput) event(e board.Event) {
	on := e.Value != 0
	switch e.Kind {
	case board.ClockInt:
		v.change(e.At, vcdInt, level(!on))
	case board.ServoPulse:
		v.change(e.At, vcdServo, level(on))
	case board.ServoSupply:
		v.change(e.At, vcdBoost, level(on))
	case board.Light:
		v.change(e.At, vcdLED, level(on))
	case board.ButtonContact:
		v.change(e.At, vcdFeed+e.Arg%3, level(!on))
	case board.SupplyChanged:
		v.change(e.At, vcdSupply, volts(e.Value))
	case board.Asleep:
		v.change(e.At, vcdSleep, level(on))
	case board.BusByte:
		v.bus(e)
	}
	v.flush(e.At)
}

// bus draws a step of the bus that ended now.
func (v *vcdOutput) bus(e board.Event) {
	m := v.b.MCU()
	cycles := 16 + 2*uint64(m.Peek(avr.TWBR))<<(2*(m.Peek(avr.TWSR)&3)) // data sheet 22.5.2
	bit := cycles * 1_000_000_000 / m.ClockHz()
	switch e.Arg &^ board.BusNack {
	case board.BusStart: // SDA falls while SCL is high
		v.line(e.At, bit, true, true)
		v.change(e.At-bit/2, vcdSDA, "0")
		v.change(e.At, vcdSCL, "0")
	case board.BusStop:
		v.line(e.At, bit, false, true)
		v.change(e.At-bit/4, vcdSDA, "1")
	default:
		for n := range uint64(9) {
			high := e.Value>>(7-n)&1 != 0
			if n == 8 {
				high = e.Arg&board.BusNack != 0
			}
			end := e.At - (8-n)*bit
			v.line(end, bit, high, true)
			v.change(end, vcdSCL, "0")
		}
	}
}

// line sets SDA at the start of a bit and raises SCL in its middle.
func (v *vcdOutput) line(end, bit uint64, sda, scl bool) {
	v.change(end-bit, vcdSDA, level(sda))
	v.change(end-bit/2-bit/4, vcdSCL, level(scl))
}

func (v *vcdOutput) change(at uint64, id byte, value string) {
	v.pending = append(v.pending, vcdChange{at, id, value})
}

// flush writes what nothing can precede any more.
func (v *vcdOutput) flush(now uint64) {
	if now < vcdHold {
		return
	}
	slices.SortStableFunc(v.pending, func(a, b vcdChange) int { return cmp.Compare(a.at, b.at) })
	n := 0
	for n < len(v.pending) && v.pending[n].at < now-vcdHold {
		v.put(v.pending[n])
		n++
	}
	v.pending = slices.Delete(v.pending, 0, n)
}

func (v *vcdOutput) put(c vcdChange) {
	if v.last[c.id] == c.value {
		return
	}
	v.last[c.id] = c.value
	ok, first := v.take(vcdName(c.id), v.b.Time(c.at))
	switch {
	case ok:
	case first && c.value[0] != 'r':
		c.value = "x"
	default:
		return
	}
	if !v.begun || c.at > v.time {
		v.begun, v.time = true, max(c.at, v.time)
		fmt.Fprintf(v.w, "#%d\n", v.time)
	}
	v.write(c.id, c.value)
}

func (v *vcdOutput) close() error {
	v.flush(1 << 63)
	fmt.Fprintf(v.w, "#%d\n", max(v.b.Nanos(), v.time))
	for _, said := range v.leftOut() {
		fmt.Fprintf(v.w, "$comment %s $end\n", said)
	}
	return v.w.Flush()
}
