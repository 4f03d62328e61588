package scenario

import (
	"fmt"
	"time"

	"mealtab/emulator/board"
	"mealtab/emulator/cable"
	"mealtab/flasher"
)

// connect does what every program on the owner's computer begins with.
func connect(c *cable.Cable) (*flasher.Feeder, error) { return flasher.Connect(c.Link("the line")) }

// askPatience is how long an owner tries again to reach a feeder that is busy: longer than one program tries.
const askPatience = time.Minute

// AskStatus asks a fork of the board for its status, so that the board itself is not disturbed, and says how long it took to find
// the feeder and hear its answer.
func AskStatus(b *board.Board) (s flasher.Status, took time.Duration, err error) {
	fork := b.Fork()
	from := fork.Nanos()
	f, err := flasher.ConnectWithin(cable.New(fork).Link("the line"), askPatience)
	if err == nil {
		s, err = f.Status()
	}
	return s, time.Duration(fork.Nanos() - from), err
}

// upload puts a table in force as mealtab upload does, without what is shown before: reading the clock keeps a board awake for a second, and
// writes nothing that a cut could spoil.
func upload(c *cable.Cable, encoded []byte) error {
	f, err := connect(c)
	if err != nil {
		return err
	}
	s, err := f.Status()
	if err != nil {
		return err
	}
	return f.Upload(encoded, s, nil)
}

func uploadTable(r *run, e *Event) error {
	encoded, err := r.in.Table(e.Plan)
	if err != nil {
		return err
	}
	return upload(r.cable, encoded)
}

// presetOverLine chooses a preset as a program on the computer does; the portions stay as they are.
func presetOverLine(r *run, e *Event) error {
	if e.Number < 1 || e.Number > max(1, r.t.Presets) {
		return fmt.Errorf("number is %d; the plan has the presets 1 to %d", e.Number, max(1, r.t.Presets))
	}
	f, err := connect(r.cable)
	if err == nil {
		_, _, err = f.Settings(e.Number-1, flasher.Keep)
	}
	return err
}

// setClockOverLine sets the clock by a computer whose own clock shows a time, the world's, or so much more than what the feeder's says.
func setClockOverLine(r *run, e *Event) error {
	shows := r.b.Now()
	var err error
	switch {
	case e.By != "":
		var by time.Duration
		by, err = clockStep(e.By)
		shows = r.b.ClockTime().Add(by)
	case e.To != nil:
		shows, err = moment(e.To, r.start, r.log.local)
	}
	if err == nil {
		err = inCalendar(shows)
	}
	if err != nil {
		return err
	}
	r.cable.Ahead = shows.Sub(r.b.Now())
	defer func() { r.cable.Ahead = 0 }()
	f, err := connect(r.cable)
	if err == nil {
		_, err = f.SetClock()
	}
	return err
}
