package bench

import (
	"fmt"
	"time"

	"mealtab/flasher"
)

// flashes of the light, half a second each, and how long a press is waited for.
const (
	flashes   = 6
	pressTime = 8 // seconds
)

// light asks whether it blinks.
func (w *walk) light() error {
	blink := func() error {
		w.show("light", "Light: watch it; it blinks.")
		_, err := w.serve(flasher.Light, flashes, 0)
		return err
	}
	if !w.services {
		blink = func() error {
			w.do("light-by-button", "Light: press the portion button ({portion}) now and watch the light; it flashes.")
			w.Link.Transport().Sleep(5 * time.Second)
			_, err := w.feeder.Status()
			return err
		}
	}
	if err := blink(); err != nil {
		return err
	}
	switch w.ask("blinks", "Did the light blink?") {
	case Yes:
		w.right("light", "it blinks")
		return nil
	case "":
		w.leftOut("light", "nobody could tell")
		return nil
	}
	if w.ask("turn-light", "Turn the LED round (its short leg, the flat side, to ground): done?") == Done {
		if err := blink(); err != nil {
			return err
		}
		if w.ask("blinks-turned", "Did it blink this time?") == Yes {
			w.wrong("light", "it was dark, and blinks since it was turned round", LightTurned)
			return nil
		}
	}
	w.wrong("light", "it stays dark", LightDark)
	return nil
}

// button is one of the three.
type button struct {
	name        string
	bit         flasher.Pins
	stuck, dead Symptom
}

var panel = []button{
	{"feed", flasher.PinFeed, FeedStuck, FeedDead},
	{"portion", flasher.PinPortion, PortionStuck, PortionDead},
	{"plan", flasher.PinPlan, PlanStuck, PlanDead},
}

// swapped are the pairs of buttons that are taken for each other.
var swapped = map[flasher.Pins]Symptom{
	flasher.PinFeed | flasher.PinPortion: FeedPortion,
	flasher.PinFeed | flasher.PinPlan:    FeedPlan,
	flasher.PinPortion | flasher.PinPlan: PortionPlan,
}

// buttons has each pressed.
func (w *walk) buttons() error {
	if w.ask("buttons-ready", "Buttons: each is to be pressed when this asks for it. Are you at the board?") != Yes {
		w.leftOut("buttons", "nobody was there to press them")
		return nil
	}
	if !w.services {
		return w.portionButton()
	}
	rest, err := w.begin()
	if err != nil {
		return err
	}
	for _, b := range panel {
		if rest&b.bit != 0 && !w.has(IntElsewhere) {
			w.wrong(b.name+" button", "it reads as pressed, and nobody presses it", b.stuck)
		} else if err := w.press(b, rest); err != nil {
			return err
		}
	}
	return nil
}

// press has one pressed, and looks which is seen.
func (w *walk) press(b button, rest flasher.Pins) error {
	w.do("press-"+b.name, fmt.Sprintf("Buttons: press %s ({%s}) for a moment, within %d seconds.", b.name, b.name, pressTime))
	served, err := w.serve(flasher.Watch, pressTime, int(rest))
	if err != nil {
		return err
	}
	pressed := served.Seen | served.Before ^ rest
	const buttons = flasher.PinFeed | flasher.PinPortion | flasher.PinPlan
	switch {
	case pressed&b.bit != 0:
		w.right(b.name+" button", "it is seen when it is pressed")
	case pressed&buttons != 0:
		sign := swapped[b.bit|pressed&buttons]
		if !w.has(sign) {
			w.wrong(b.name+" button", "another is seen when it is pressed", sign)
		}
	default:
		w.wrong(b.name+" button", "it is not seen when it is pressed", b.dead)
	}
	w.Link.Transport().Sleep(time.Second) // until it is let go
	return nil
}

// portionButton is what can be seen of the buttons by the state of a board without service messages.
func (w *walk) portionButton() error {
	before, err := w.feeder.Status()
	if err != nil {
		return err
	}
	w.do("press-portion", "Buttons: press portion ({portion}) for a moment, now.")
	w.Link.Transport().Sleep(pressTime * time.Second)
	after, err := w.feeder.Status()
	switch {
	case err != nil:
		return err
	case after.Adjust != before.Adjust:
		w.right("portion button", "it steps the portions")
		_, _, err = w.feeder.Settings(flasher.Keep, before.Adjust)
	default:
		w.wrong("portion button", "it is pressed, and the portions stay as they are", PortionDead)
	}
	w.leftOut("feed and plan button", "this board has no room for the test; with a plan on it, press each and see")
	return err
}

// sensors tries the light barrier; the index switch is watched while the wheel turns.
func (w *walk) sensors() error {
	if w.feeder.ID.Sensors&flasher.SensorBarrier == 0 {
		return nil
	}
	if !w.services {
		w.leftOut("light barrier", "this board has no room for the test")
		return nil
	}
	rest, err := w.begin()
	if err != nil {
		return err
	}
	if rest&flasher.PinBarrier != 0 {
		w.wrong("light barrier", "it is dark, and nothing is in it", BeamDark)
		return nil
	}
	if w.ask("beam-ready", "Light barrier: have a pencil at hand to put into it. Are you at the board?") != Yes {
		w.leftOut("light barrier", "nobody was there to put anything into it")
		return nil
	}
	w.do("beam", fmt.Sprintf("Light barrier: put a pencil into it and take it out again, within %d seconds.", pressTime))
	served, err := w.serve(flasher.Watch, pressTime, int(rest))
	if err != nil {
		return err
	}
	if (served.Seen|served.Before^rest)&flasher.PinBarrier == 0 {
		w.wrong("light barrier", "it does not see what is put into it", BeamBlind)
		return nil
	}
	w.right("light barrier", "it sees what is put into it")
	return nil
}
