package bench_test

import (
	"fmt"
	"math"
	"strings"
	"time"

	"mealtab/emulator/board"
	"mealtab/flasher/bench"
	"mealtab/flasher/flashertest"
)

// watcher is a builder who does what is asked and answers by what the emulated world shows, never by what was set up.
type watcher struct {
	e      *flashertest.Emulated
	flash  int     // edges of the light since the last thing was done
	volts  bool    // the servo's plug had its voltage since
	angle  float64 // of the wheel then
	first  float64 // how far it had moved when that was first seen
	said   []string
	asked  map[string]string
	absent bool // answers nothing
}

func newWatcher(e *flashertest.Emulated) *watcher {
	w := &watcher{e: e, asked: map[string]string{}}
	e.OnEvent = func(ev board.Event) {
		switch {
		case ev.Kind == board.Light:
			w.flash++
		case ev.Kind == board.ServoSupply && ev.Value == 1:
			w.volts = true
		}
	}
	return w
}

// seen is what an eye sees of a wheel that moves, in pockets.
const seen = 0.03

func (w *watcher) Say(text string) { w.said = append(w.said, text) }

func (w *watcher) Do(key, text string) {
	w.Say(text)
	w.flash, w.volts, w.angle, w.first = 0, false, w.e.Board.Angle(), 0
	buttons := map[string]int{"feed": board.ButtonFeed, "portion": board.ButtonPortion, "plan": board.ButtonPreset}
	name, press := strings.CutPrefix(key, "press-")
	switch {
	case press:
		w.soon(func() { w.e.Board.Press(buttons[name], 300*time.Millisecond) })
	case key == "light-by-button":
		w.e.Board.Press(board.ButtonPortion, 300*time.Millisecond)
	case key == "beam":
		w.soon(func() { w.e.Board.BreakBeam(300 * time.Millisecond) })
	case key == "back":
		w.e.Watch = func() {
			if w.first = w.e.Board.Angle() - w.angle; math.Abs(w.first) > seen {
				w.e.Watch = nil
			}
		}
	case key == "reset":
		w.e.Board.Reset()
	}
}

// soon does something after the time that a person needs.
func (w *watcher) soon(do func()) {
	at := w.e.Board.Now().Add(reaction)
	w.e.Watch = func() {
		if !w.e.Board.Now().Before(at) {
			w.e.Watch = nil
			do()
		}
	}
}

const reaction = 400 * time.Millisecond

func (w *watcher) Ask(q bench.Question) string {
	answer := w.answer(q.Key)
	w.asked[q.Key] = answer
	return answer
}

func (w *watcher) answer(key string) string {
	yes := func(is bool) string {
		if is {
			return bench.Yes
		}
		return bench.No
	}
	moved := w.e.Board.Angle() - w.angle
	if key == "went-back" {
		moved = w.first
	}
	switch {
	case w.absent:
		return ""
	case strings.HasSuffix(key, "-ready"):
		return bench.Yes
	case key == "alive":
		w.Do("press-portion", "")
		w.e.Sleep(3 * time.Second)
		return yes(w.flash > 0)
	case key == "blinks" || key == "blinks-turned":
		return yes(w.flash > 1)
	case key == "turn-light":
		w.e.Board.TurnLED()
		return bench.Done
	case key == "turned":
		return fmt.Sprintf("%.1f", moved)
	case key == "plug-volts":
		return yes(w.volts)
	case key == "twitched":
		return yes(math.Abs(moved) > seen)
	case key == "coin-cell":
		w.e.Board.PowerOff()
		w.e.Repower(10 * time.Second)
		w.e.Sleep(time.Second)
		return bench.Done
	case math.Abs(moved) <= seen:
		return bench.No
	case moved > 0:
		return "forward"
	}
	return "backward"
}
