package bench

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"mealtab/compiler/table"
	"mealtab/flasher"
)

// Which way the wheel moved.
const (
	none     = "no"
	forward  = "forward"
	backward = "backward"
)

const (
	holdTime  = 3  // seconds that the stop pulse is held
	meterTime = 8  // seconds that the servo has its supply for the meter
	mostHolds = 7  // of which one finds the trim
	trimStep  = 24 // µs, until the trim is known to lie between two; the dead band of a servo is some 4 to 8 wide
	trimMost  = 60 // µs that the board holds either way
)

// Caution is said where the wheel moves.
const Caution = "The wheel moves now. Keep fingers, paws and tongues away from it, and the food out of the hopper."

// wheel tries servo, supply under load and index switch.
func (w *walk) wheel() error {
	if !w.services {
		w.leftOut("wheel", "this board has no room for the test; with a plan on it: mealtab serve, and mealtab calibrate")
		return w.coinCell()
	}
	w.Person.Say("Wheel. " + Caution)
	if w.ask("wheel-ready", "Is the hopper empty and everything away from the wheel?") != Yes {
		w.leftOut("wheel", "it was not to be moved")
		return w.coinCell()
	}
	err := w.turns()
	switch {
	case errors.Is(err, errReset):
		w.wrong("supply under the servo", "the board was reset when the servo had its supply", ResetTurning)
		err = nil
	case errors.Is(err, flasher.ErrNotNow):
		err = w.mayRefuse("wheel", err)
	}
	if err != nil {
		return err
	}
	return w.coinCell()
}

// turns moves the wheel: stands, back and forth, forward.
func (w *walk) turns() error {
	creep, err := w.hold(w.Trim)
	if err != nil {
		return err
	}
	w.show("back", "The wheel turns one pocket backwards, and forwards again.")
	back, err := w.move(flasher.Back, 1, w.Trim)
	if err != nil {
		return err
	}
	wentBack := w.ask("went-back", "Which way did it turn first?")
	if w.sags() {
		return nil
	}
	w.show("forward", "And one pocket forwards, as a meal does.")
	if _, err := w.move(flasher.Forward, 1, w.Trim); err != nil {
		return err
	}
	went := w.ask("went-forward", "Which way did it turn?")
	if w.sags() {
		return nil
	}
	if went == none && wentBack == none {
		return w.standsStill()
	}
	w.direction(wentBack, went, w.index(back))
	return w.findTrim(creep)
}

// direction judges which way it turned, first there and back, then forwards. With a switch that is wrong the forward turn ends anywhere.
func (w *walk) direction(wentBack, went string, switchGood bool) {
	switch {
	case went == "" || wentBack == "":
		w.leftOut("wheel", "nobody could tell which way it turned")
	case went == forward && wentBack == backward:
		w.right("wheel", "it turns one pocket each way")
	case went != forward && wentBack == forward:
		w.wrong("wheel", "it turns the wrong way", TurnsBack)
	case !switchGood:
		w.leftOut("wheel", "it turns; which way is to be seen when the index switch is right")
	default:
		w.wrong("wheel", fmt.Sprintf("asked to turn back first it turned %q, asked to turn forwards %q", wentBack, went), Erratic)
	}
}

// hold lets the servo stand and asks whether it does.
func (w *walk) hold(trim int) (creep string, err error) {
	w.show("hold", fmt.Sprintf("For %d seconds the servo is told to stand (trim %d µs). Watch whether the wheel creeps.", holdTime, trim))
	if _, err = w.move(flasher.Hold, holdTime, trim); err != nil {
		return "", err
	}
	return w.ask("creeps", "Did it creep?"), nil
}

// sags judges the supply under the servo.
func (w *walk) sags() bool {
	rest, loaded := w.state.SupplyMV, w.state.LoadedMV
	if loaded == 0 || w.has(SagTurning) {
		return w.has(SagTurning)
	}
	least := max(w.profile.MinSupplyMV, rest*(100-w.profile.SagPercent)/100)
	if loaded < least {
		w.wrong("supply under the servo", fmt.Sprintf("%.2f V at rest, %.2f V at the lowest under the servo; at least %.2f V are wanted", volts(rest), volts(loaded), volts(least)), SagTurning)
		return true
	}
	return false
}

func volts(mv int) float64 { return float64(mv) / 1000 }

// standsStill finds out why it does not turn.
func (w *walk) standsStill() error {
	w.wrong("wheel", "it does not turn either way", NoTurn)
	if w.ask("meter-ready", "Have you a voltmeter between plus and minus of the servo's plug?") != Yes {
		return nil
	}
	w.show("meter", fmt.Sprintf("For %d seconds the servo has its supply: read the meter.", meterTime))
	if _, err := w.move(flasher.Hold, meterTime, w.Trim); err != nil {
		return err
	}
	switch w.ask("plug-volts", "Did the meter show about 5 V (the servo's voltage)?") {
	case No:
		w.seen = append(w.seen, PlugDead)
		return nil
	case Yes:
		w.seen = append(w.seen, PlugLive)
	}
	for _, pin := range []int{0, 2, 3, 4} {
		w.show("twitch", fmt.Sprintf("Watch the wheel: pulses on PB%d.", pin))
		if _, err := w.move(flasher.Twitch, pin, 0); err != nil {
			if errors.Is(err, errReset) { // nothing but a servo that obeys draws so much
				w.seen = append(w.seen, OtherPin)
			}
			return err
		}
		if w.ask("twitched", "Did it move?") == Yes {
			w.seen = append(w.seen, OtherPin)
			return nil
		}
	}
	return nil
}

// index judges the switch by a turn of one pocket back and forth, at whose beginning the wheel stood at a pocket's place.
func (w *walk) index(turn flasher.Served) (good bool) {
	if w.feeder.ID.Sensors&flasher.SensorIndex == 0 {
		return true
	}
	closed, changed := turn.Before&flasher.PinIndex != 0, turn.Seen&flasher.PinIndex != 0
	good = closed && changed
	switch {
	case good:
		w.right("index switch", "it opens and closes as the wheel turns")
	case changed:
		w.wrong("index switch", "it is open at a pocket's place and closes between", IndexInverted)
	case closed:
		w.wrong("index switch", "the wheel turns, and it stays closed", IndexClosed)
	default:
		w.wrong("index switch", "the wheel turns, and it stays open", IndexOpen)
	}
	return good
}

// findTrim moves the stop pulse until the wheel stands.
func (w *walk) findTrim(creep string) error {
	if creep == "" {
		w.leftOut("stop pulse", "nobody could tell whether the wheel creeps")
		return nil
	}
	if creep == none {
		w.right("stop pulse", "the wheel stands still while it should")
		return w.countPockets()
	}
	// Forward means that the pulse is too long.
	trim, low, high := w.Trim, -trimMost-trimStep, trimMost+trimStep
	for range mostHolds {
		switch creep {
		case forward:
			high = trim
		case backward:
			low = trim
		default:
			w.report.Trim = &trim
			w.wrong("stop pulse", fmt.Sprintf("with a trim of %d µs the wheel creeps, with %d µs it stands", w.Trim, trim), Creeps)
			return nil
		}
		trim = nextTrim(low, high)
		if trim > trimMost || trim < -trimMost || high-low < 2 {
			break
		}
		var err error
		if creep, err = w.hold(trim); err != nil {
			if errors.Is(err, flasher.ErrNotNow) {
				break
			}
			return err
		}
	}
	w.wrong("stop pulse", "the wheel creeps, and no trim was found at which it stands", Creeps)
	return nil
}

// nextTrim is between two that creep either way; a step from one where the other is not known.
func nextTrim(low, high int) int {
	switch {
	case low < -trimMost:
		return high - trimStep
	case high > trimMost:
		return low + trimStep
	}
	return (low + high) / 2
}

// counted is how many pockets are counted: as many as a test may turn.
const counted = 8

// countPockets finds the time of a pocket of a wheel that turns by time.
func (w *walk) countPockets() error {
	if !w.Count || w.feeder.ID.Sensors&flasher.SensorIndex != 0 || w.has(TurnsBack) || w.has(Erratic) {
		return nil
	}
	if w.ask("count-ready", fmt.Sprintf("To find the time of a pocket the wheel turns %d. Make a mark on it, to count by. May it turn?", counted)) != Yes {
		w.leftOut("time of a pocket", "the wheel was not to be turned for it")
		return nil
	}
	each, err := w.turnInForce()
	if err != nil {
		return err
	}
	w.show("count", fmt.Sprintf("It turns %d pockets, as it reckons.", counted))
	if _, err := w.move(flasher.Forward, counted, w.Trim); err != nil {
		return err
	}
	turned, err := strconv.ParseFloat(w.ask("turned", "How many did it turn? Parts of one too, such as 8.2"), 64)
	switch {
	case err != nil:
		w.leftOut("time of a pocket", "nobody could tell how many it turned")
	case turned < counted/2. || turned > counted*2:
		w.leftOut("time of a pocket", "%g pockets instead of %d: that is no matter of time; look at the wheel", turned, counted)
	default:
		w.report.TurnMillis = int(math.Round(float64(each) * counted / turned))
		w.right("time of a pocket", "%d ms by %g pockets counted, where it reckons with %d", w.report.TurnMillis, turned, each)
	}
	return nil
}

// turnInForce is the time of a pocket that the board reckons with, in ms: its table's, else its own.
func (w *walk) turnInForce() (int, error) {
	tab, err := w.feeder.Table(w.state)
	if errors.Is(err, flasher.ErrNoTable) {
		return w.profile.TurnMillis, nil
	}
	if err != nil {
		return 0, err
	}
	t, err := table.Decode(tab)
	if err != nil || t.Wheel.TurnMillis == 0 {
		return w.profile.TurnMillis, nil
	}
	return int(t.Wheel.TurnMillis), nil
}
