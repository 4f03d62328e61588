package page

import (
	"fmt"
	"sync"

	"mealtab/cmd/mealtab/internal/rehearsal"
	"mealtab/flasher"
)

// way is the way of a plan onto a feeder, as it is shown: the rehearsal that goes on while its owner reads, and how far the steps have come.
type way struct {
	mu         sync.Mutex
	rehearsing *rehearsal.Running // of table; nil: none yet
	table      string
	looked     bool
	staged     [2]int // bytes written and read back, of how many
	inForce    bool
	clock      string // what was done about the clock; "": nothing yet
	failed     string // the step that failed; "": none
}

// WayStep is one step.
type WayStep struct {
	Name  string `json:"name"`
	State string `json:"state"` // "waits", "goes on", "done" or "failed"
	Note  string `json:"note"`
}

// The steps, in order.
const (
	stepLook     = "Look at what the feeder holds"
	stepRehearse = "Rehearse the plan on the feeder's firmware"
	stepAsk      = "Your word"
	stepWrite    = "Write the table beside the old one, and read it back"
	stepCommit   = "Put it in force"
	stepClock    = "Compare the clocks"
)

// begin is the start of a new way; a rehearsal of the same table goes on.
func (w *way) begin(table []byte, start func() *rehearsal.Running) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.staged, w.inForce, w.clock, w.failed, w.looked = [2]int{}, false, "", "", false
	if w.rehearsing == nil || w.table != string(table) {
		w.rehearsing, w.table = start(), string(table)
	}
}

func (w *way) set(f func(*way)) {
	w.mu.Lock()
	defer w.mu.Unlock()
	f(w)
}

// rehearsed waits for the rehearsal.
func (w *way) rehearsed() (string, error) {
	w.mu.Lock()
	t := w.rehearsing
	w.mu.Unlock()
	return t.Result()
}

func (w *way) report(step flasher.Step, done, total int) {
	w.set(func(w *way) {
		switch step {
		case flasher.Writing:
			w.staged = [2]int{done, total}
		case flasher.Done:
			w.inForce = true
		}
	})
}

// steps says how far it has come.
func (w *way) steps() []WayStep {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.rehearsing == nil {
		return []WayStep{}
	}
	written := w.staged[1] > 0 && w.staged[0] == w.staged[1]
	list := []WayStep{
		state(stepLook, w.looked, true, ""), w.rehearsal(), state(stepAsk, w.staged[1] > 0, false, ""),
		state(stepWrite, written, w.staged[1] > 0, w.bytes()), state(stepCommit, w.inForce, written, ""), state(stepClock, w.clock != "", w.inForce, w.clock),
	}
	for i := range list {
		if list[i].Name == w.failed {
			list[i].State = "failed"
		}
	}
	return list
}

func state(name string, done, goes bool, note string) WayStep {
	switch {
	case done:
		return WayStep{name, "done", note}
	case goes:
		return WayStep{name, "goes on", note}
	}
	return WayStep{name, "waits", ""}
}

func (w *way) bytes() string {
	if w.staged[1] == 0 {
		return ""
	}
	return fmt.Sprintf("%d of %d bytes", w.staged[0], w.staged[1])
}

func (w *way) rehearsal() WayStep {
	select {
	case <-w.rehearsing.Over():
		text, err := w.rehearsing.Result()
		if err != nil {
			return WayStep{stepRehearse, "failed", err.Error()}
		}
		return WayStep{stepRehearse, "done", text}
	default:
	}
	from, to := w.rehearsing.Span()
	return WayStep{stepRehearse, "goes on", fmt.Sprintf("%d %%", 100*int64(w.rehearsing.At()-from)/int64(max(to-from, 1)))}
}
