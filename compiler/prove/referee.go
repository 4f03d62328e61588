package prove

import (
	"fmt"

	"mealtab/compiler/recur"
	"mealtab/compiler/table"
)

// due is a serving as the plan has it.
type due struct {
	at    table.Minute
	meals meals
}

// referee merges the sets of the meals: a heap (the set at i is due no later than those at 2i+1 and 2i+2), so that many meals
// cost little more than one.
type referee struct{ sets []*mealSet }

type mealSet struct {
	cursor   *recur.InstantCursor
	from, to int64 // nominal seconds, from inclusive, to exclusive
	table    int   // table meal, or -1
	at       table.Minute
	more     bool
}

func newReferee(in *Input) (*referee, error) {
	r := &referee{}
	place := make([]int, len(in.Plan.Meals))
	for i := range place {
		place[i] = -1
	}
	for i, m := range in.MealOf {
		place[m] = i
	}
	for i := range in.Plan.Meals {
		set, err := recur.New(in.Plan.Meals[i].Set, in.Zone, in.Plan.Gap)
		if err != nil {
			return nil, fmt.Errorf("meal %q: %w", in.Plan.Meals[i].Name, err)
		}
		m := &mealSet{
			cursor: set.Instants(),
			from:   table.Epoch + int64(in.From)*86400,
			to:     table.Epoch + (int64(in.Through)+1)*86400,
			table:  place[i],
		}
		m.advance()
		if m.more && m.table < 0 {
			return nil, fmt.Errorf("meal %q is due at %s but has no place in the table", in.Plan.Meals[i].Name, m.at)
		}
		if m.more {
			r.sets = append(r.sets, m)
		}
	}
	for i := len(r.sets) - 1; i >= 0; i-- {
		r.sink(i)
	}
	return r, nil
}

// advance finds the meal's next instance within the table's dates.
func (m *mealSet) advance() {
	for {
		in, ok := m.cursor.Next()
		if !ok {
			m.more = false
			return
		}
		if in.Nominal < m.from || in.Nominal >= m.to {
			continue
		}
		m.at, m.more = table.MinuteOf(in.Unix), true
		return
	}
}

// next returns the earliest serving.
func (r *referee) next() (d due, ok bool) {
	for len(r.sets) > 0 && (d.meals == 0 || r.sets[0].at == d.at) {
		m := r.sets[0]
		d.at = m.at
		d.meals |= 1 << m.table
		if m.advance(); !m.more {
			last := len(r.sets) - 1
			r.sets[0] = r.sets[last]
			r.sets = r.sets[:last]
		}
		r.sink(0)
	}
	return d, d.meals != 0
}

// sink moves the set at i down to its place in the heap.
func (r *referee) sink(i int) {
	for {
		least, left, right := i, 2*i+1, 2*i+2
		if left < len(r.sets) && r.sets[left].at < r.sets[least].at {
			least = left
		}
		if right < len(r.sets) && r.sets[right].at < r.sets[least].at {
			least = right
		}
		if least == i {
			return
		}
		r.sets[i], r.sets[least] = r.sets[least], r.sets[i]
		i = least
	}
}

// How many servings cross between the two readings at a time: enough that the crossing costs nothing. The first few
// are found at once, so that a table that serves little needs no second thread.
const (
	firstLength = 64
	chunkLength = 4096
)

// chunk finds the next servings; it is shorter than length at the end only.
func (r *referee) chunk(length int) []due {
	chunk := make([]due, 0, length)
	for len(chunk) < length {
		d, more := r.next()
		if !more {
			break
		}
		chunk = append(chunk, d)
	}
	return chunk
}

// stream is what the referee finds, taken apart from chunks.
type stream struct {
	chunk  []due
	chunks <-chan []due // nil: nothing comes after chunk
}

// run lets the referee work beside the replay: the two take about as long. It ends with the servings, or when stop is
// closed.
func (r *referee) run(stop <-chan struct{}) *stream {
	s := &stream{chunk: r.chunk(firstLength)}
	if len(s.chunk) < firstLength {
		return s
	}
	chunks := make(chan []due, 2)
	s.chunks = chunks
	go func() {
		defer close(chunks)
		for chunk := r.chunk(chunkLength); len(chunk) > 0; chunk = r.chunk(chunkLength) {
			select {
			case chunks <- chunk:
			case <-stop:
				return
			}
		}
	}()
	return s
}

func (s *stream) next() (due, bool) {
	if len(s.chunk) == 0 {
		if s.chunks == nil {
			return due{}, false
		}
		if s.chunk = <-s.chunks; len(s.chunk) == 0 {
			s.chunks = nil
			return due{}, false
		}
	}
	d := s.chunk[0]
	s.chunk = s.chunk[1:]
	return d, true
}
