package main

import (
	"time"

	"github.com/schollz/progressbar/v3"

	"mealtab/compiler/table"
)

// bar shows how far a long computation has come, on a terminal only. It appears when a second has passed: most are done
// in a few milliseconds.
type bar struct {
	a     *app
	what  string
	from  table.Minute
	to    table.Minute // when it is full
	begun time.Time
	shown *progressbar.ProgressBar
}

const patience = time.Second

func (a *app) progress(what string, from table.Day) *bar {
	return &bar{a: a, what: what, from: table.Minute(from) * table.MinutesPerDay, to: (table.Minute(table.MaxDay) + 1) * table.MinutesPerDay, begun: time.Now()}
}

// at reports the instant reached.
func (b *bar) at(m table.Minute) {
	if b.shown == nil {
		if time.Since(b.begun) < patience || !isTerminal(b.a.err) {
			return
		}
		b.shown = progressbar.NewOptions64(int64(b.to-b.from)/table.MinutesPerDay,
			progressbar.OptionSetWriter(b.a.err), progressbar.OptionSetDescription(b.what),
			progressbar.OptionSetWidth(30), progressbar.OptionThrottle(100*time.Millisecond), progressbar.OptionClearOnFinish())
	}
	_ = b.shown.Set64(int64(min(m, b.to)-b.from) / table.MinutesPerDay)
}

func (b *bar) done() {
	if b.shown != nil {
		_ = b.shown.Finish()
	}
}

// transferBar shows how many are done of what can be counted, such as bytes over a port and back, on a terminal only.
type transferBar struct {
	a     *app
	what  string // such as the port
	shown *progressbar.ProgressBar
}

func (a *app) transferBar(what string) *transferBar { return &transferBar{a: a, what: what} }

func (b *transferBar) show(done, total int) {
	if !isTerminal(b.a.err) {
		return
	}
	if b.shown == nil {
		b.shown = progressbar.NewOptions(total, progressbar.OptionSetWriter(b.a.err), progressbar.OptionSetWidth(30),
			progressbar.OptionSetDescription(b.what), progressbar.OptionClearOnFinish(),
			progressbar.OptionSetElapsedTime(false), progressbar.OptionSetPredictTime(false), progressbar.OptionThrottle(100*time.Millisecond))
	}
	_ = b.shown.Set(done)
}

func (b *transferBar) done() {
	if b.shown != nil {
		_ = b.shown.Finish()
	}
}
