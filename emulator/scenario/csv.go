package scenario

import (
	"encoding/csv"
	"io"
	"strconv"
	"time"

	"mealtab/compiler/replay"
	"mealtab/emulator/board"
)

// csvOutput writes one row for each event: UTC, local time, what, which, value, in words. RFC 4180.
type csvOutput struct {
	w     *csv.Writer
	b     *board.Board
	local replay.Clock
}

func newCSV(w io.Writer, b *board.Board, l replay.Clock) *csvOutput {
	c := &csvOutput{csv.NewWriter(w), b, l}
	_ = c.w.Write([]string{"utc", "local", "event", "which", "value", "words"}) // errors come with close
	return c
}

func (c *csvOutput) event(e board.Event) {
	at := c.b.Time(e.At)
	_ = c.w.Write([]string{
		at.Format("2006-01-02T15:04:05.000000000Z"), c.local.At(at).Format(time.RFC3339Nano),
		e.Kind.String(), strconv.Itoa(int(e.Arg)), strconv.FormatInt(e.Value, 10), words(e),
	})
}

func (c *csvOutput) close() error {
	c.w.Flush()
	return c.w.Error()
}
