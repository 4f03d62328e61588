package honest

import (
	"slices"
	"time"

	"mealtab/emulator/board"
)

// Fault is one thing that goes wrong, at a phase of the serving, and how it is mended.
type Fault struct {
	Name   string
	needs  func(image string) bool // nil: every board can have it
	begin  func(w *world)
	end    func(w *world) // nil: nothing is to be mended
	early  bool           // always before the serving: its instant does not matter, or its place is in the jam's angle
	placed bool           // its phase is where the wheel jams
	clock  bool           // the feeder's time is not the world's
	hands  bool           // somebody presses, asks for servings, or opens the port
	asks   int            // pockets in each request over the line
}

func mainsOnly(image string) bool { return !onCells(image) }

// cuts takes the power away n times, so long each, with so long between.
func cuts(w *world, n int, off, on time.Duration) {
	for i := range n {
		at := time.Duration(i) * (off + on)
		w.after(at, w.b.PowerOff)
		w.after(at+off, w.b.PowerOn)
	}
}

// AllFaults lists the faults of the sweep.
func AllFaults() []Fault {
	var list []Fault
	list = append(list, powerFaults()...)
	list = append(list, wheelFaults()...)
	list = append(list, sensorFaults()...)
	list = append(list, timeFaults()...)
	return append(list, programFaults()...)
}

func powerFaults() []Fault {
	supply := func(millivolts uint16, milliOhms float64) func(w *world) {
		return func(w *world) { w.b.SetSource(millivolts, milliOhms) }
	}
	return []Fault{
		{Name: "power cut of a second", begin: func(w *world) { cuts(w, 1, time.Second, 0) }},
		{Name: "power cut of 20 minutes", begin: func(w *world) { cuts(w, 1, 20*time.Minute, 0) }},
		{Name: "power cut of 5 hours", begin: func(w *world) { cuts(w, 1, 5*time.Hour, 0) }},
		{Name: "loose plug", begin: func(w *world) { cuts(w, 12, 120*time.Millisecond, 540*time.Millisecond) }},
		{Name: "plug loose for an hour", begin: func(w *world) { cuts(w, 30, 2*time.Second, 2*time.Minute) }},
		{Name: "supply too low", needs: mainsOnly, begin: supply(4350, -1), end: supply(5000, 100)},
		{Name: "supply too low", needs: onCells, begin: supply(2950, -1), end: supply(4500, 450)},
		{Name: "lead of 2.5 Ω", needs: mainsOnly, begin: supply(5000, 2500), end: supply(5000, 100)},
		{Name: "lead of 13 Ω", needs: mainsOnly, begin: supply(4900, 13000), end: supply(5000, 100)},
		{Name: "weak cells", needs: onCells, begin: supply(3200, 2500), end: supply(4500, 450)},
		{Name: "adapter that hiccups", needs: mainsOnly, begin: func(w *world) { w.b.SetLimit(board.Limit{MA: 150}) }, end: func(w *world) { w.b.SetLimit(board.Limit{}) }},
		{Name: "servo unplugged", begin: func(w *world) { w.b.UnplugServo(true) }, end: func(w *world) { w.b.UnplugServo(false) }},
		{Name: "reference 9 % high", begin: func(w *world) { w.b.SetReference(9) }, end: func(w *world) { w.b.SetReference(0) }, early: true},
		{Name: "reference 9 % low", begin: func(w *world) { w.b.SetReference(-9) }, end: func(w *world) { w.b.SetReference(0) }, early: true},
	}
}

func wheelFaults() []Fault {
	jam := func(frees bool, d time.Duration) func(w *world) {
		return func(w *world) { w.b.JamFor(w.jamAt(), frees, d) }
	}
	unjam := func(w *world) { w.b.Unjam() }
	load := func(l float64) func(w *world) { return func(w *world) { w.b.SetWheelLoad(l) } }
	pace := func(p float64) func(w *world) { return func(w *world) { w.b.SetPace(p) } }
	return []Fault{
		{Name: "kibble jams", begin: jam(true, 0), end: unjam, early: true, placed: true},
		{Name: "solid jam", begin: jam(false, 0), end: unjam, early: true, placed: true},
		{Name: "jam that frees itself", begin: jam(false, 20*time.Minute), end: unjam, early: true, placed: true},
		{Name: "wheel blocked", begin: load(1), end: load(0)},
		{Name: "wheel at 60 % load", begin: load(0.6), end: load(0)},
		{Name: "wheel 10 % slower", begin: pace(0.9), end: pace(1), early: true},
		{Name: "wheel 3 % faster", begin: pace(1.03), end: pace(1), early: true},
		{Name: "stop pulse 12 µs off", begin: func(w *world) { w.b.SetStopPulse(1512) }, end: func(w *world) { w.b.SetStopPulse(1500) }, early: true},
		{Name: "no detents", begin: func(w *world) { w.b.SetDetent(false) }, end: func(w *world) { w.b.SetDetent(true) }, early: true},
		{Name: "bridge of 6 pockets", begin: func(w *world) { w.b.Bridge(6) }},
		{Name: "hopper empty", begin: func(w *world) { w.b.Refill(0) }, end: func(w *world) { w.b.Refill(1e9) }},
	}
}

func sensorFaults() []Fault {
	contact := func(c board.Contact) func(w *world) { return func(w *world) { w.b.SetIndex(c) } }
	beam := func(f board.Beam) func(w *world) { return func(w *world) { w.b.SetBeam(f) } }
	return []Fault{
		{Name: "index never closes", needs: hasIndex, begin: contact(board.NeverCloses), end: contact(board.ContactGood)},
		{Name: "index never opens", needs: hasIndex, begin: contact(board.NeverOpens), end: contact(board.ContactGood)},
		{Name: "index bounces 15 ms", needs: hasIndex, begin: func(w *world) { w.b.SetIndexBounce(15) }, end: func(w *world) { w.b.SetIndexBounce(0) }, early: true},
		{Name: "barrier blind", needs: hasBarrier, begin: beam(board.BeamBlind), end: beam(board.BeamGood)},
		{Name: "barrier dark", needs: hasBarrier, begin: beam(board.BeamDark), end: beam(board.BeamGood)},
	}
}

func timeFaults() []Fault {
	osc := func(o board.Oscillator) func(w *world) { return func(w *world) { w.b.SetOscillator(o) } }
	step := func(d time.Duration) func(w *world) { return func(w *world) { w.b.StepClock(d) } }
	set := func(w *world) { w.b.SetClock(w.b.Now()) } // the owner sets it afterwards: see mend
	return []Fault{
		{Name: "oscillator 5 % slow", needs: onCells, begin: osc(board.Oscillator{PC: -5}), end: osc(board.Oscillator{}), early: true},
		{Name: "oscillator 5 % fast", needs: onCells, begin: osc(board.Oscillator{PC: 5}), end: osc(board.Oscillator{}), early: true},
		{Name: "oscillator 1 % per volt", needs: onCells, begin: osc(board.Oscillator{PC: 2, PCPerVolt: 1}), end: osc(board.Oscillator{}), early: true},
		{Name: "resonator 0.5 % slow", needs: mainsOnly, begin: osc(board.Oscillator{PC: -0.5}), end: osc(board.Oscillator{}), early: true},
		{Name: "clock jumps ahead 3 h", begin: step(3 * time.Hour), end: set, clock: true},
		{Name: "clock jumps back 3 h", begin: step(-3 * time.Hour), end: set, clock: true},
		{Name: "clock set back 5 h", begin: func(w *world) { w.setClock(w.b.ClockTime().Add(-5 * time.Hour)) }, end: set, clock: true},
		{Name: "clock set ahead 5 h", begin: func(w *world) { w.setClock(w.b.ClockTime().Add(5 * time.Hour)) }, end: set, clock: true},
		{Name: "clock silent", begin: func(w *world) { w.b.Silence(true) }, end: func(w *world) { w.b.Silence(false) }, clock: true},
		{Name: "crystal stopped", begin: func(w *world) { w.b.StopCrystal(true) }, end: func(w *world) { w.b.StopCrystal(false); set(w) }, clock: true},
		{Name: "INT wire off", begin: func(w *world) { w.b.CutInt(true) }, end: func(w *world) { w.b.CutInt(false) }},
		{Name: "port opened every 7 minutes", begin: func(w *world) { every(w, 30, 7*time.Minute, w.b.Reset) }, hands: true},
		{Name: "feed button stuck", begin: func(w *world) { w.b.Press(board.ButtonFeed, 0) }, end: func(w *world) { w.b.Release(board.ButtonFeed) }, hands: true},
		{Name: "pressed every 13 minutes", begin: func(w *world) {
			every(w, 200, 13*time.Minute, func() { w.b.Press(board.ButtonFeed, 200*time.Millisecond) })
		}, hands: true},
		{Name: "asked for 1 pocket every 7 minutes", begin: func(w *world) { every(w, 200, 7*time.Minute, func() { w.ask(1) }) }, hands: true, asks: 1},
		{Name: "asked for 20 pockets every 7 minutes", begin: func(w *world) { every(w, 200, 7*time.Minute, func() { w.ask(mostAsked) }) }, hands: true, asks: mostAsked},
	}
}

// programFaults are those of the program and of its table. The program is caught in the endless loop that avr-libc ends a program
// with.
func programFaults() []Fault {
	hang := func(w *world, interrupts bool) {
		sreg := w.b.MCU().SREG() &^ 0x80
		if interrupts {
			sreg |= 0x80
		}
		w.b.MCU().SetSREG(sreg)
		w.b.MCU().SetPC(uint16(slices.Index(w.b.MCU().Flash(), endlessLoop)))
	}
	return []Fault{
		{Name: "program hangs", begin: func(w *world) { hang(w, true) }},
		{Name: "program hangs without interrupts", begin: func(w *world) { hang(w, false) }},
		{Name: "bit flips in the table", begin: (*world).flip, end: func(w *world) { w.flip(); w.b.Reset() }},
	}
}

const endlessLoop = 0xCFFF // rjmp .-2

// every lets something happen n times.
func every(w *world, n int, gap time.Duration, do func()) {
	for i := range n {
		w.insert(act{at: w.b.Now().Add(time.Duration(i) * gap), do: do, repeat: true})
	}
}

// faultsFor are those that an image can have.
func faultsFor(image string) (list []Fault) {
	for _, f := range AllFaults() {
		if f.needs == nil || f.needs(image) {
			list = append(list, f)
		}
	}
	return list
}
