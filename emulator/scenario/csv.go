package scenario

import (
	"encoding/csv"
	"io"
	"strconv"
	"time"

	"mealtab/compiler/replay"
	"mealtab/emulator/board"
)

// csvOutput writes one row for each event: UTC, local time, what, which, value, in words. RFC 4180. Of each kind it writes as
// many as its budget has; rows at the end say what was left out.
type csvOutput struct {
	w     *csv.Writer
	b     *board.Board
	local replay.Clock
	*budget
}

func newCSV(w io.Writer, b *board.Board, l replay.Clock, most int) *csvOutput {
	c := &csvOutput{csv.NewWriter(w), b, l, newBudget(most)}
	_ = c.w.Write([]string{"utc", "local", "event", "which", "value", "words"}) // errors come with close
	return c
}

func (c *csvOutput) event(e board.Event) {
	at := c.b.Time(e.At)
	if ok, _ := c.take(e.Kind.String(), at); !ok {
		return
	}
	c.row(at, e.Kind.String(), strconv.Itoa(int(e.Arg)), strconv.FormatInt(e.Value, 10), words(e))
}

func (c *csvOutput) row(at time.Time, event, which, value, words string) {
	_ = c.w.Write([]string{
		at.Format("2006-01-02T15:04:05.000000000Z"), c.local.At(at).Format(time.RFC3339Nano),
		event, which, value, words,
	})
}

func (c *csvOutput) close() error {
	for _, said := range c.leftOut() {
		c.row(c.b.Now(), "left out", "", "", said)
	}
	c.w.Flush()
	return c.w.Error()
}
