package bench

import (
	"errors"

	"mealtab/flasher"
	"mealtab/flasher/frame"
)

// begin finds out whether the firmware has the service messages, and what its wires do at rest.
func (w *walk) begin() (flasher.Pins, error) {
	served, err := w.feeder.Service(0, flasher.LookNow, 0, 0)
	w.services = err == nil
	w.token = served.Token
	if errors.Is(err, flasher.ErrUnsupported) {
		err = nil
	}
	return served.Before, err
}

// serve lets the board do something, once.
func (w *walk) serve(a flasher.Action, count, trim int) (flasher.Served, error) {
	w.token++
	served, err := w.feeder.Service(w.token, a, count, trim)
	if err != nil {
		w.token-- // a refusal is no obedience
	}
	return served, err
}

// errReset means that the board was reset in the middle of an action: it does not know the token any more.
var errReset = errors.New("the board was reset meanwhile")

// move is serve for what turns the servo, in which a weak supply may reset the board.
func (w *walk) move(a flasher.Action, count, trim int) (flasher.Served, error) {
	before, err := w.feeder.Status()
	if err != nil {
		return flasher.Served{}, err
	}
	served, err := w.serve(a, count, trim)
	if errors.Is(err, frame.StatusError(frame.BadRange)) {
		_, err = w.begin()
		if err == nil {
			err = errReset
		}
		return served, err
	}
	if err != nil {
		return served, err
	}
	if w.state, err = w.feeder.Status(); err != nil {
		return served, err
	}
	if w.state.Ticks < before.Ticks {
		if _, err = w.begin(); err == nil {
			err = errReset
		}
	}
	return served, err
}

// mayRefuse takes a refusal for a step left out.
func (w *walk) mayRefuse(name string, err error) error {
	if errors.Is(err, flasher.ErrNotNow) {
		w.leftOut(name, "%v", err)
		return nil
	}
	return err
}
