package flasher

import (
	"encoding/binary"
	"errors"
	"math/bits"
	"time"

	"mealtab/compiler/table"
	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// Due is a serving as the board itself computes it.
type Due struct {
	At      table.Minute
	Pockets int // the board counts from its present carry in every answer: after the first answer (6 servings, 31 days) it may be off by one
	Meal    int // index of the first meal in the table
	Meals   int // how many meals it serves
}

// A board may search so long for one NEXT request: 31 days in a full table. Most are done in a moment.
const (
	searchWork  = 3 * time.Second
	searchUsual = 200 * time.Millisecond
)

// Next asks the board for the servings after an instant, count of them, searching until an instant at most. Fewer come when there are
// none.
func (f *Feeder) Next(after, until table.Minute, count int) ([]Due, error) {
	var list []Due
	most := frame.NextMax
	for len(list) < count && after < until {
		want := min(count-len(list), most)
		request := append(binary.LittleEndian.AppendUint32(nil, uint32(after)), byte(want))
		b, err := f.ask(link.Call{Code: frame.Next, Payload: request, Work: searchWork, Usual: searchUsual, Patience: DefaultSearch}, "NEXT")
		if errors.Is(err, link.ErrSilent) && most > 1 { // a short answer comes through where a long one does not
			most /= 2
			continue
		}
		if errors.Is(err, frame.StatusError(frame.NoTable)) {
			return nil, ErrNoTable
		}
		if err != nil {
			return nil, err
		}
		searched := table.Minute(frame.MessageNamed("NEXT").Number(b, "SEARCHED"))
		for ; len(b) >= frame.NextSize; b = b[frame.NextSize:] {
			list = append(list, due(b))
		}
		if searched <= after {
			return nil, f.failed("NEXT", errors.New("the board does not get on with its search for servings"))
		}
		after = searched
	}
	return list, nil
}

// due is one serving of an answer to NEXT.
func due(b []byte) Due {
	r := reader{b: b}
	at, meals := table.Minute(r.long()), uint64(r.long())|uint64(r.long())<<32
	return Due{at, r.word(), bits.TrailingZeros64(meals), bits.OnesCount64(meals)}
}

// DefaultSearch bounds one search of the board.
const DefaultSearch = 3 * searchWork
