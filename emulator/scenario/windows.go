package scenario

import (
	"runtime"
	"sync"
	"sync/atomic"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/emulator/board"
)

// windows runs all windows, as many at a time as there are processors; each on its own board, so that the result does
// not depend on how many.
func (r *Rehearsal) windows(t *table.Table, template *board.Board, rep *Report) error {
	runs := make([]*rehearsing, len(rep.Windows))
	var next, done atomic.Int64
	var wait sync.WaitGroup
	var said sync.Mutex
	for range min(runtime.GOMAXPROCS(0), len(runs)) {
		wait.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= len(runs) {
					return
				}
				g := &rehearsing{r: r, t: t, w: rep.Windows[i], rep: &Report{}, log: NewLog(replay.NewClock(&t.Zone), nil)}
				g.progress = func(minutes table.Minute) {
					at := r.From + table.Minute(done.Add(int64(minutes)))
					if r.Progress != nil {
						said.Lock()
						defer said.Unlock()
						r.Progress(at)
					}
				}
				g.window(template.Fresh(g.w.From.Time()))
				runs[i] = g
				if g.failed != nil {
					next.Store(int64(len(runs))) // windows before this one are under way already
				}
			}
		})
	}
	wait.Wait()
	return rep.merge(runs, len(template.MCU().EEPROM()))
}

// merge adds up the windows in their order, and reports the first difference.
func (rep *Report) merge(runs []*rehearsing, cells int) error {
	perCell := make([]uint64, cells)
	for _, g := range runs {
		if g == nil {
			continue
		}
		rep.add(g.rep)
		for i, n := range g.b.MCU().CellWrites() {
			perCell[i] += uint64(n)
			if perCell[i] > uint64(rep.CellWrites) {
				rep.CellWrites, rep.Cell = uint32(perCell[i]), i
			}
		}
		if g.failed != nil {
			return g.failed
		}
	}
	return nil
}

func (rep *Report) add(o *Report) {
	rep.Emulated += o.Emulated
	rep.Servings += o.Servings
	rep.Pockets += o.Pockets
	rep.Wakes += o.Wakes
	rep.Awake += o.Awake
	rep.Idle += o.Idle
	rep.Wheel += o.Wheel
	rep.Writes += o.Writes
	rep.PageWrites += o.PageWrites
	rep.StackBytes = max(rep.StackBytes, o.StackBytes)
	if o.WorstLate > rep.WorstLate {
		rep.WorstLate, rep.WorstLateAt = o.WorstLate, o.WorstLateAt
	}
	rep.Violations = append(rep.Violations, o.Violations...)
}
